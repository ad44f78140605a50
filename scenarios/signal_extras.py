"""What a study of the wires is rounded off with: the decision table of counting methods, and the influence table."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from scenarios.files.lift import Lift
from scenarios.signal_influence import Influence, Sweep, influences, verdicts
from scenarios.signal_methods import Method, decide_methods
from scenarios.signal_study import Study

__all__ = ["Extras", "extras_of"]

LEVEL_MM = 1.5
"""Level that counting may use up where the lift file states no limit: planning value for a pair of columns."""


@dataclass(frozen=True)
class Extras:
    """Both tables; ``limit_mm`` is the level error that the homings are reckoned for."""

    methods: tuple[Method, ...]
    limit_mm: float
    rows: tuple[Influence, ...]
    verdicts: tuple[str, ...]

    def as_dict(self) -> dict[str, Any]:
        """For JSON; the influences only where they were swept."""
        found: dict[str, Any] = {"methods": [one.as_dict() for one in self.methods], "level_limit_mm": self.limit_mm}
        if self.rows:
            found |= {"influences": [row.as_dict() for row in self.rows], "verdicts": list(self.verdicts)}
        return found


def extras_of(
    study: Study, lift: Lift, prices: Mapping[str, float], sweep_seeds: range | None, tick: Callable[[], object] = lambda: None
) -> Extras:
    """Both tables of a study.

    Parameters
    ----------
    study
        Scores of the detectors.
    lift
        The lift file.
    prices
        Per piece.
    sweep_seeds
        Seeds of the influence table; None: it is left out.
    tick
        Is called after every row of it.
    """
    leg = lift.leg[lift.names.index(study.leg)]
    stated = lift.limits.level_after_coast_mm
    limit_mm = LEVEL_MM if stated is None else stated.value
    methods = tuple(decide_methods(study, leg, limit_mm, prices))
    if sweep_seeds is None:
        return Extras(methods, limit_mm, (), ())
    rows = influences(Sweep(lift, study.leg, study.setting, sweep_seeds), tick)
    return Extras(methods, limit_mm, tuple(rows), tuple(verdicts(rows)))
