"""Why a limit is broken: the rehearsal flown again with one cause left out at a time, and how far the limit's value moves.

Each run is flown on the flat clock with the same seed, so that nothing differs but the cause.  Causes act together: what two of
them move need not add up to what both move, and a cause that moves a value most is not always the one to mend.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import islice

from scenarios.causes import without_each_cause
from scenarios.errors import InputError
from scenarios.files.scenario import Scenario
from scenarios.result import Result, result_of
from scenarios.runner import fly
from scenarios.verdict import JudgedLimit
from scenarios.why_table import Why, WhyRow
from scenarios.wiring import stored_energy

__all__ = ["MOST_RUNS", "explain"]

MOST_RUNS = 30
"""Causes tried at most."""


@dataclass(frozen=True)
class _Without:
    """What a run without one cause gave: values by limit, or why it could not be flown."""

    cause: str
    values: dict[str, JudgedLimit]
    reason: str = ""


def _fly_without(cause: str, scenario: Scenario, seed: int) -> _Without:
    try:
        flight = fly(scenario, seed=seed, clock="flat", trace=True)
        result = result_of(flight, float(stored_energy(flight.rig)), scenario.limits, str(scenario.path))
    except InputError as error:
        return _Without(cause, {}, error.messages[0])
    return _Without(cause, {one.name: one for one in result.verdict.limits})


def _row(broken: JudgedLimit, run: _Without) -> WhyRow:
    found = run.values.get(broken.name)
    if found is None or found.value is None or broken.value is None:
        return WhyRow(run.cause, None, None, None, run.reason or (found.reason if found else "not judged"))
    return WhyRow(run.cause, found.value, found.value - broken.value, found.ok)


def _why(broken: JudgedLimit, runs: Sequence[_Without], left: int) -> Why:
    rows = [_row(broken, run) for run in runs]
    rows.sort(key=lambda row: (-abs(row.moved or 0.0), row.cause))
    return Why(broken.name, broken.value, broken.limit, broken.unit, tuple(rows), left)


def explain(scenario: Scenario, result: Result) -> tuple[Why, ...]:
    """Why each broken limit of ``result`` is broken; nothing where none is.

    Parameters
    ----------
    scenario
        The scenario that was flown.
    result
        Its result; its seed is used again.
    """
    broken = [one for one in result.verdict.limits if one.ok is False]
    if not broken:
        return ()
    causes = list(without_each_cause(scenario))
    runs = [_fly_without(cause, other, result.seed) for cause, other in islice(causes, MOST_RUNS)]
    return tuple(_why(one, runs, max(0, len(causes) - MOST_RUNS)) for one in broken)
