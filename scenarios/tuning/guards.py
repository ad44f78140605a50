"""Guard thresholds of a tuning: as low as the tuned settings allow without a false trip at any corner.

The search cannot choose them, since a threshold that never trips changes nothing; they follow from what it found.
"""

from __future__ import annotations

from math import ceil

from scenarios.files.tuning import Choices
from scenarios.tuning.judging import Judgement
from scenarios.tuning.plan import Plan

__all__ = ["GUARDS", "TILT_FACTOR", "guard_reason", "guard_values"]

TILT_FACTOR = 4.0
"""The tilt limit over the largest counted level error of any corner: for loads and miscounts that are not rehearsed (planning value)."""
GUARDS = ("guards.tilt_limit_mm",)
"""Keys that follow from the tuned settings."""
_STEP = 0.1


def _seen(best: Judgement) -> float:
    """Largest counted level error of all flights [mm]."""
    return max(cell.outcome.seen_peak for cell in best.cells)


def guard_values(plan: Plan, best: Judgement) -> dict[str, float]:
    """Thresholds for settings that were flown at every corner, inside the search."""
    found = {}
    for key in GUARDS:
        span = plan.search.get(key)
        if span is None:
            continue
        wanted = round(ceil(TILT_FACTOR * _seen(best) / _STEP - 1e-9) * _STEP, 6)
        if isinstance(span, Choices):
            found[key] = min((one for one in span.of if one >= wanted), default=max(span.of))
        else:
            found[key] = min(max(wanted, span[0]), span[1])
    return found


def guard_reason(best: Judgement, value: float) -> tuple[str, str]:
    """Why a threshold is not higher and not lower."""
    seen = _seen(best)
    return (
        "stops later, with more tilt",
        f"less than {TILT_FACTOR:g} times the largest counted level error, {seen:.2f} mm"
        if value < 1.5 * TILT_FACTOR * seen
        else "the end of the search",
    )
