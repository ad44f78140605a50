"""A tuning from start to end: as it stands, the first guess, the search, what binds."""

from __future__ import annotations

from collections.abc import Callable
from math import inf

from scenarios.errors import InputError
from scenarios.tuning.archive import Archive
from scenarios.tuning.binding import bounds_of, polished
from scenarios.tuning.guards import guard_values
from scenarios.tuning.judging import Judgement
from scenarios.tuning.outcome import Tuned
from scenarios.tuning.plan import Plan
from scenarios.tuning.rules import first_guess
from scenarios.tuning.search import Effort, Searcher
from scenarios.tuning.workers import Crew

__all__ = ["EFFORTS", "steps_of", "tune"]

EFFORTS = {
    "none": Effort(population=0, generations=0, rounds=0, corner_generations=0, polish=0),
    "quick": Effort(population=12, generations=3, rounds=1, corner_generations=2, polish=1),
    "normal": Effort(),
    "thorough": Effort(population=32, generations=12, rounds=4, corner_generations=6, polish=6),
}
"""How long to search, by name; "none": the first guess alone."""


def steps_of(plan: Plan, effort: Effort) -> int:
    """Candidates judged in the whole tuning, at most; the length of a progress bar."""
    return effort.candidates() + 3 + (1 + effort.polish) * (2 * len(plan.search) + 2)


def tune(plan: Plan, crew: Crew, archive: Archive, effort: Effort, tick: Callable[[int], None] = lambda _: None) -> Tuned:
    """Tune the settings of a plan.

    Parameters
    ----------
    plan
        What is tuned.
    crew
        Who flies; entered.
    archive
        Findings of an earlier run that was broken off.
    effort
        How long to search.
    tick
        Called with the number of candidates judged since the last call.

    Raises
    ------
    InputError
        If no rehearsal ends with the settings as they stand, so that there is no travel time to compare with.
    """
    plain = Searcher(plan, crew, archive, {}, tick)
    before = _found(plain, plan.start())
    times = {cell.rehearsal: cell.outcome.time for cell in before.cells if cell.corner == before.cells[0].corner}
    if all(time == inf for time in times.values()):
        reasons = {f"{cell.rehearsal}: {cell.outcome.trouble}" for cell in before.cells}
        raise InputError([f"{plan.path}: no rehearsal ends with the settings as they stand", *sorted(reasons)])
    searcher = Searcher(plan, crew, archive, times, tick)
    before = _found(searcher, plan.start())
    guess = first_guess(plan, crew.own.linear)
    guessed = searcher.judge([guess.values], plan.corners, full=True)[0]
    best = guessed if guessed is not None else before
    if effort.population:
        best = polished(searcher, searcher.search([guess.values, plan.start()], effort).best, effort.polish)
    best = _guarded(searcher, best)
    bounds = bounds_of(searcher, best, plan.start())
    return Tuned(plan, before, guess, guessed, best, tuple(bounds), tuple(searcher.tried))


def _guarded(searcher: Searcher, best: Judgement) -> Judgement:
    """The settings with guard thresholds that follow from them, flown at every corner; without, if one of those then trips."""
    values = guard_values(searcher.plan, best)
    if not values:
        return best
    guarded = searcher.judge([best.values | values], searcher.plan.corners, full=True)[0]
    return guarded if guarded is not None and guarded.cost <= best.cost + 1e-9 else best


def _found(searcher: Searcher, values: dict[str, float]) -> Judgement:
    found = searcher.judge([values], searcher.plan.corners, full=True)[0]
    assert found is not None, "the settings as they stand are checked when the files are read"
    return found
