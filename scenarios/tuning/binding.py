"""What holds each tuned value where it is: the value a step up and a step down, judged like the value itself."""

from __future__ import annotations

from dataclasses import dataclass

from scenarios.files.tuning import Choices
from scenarios.tuning.guards import GUARDS, guard_reason
from scenarios.tuning.judging import Judgement
from scenarios.tuning.plan import Plan
from scenarios.tuning.search import Searcher

__all__ = ["Bound", "bounds_of", "polished"]

STEP = 0.1
"""Relative step; a value near zero moves by this share of its range instead."""
FLAT = 0.01
CORNERS = 3


@dataclass(frozen=True)
class Bound:
    """A searched key: its value before and after, and what a step up and a step down would cost."""

    key: str
    before: float
    value: float
    up: str
    down: str

    @property
    def text(self) -> str:
        """One line: what binds the value from above and from below."""
        return f"higher: {self.up}; lower: {self.down}"


def _neighbour(plan: Plan, key: str, value: float, way: int) -> float | None:
    """The value a step away, inside the search; None at its end."""
    span = plan.search[key]
    if isinstance(span, Choices):
        others = sorted(one for one in span.of if (one - value) * way > 0)
        return None if not others else others[0] if way > 0 else others[-1]
    width = span[1] - span[0]
    step = max(STEP * abs(value), 0.02 * width)
    moved = float(f"{value + way * step:.4g}")
    return moved if span[0] <= moved <= span[1] else None


def _told(other: Judgement | None, here: Judgement, value: float | None) -> str:
    if value is None:
        return "the end of the search"
    name = f"{value:g}"
    if other is None:
        return f"{name} contradicts another setting"
    lost = next((cell for cell in other.cells if not cell.outcome.ended), None)
    if lost is not None:
        return f"{name}: {lost.outcome.trouble} ({lost.rehearsal}, {lost.corner})"
    broken = [check for check in other.checks if not check.ok and here.check(check.name).ok]
    if broken:
        worst = max(broken, key=lambda check: check.ratio)
        sign = "above" if worst.upper else "below"
        return f"{name}: {worst.name} {worst.value:.3g} {sign} {worst.limit:g}"
    if other.cost - here.cost < FLAT:
        return f"{name} is as good" if other.cost - here.cost > -FLAT else f"{name} is better by {here.cost - other.cost:.2f} of the cost"
    dearer = max(other.checks, key=lambda check: check.ratio - here.check(check.name).ratio)
    return f"{name}: {dearer.name} {here.check(dearer.name).value:.3g} to {dearer.value:.3g}"


def _corner_names(best: Judgement) -> list[str]:
    peaks: dict[str, float] = {}
    for cell in best.cells:
        peaks[cell.corner] = max(peaks.get(cell.corner, 0.0), cell.outcome.peak)
    return sorted(peaks, key=lambda name: -peaks[name])[: CORNERS + 1]


def _neighbours(searcher: Searcher, best: Judgement) -> tuple[Judgement, list[tuple[str, int, float | None, Judgement | None]]]:
    """The settings and all that lie one step away, judged alike: on the machine as in its files and at the worst corners."""
    plan, names = searcher.plan, _corner_names(best)
    corners = tuple(corner for corner in plan.corners if corner.name in names)
    steps = [(key, way, _neighbour(plan, key, best.values[key], way)) for key in searcher.keys for way in (1, -1)]
    asked = [best.values | {key: value} for key, _, value in steps if value is not None]
    judged = searcher.judge([best.values, *asked], corners)
    here = judged[0]
    assert here is not None
    others = iter(judged[1:])
    return here, [(key, way, value, None if value is None else next(others)) for key, way, value in steps]


def polished(searcher: Searcher, best: Judgement, steps: int) -> Judgement:
    """The settings after some steps to the best neighbour, as long as one is better and keeps every target at every corner."""
    for _ in range(steps):
        here, around = _neighbours(searcher, best)
        better = sorted(
            (other.cost, key, way, other) for key, way, _, other in around if other is not None and other.cost < here.cost - FLAT
        )
        if not better:
            break
        moved = searcher.judge([better[0][3].values], searcher.plan.corners, full=True)[0]
        if moved is None or moved.cost >= best.cost or (best.ok and not moved.ok):
            break
        best = moved
    return best


def _guards(searcher: Searcher) -> list[str]:
    """Searched keys that follow from the others."""
    return [key for key in GUARDS if key in searcher.plan.search]


def bounds_of(searcher: Searcher, best: Judgement, start: dict[str, float]) -> list[Bound]:
    """What binds each searched key of the best settings, at the worst corners of theirs.

    Parameters
    ----------
    searcher
        Judges the neighbours.
    best
        The settings that were found.
    start
        Values as they stood.
    """
    here, around = _neighbours(searcher, best)
    told = {(key, way): _told(other, here, value) for key, way, value, other in around}
    for key in _guards(searcher):
        told[key, 1], told[key, -1] = guard_reason(best, best.values[key])
    return [Bound(key, start[key], best.values[key], told[key, 1], told[key, -1]) for key in searcher.plan.search]
