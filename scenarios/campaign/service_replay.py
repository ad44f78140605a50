"""A service run again, as far as a move that is asked for, or all of it to find the move that tells most; that move then gets its trace.

A service run is thousands of moves: a trace of all of them would help nobody.  The rig is kept as it was before the cycle of the
move, and that cycle is flown from there as any rehearsal is.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from math import inf, isfinite
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from scenarios import cache

cache.prepare()

from scenarios.campaign.folder import row_of  # noqa: E402
from scenarios.campaign.plan import Plan  # noqa: E402
from scenarios.campaign.rows import MEANING, JudgedCycle, Outcome, column_names, judged_cycle, margin_share, service_row  # noqa: E402
from scenarios.campaign.service import Cycle, Life  # noqa: E402
from scenarios.errors import InputError  # noqa: E402
from scenarios.files.scenario import Scenario  # noqa: E402
from scenarios.result import Result  # noqa: E402
from scenarios.verdict import nearest  # noqa: E402

__all__ = ["Stretch", "find_stretch", "stretch_lines"]


@dataclass(frozen=True)
class Stretch:
    """What of a service run is flown with its trace."""

    scenario: Scenario
    begun: NDArray[np.void]
    """The rig before it, shape (1,)."""
    name: str
    """Its moves in words."""
    first: int
    """Number of its first move."""
    why: str
    """Why it and no other."""
    told: Result | None
    """What came of it without a trace; None of a homing, which is not judged in a campaign."""
    row: NDArray[np.float64] | None
    """Row of the whole run; None where it was flown only as far as the move."""


@dataclass
class Watch:
    """The cycles of a life as far as its row needs them, and in whole those alone that may be flown again."""

    plan: Plan
    cycles: list[JudgedCycle] = field(default_factory=list)
    closest: Cycle | None = None
    """That with the smallest margin."""
    firsts: dict[Outcome, Cycle] = field(default_factory=dict)
    """The first cycle that ended so."""
    last: Cycle | None = None
    margin: float = inf

    def see(self, cycle: Cycle) -> None:
        """Take the next cycle."""
        judged = judged_cycle(self.plan, cycle)
        self.cycles.append(judged)
        self.firsts.setdefault(judged.word, cycle)
        self.last = cycle
        share = margin_share(cycle.result)
        if isfinite(share) and share < self.margin:
            self.margin, self.closest = share, cycle


def find_stretch(plan: Plan, scenario: Scenario, run: int, move: int | None, tick: Callable[[int], object] = lambda _: None) -> Stretch:
    """Fly a service run again, as far as need be.

    Parameters
    ----------
    plan
        The campaign.
    scenario
        Of the run.
    run
        Its number.
    move
        The move that is wanted, from 1, homings not counted; None: the whole run is flown, and it is where the run ended early,
        else where first a cycle ended as the run did if that was neither kept nor broken, else where the margin is smallest.
    tick
        Called with the number of moves flown so far.

    Raises
    ------
    InputError
        If the run has no such move.
    """
    service = plan.file.service
    assert service is not None
    if move is not None and move > service.moves:
        raise InputError([f"--move {move}: a service run of this campaign has moves 1 to {service.moves}"])
    life = Life(scenario, service, plan.file.seed, run, plan.sampler.chance(run))
    watch = Watch(plan)
    for cycle in life.cycles(plan.file.rehearsal):
        tick(life.told.moves)
        if move is not None and cycle.holds(move):
            return _stretch(life, cycle, f"asked for with --move {move}", None)
        watch.see(cycle)
    if move is not None:
        raise InputError([f"--move {move}: run {run} ended after {life.told.moves} moves; leave --move out to see where it ended"])
    values = plan.sampler.values(run, run + 1)[0]
    row = service_row(plan, run, values, life, watch.cycles).table[0]
    return _worst(life, watch, Outcome(int(row[1])), row)


def _stretch(life: Life, cycle: Cycle, why: str, row: NDArray[np.float64] | None) -> Stretch:
    return Stretch(life.scenario, cycle.begun, cycle.name, cycle.first, why, cycle.result, row)


def _worst(life: Life, watch: Watch, word: Outcome, row: NDArray[np.float64]) -> Stretch:
    """Where to look, of a run that has been flown to its end."""
    last, moves = watch.last, life.told.moves
    assert last is not None
    if moves < life.service.moves:
        alone = (watch.closest is None or watch.closest is last) and not life.stuck
        other = "" if alone else f" (the least margin: --move {(watch.closest or last).first})"
        if life.stuck and life.homing is not None:
            why = f"after it the lift was not ready: the run ends{other}"
            return Stretch(life.homing_scenario, life.homing, f"homing after move {moves}", last.first, why, None, row)
        return _stretch(life, last, f"the run ends here, {life.service.moves - moves} moves early{other}", row)
    if word not in (Outcome.PASS, Outcome.FAIL):
        return _stretch(life, watch.firsts[word], f"the first of which holds: {MEANING[word]}", row)
    if watch.closest is None:
        return _stretch(life, last, "no limit has a margin: the last", row)
    close = nearest(watch.closest.result.verdict.limits)
    assert close is not None
    return _stretch(life, watch.closest, f"the least margin of the run, of {close.name}", row)


def _told(result: Result) -> dict[str, float]:
    return {one.name: float("nan") if one.value is None else float(one.value) for one in result.verdict.limits}


def _differing(run: int, kept: Mapping[str, float], found: Mapping[str, float], words: tuple[str, str]) -> list[str]:
    """A line for each value of ``found`` that is not as kept; not a number is not a number."""
    other = [name for name in found if not np.array_equal(found[name], kept[name], equal_nan=True)]
    return [f"Run {run}: {name} was {kept[name]!r} {words[0]}, is {found[name]!r}{words[1]}." for name in other]


def stretch_lines(folder: Path, plan: Plan, run: int, stretch: Stretch, result: Result) -> list[str]:
    """Lines on which move was flown and why, and whether it came out as the campaign's row says.

    Parameters
    ----------
    folder
        Of the campaign.
    plan, run
        The campaign and the number of the run.
    stretch
        What was looked for.
    result
        What came of it, flown with its trace.
    """
    assert plan.file.service is not None
    lines = [f"Run {run}, {stretch.name} of {plan.file.service.moves}: {stretch.why}. Times are counted from its beginning."]
    again = _told(result)
    if stretch.told is not None:
        lines += _differing(run, _told(stretch.told), again, ("without a trace", " with one"))
    row = row_of(folder, run)
    if row is None:
        return [*lines, f"Run {run} has not been flown by the campaign yet: there is no row to compare with."]
    kept = dict(zip(column_names(plan), map(float, row), strict=True))
    if stretch.row is not None:
        wrong = _differing(run, kept, dict(zip(column_names(plan), map(float, stretch.row), strict=True)), ("in the campaign", ""))
        return [*lines, *(wrong or [f"Run {run}: every column has the value of the campaign's row, to the last digit."])]
    worst = {name: value for name, value in again.items() if kept[f"{name}.move"] == stretch.first}
    wrong = _differing(run, kept, worst, ("in the campaign", ""))
    if worst and not wrong:
        lines.append(f"Run {run}: no move of it is worse by {', '.join(worst)}; as in the campaign's row, to the last digit.")
    return [*lines, *wrong]
