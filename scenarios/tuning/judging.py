"""From flights and margins to a judgement of some settings: checks against the targets, and one cost for the search."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from math import inf, isfinite
from typing import Any

from scenarios.tuning.flight import NOMINAL, Outcome
from scenarios.tuning.linear import CornerFigures
from scenarios.tuning.plan import Plan

__all__ = ["Cell", "Check", "Judgement", "judge_settings"]

NOT_ENDED = 50.0
BROKEN = 10.0
TIME_WEIGHT = 0.5
"""How the cost weighs a travel time at its target against a level error at its target."""


@dataclass(frozen=True)
class Cell:
    """One flown rehearsal: its name, its corner and what it came to."""

    rehearsal: str
    corner: str
    outcome: Outcome


@dataclass(frozen=True)
class Check:
    """One target: worst value, limit, and where the worst was found; ``upper`` if the value must not exceed the limit."""

    name: str
    unit: str
    value: float
    limit: float
    where: str
    upper: bool = True

    @property
    def ratio(self) -> float:
        """Value over limit, or limit over value for a lower limit: up to 1 it is kept."""
        if self.upper:
            return self.value / self.limit if self.limit > 0.0 else (0.0 if self.value <= 0.0 else inf)
        return self.limit / self.value if self.value > 0.0 else inf

    @property
    def ok(self) -> bool:
        """Whether the target is reached."""
        return self.value <= self.limit if self.upper else self.value >= self.limit

    def as_dict(self) -> dict[str, Any]:
        """Plain data; what is infinite becomes None."""
        plain = asdict(self)
        return plain | {"value": self.value if isfinite(self.value) else None, "ok": self.ok}


@dataclass(frozen=True)
class Judgement:
    """Settings with everything that was found about them."""

    values: dict[str, float]
    cells: tuple[Cell, ...]
    margins: CornerFigures
    checks: tuple[Check, ...]

    @property
    def ok(self) -> bool:
        """Whether every target is reached and every flight ended."""
        return all(check.ok for check in self.checks) and all(cell.outcome.ended for cell in self.cells)

    @property
    def cost(self) -> float:
        """What the search makes small: worst level error against its target, travel time, and a penalty for what is broken."""
        level = max((check.ratio for check in self.checks if check.unit == "mm"), default=0.0)
        time = next((check.value for check in self.checks if check.name == "travel time"), 1.0)
        excess = sum(min(check.ratio - 1.0, 10.0) ** 2 + 0.1 for check in self.checks if not check.ok)
        lost = sum(not cell.outcome.ended for cell in self.cells) / max(len(self.cells), 1)
        return level + TIME_WEIGHT * min(time, 10.0) + BROKEN * excess + NOT_ENDED * lost

    def check(self, name: str) -> Check:
        """The check of a name; raises KeyError if there is none."""
        for check in self.checks:
            if check.name == name:
                return check
        raise KeyError(name)


def _worst(cells: Sequence[Cell], name: str, low: bool = False) -> tuple[float, str]:
    """Worst value of an outcome's figure, and where."""
    if not cells:
        return (inf, "") if low else (0.0, "")
    pick = min if low else max
    cell = pick(cells, key=lambda one: float(getattr(one.outcome, name)))
    where = cell.rehearsal if cell.corner == NOMINAL.name else f"{cell.rehearsal}, {cell.corner}"
    return float(getattr(cell.outcome, name)), where


def _slowest(cells: Sequence[Cell], before: dict[str, float]) -> tuple[float, str]:
    """Largest travel time against that of the settings as they stand."""
    factors = [(cell.outcome.time / before[cell.rehearsal], cell.rehearsal) for cell in cells if before.get(cell.rehearsal, inf) < inf]
    return max(factors, default=(1.0, ""))


def judge_settings(
    plan: Plan, values: dict[str, float], cells: Sequence[Cell], margins: CornerFigures, before: dict[str, float]
) -> Judgement:
    """Judge some settings.

    Parameters
    ----------
    plan
        Its targets.
    values
        The searched keys.
    cells
        What was flown; the corners that were not are not judged.
    margins
        Of the linear loop; where the law has none its two targets are left out.
    before
        Travel time of each rehearsal with the settings as they stand [s].
    """
    target = plan.targets
    plain = [cell for cell in cells if cell.corner == NOMINAL.name]
    corners = [cell for cell in cells if cell.corner != NOMINAL.name]
    checks = [
        Check("level error while moving", "mm", *_flip(_worst(plain, "peak"), target.peak_mm)),
        Check("level error after the coast", "mm", *_flip(_worst(plain, "after"), target.after_coast_mm)),
    ]
    if corners:
        checks.append(Check("level error while moving, corners", "mm", *_flip(_worst(corners, "peak"), target.corner_peak_mm)))
    if not margins.why:
        gain, peak = (margins.gain if margins.stable else 0.0), (margins.sensitivity if margins.stable else inf)
        checks.append(Check("gain margin, corners", "", gain, target.gain_margin, margins.gain_at, upper=False))
        checks.append(Check("sensitivity peak, corners", "", peak, target.sensitivity, margins.sensitivity_at))
    checks.append(Check("travel time", "times", *_flip(_slowest(plain, before), target.time_factor)))
    checks.append(Check("duty headroom", "", *_flip(_worst(plain, "headroom", low=True), target.headroom), upper=False))
    return Judgement(dict(values), tuple(cells), margins, tuple(checks))


def _flip(found: tuple[float, str], limit: float) -> tuple[float, float, str]:
    """Value, limit, place: the order of a check."""
    return found[0], limit, found[1]
