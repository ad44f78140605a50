"""The result of a tuning: before, first guess, best, what bound it, and the JSON object that says so."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from math import isfinite
from typing import Any

from scenarios.tuning.binding import Bound
from scenarios.tuning.judging import Judgement
from scenarios.tuning.plan import Plan
from scenarios.tuning.rules import FirstGuess

__all__ = ["Tuned", "finite"]


@dataclass(frozen=True)
class Tuned:
    """Everything that is told about a tuning."""

    plan: Plan
    before: Judgement
    guess: FirstGuess
    guessed: Judgement | None
    best: Judgement
    bounds: tuple[Bound, ...]
    tried: tuple[Judgement, ...]
    written: str = ""
    """Name of the new settings file."""

    @property
    def ok(self) -> bool:
        """Whether the best settings reach every target."""
        return self.best.ok

    def as_dict(self) -> dict[str, Any]:
        """Plain data for JSON."""
        whole = {
            "tuning": self.plan.name,
            "file": str(self.plan.path),
            "seed": self.plan.seed,
            "ok": self.ok,
            "settings": self.written,
            "values": self.best.values,
            "before": _judgement(self.before),
            "first_guess": {
                "rules": [asdict(rule) for rule in self.guess.rules],
                "notes": list(self.guess.notes),
                "found": _judgement(self.guessed) if self.guessed is not None else None,
            },
            "best": _judgement(self.best),
            "bounds": [asdict(bound) for bound in self.bounds],
            "candidates": [{"values": one.values, "cost": one.cost, "ok": one.ok, **_pareto(one)} for one in self.tried],
        }
        cleaned: dict[str, Any] = finite(whole)
        return cleaned


def _pareto(one: Judgement) -> dict[str, float]:
    plain = [cell.outcome for cell in one.cells if cell.corner == one.cells[0].corner]
    return {
        "level_mm": max(outcome.peak for outcome in plain),
        "time_s": sum(outcome.time for outcome in plain),
        "switch_offs": sum(outcome.switch_offs for outcome in plain),
    }


def _judgement(one: Judgement) -> dict[str, Any]:
    cells = [{"rehearsal": cell.rehearsal, "corner": cell.corner, **cell.outcome.as_dict()} for cell in one.cells]
    return {
        "values": one.values,
        "ok": one.ok,
        "checks": [check.as_dict() for check in one.checks],
        "margins": asdict(one.margins),
        "flights": cells,
    }


def finite(value: Any) -> Any:
    """``value`` with every number that JSON cannot hold turned into None."""
    if isinstance(value, dict):
        return {str(key): finite(one) for key, one in value.items()}
    if isinstance(value, list | tuple):
        return [finite(one) for one in value]
    if isinstance(value, float):
        return float(value) if isfinite(value) else None
    return value
