"""A lift as a row of numbers: how it ended, what varied, and the value of every limit.

The columns of the table, in this order: ``run``, ``outcome`` (a number of :class:`Outcome`), what varied, then for each limit its
value, named as the limit (the name ends in the unit; empty where it was not evaluated) and ``NAME.ok`` (1 kept, 0 broken, -1 not
evaluated), then ``FIGURES``, and ``WEIGHT`` or those of a service run: ``NAME.move`` of each limit (the first move of the cycle
that was worst by it) and what :func:`scenarios.campaign.service.service_columns` names.  A note of text goes with a row that needs one.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from enum import IntEnum
from math import nan

import numpy as np
from numpy.typing import NDArray

from scenarios import cache

cache.prepare()

from scenarios.build import build_rig  # noqa: E402
from scenarios.campaign.plan import Plan  # noqa: E402
from scenarios.campaign.service import Cycle, Life, service_columns  # noqa: E402
from scenarios.errors import InputError  # noqa: E402
from scenarios.files.scenario import Scenario  # noqa: E402
from scenarios.limits import LIMITS  # noqa: E402
from scenarios.result import Result, result_of  # noqa: E402
from scenarios.rig import trace_columns  # noqa: E402
from scenarios.runner import Flight, fly_rig  # noqa: E402
from scenarios.verdict import nearest  # noqa: E402
from scenarios.wiring import stored_energy  # noqa: E402

__all__ = [
    "FIGURES",
    "MEANING",
    "WEIGHT",
    "JudgedCycle",
    "Outcome",
    "Rows",
    "column_names",
    "fly_lift",
    "fly_lifts",
    "judged_cycle",
    "judged_lift",
    "lost_lift",
    "margin_share",
    "outcome_of",
    "service_row",
    "worst_place",
]

FIGURES = ("margin_share", "simulated_s", "missed_counts", "extra_counts")
"""Smallest margin of all limits as a share of its limit; time that was simulated; commutations not heard, and pulses too many."""
WEIGHT = "log_weight"
"""Natural logarithm of the weight of a lift flown by importance sampling."""
MOST_NOTE = 300


class Outcome(IntEnum):
    """How a lift ended."""

    PASS = 0
    FAIL = 1
    INCOMPLETE = 2
    REFUSED = 3
    DIVERGED = 4
    CRASHED = 5


MEANING = {
    Outcome.PASS: "every limit kept",
    Outcome.FAIL: "a limit broken",
    Outcome.INCOMPLETE: "no limit broken, but one could not be judged or the move was not flown as ordered",
    Outcome.REFUSED: "the values contradict each other or are out of range, or no limit could be judged",
    Outcome.DIVERGED: "a number stopped being finite",
    Outcome.CRASHED: "the calculation failed",
}


@dataclass(frozen=True)
class Rows:
    """Rows of a table: numbers of shape (lifts, columns), and a note for each row, mostly empty."""

    table: NDArray[np.float64]
    notes: tuple[str, ...]


def outcome_of(result: Result) -> Outcome:
    """How a flown lift ended."""
    return Outcome.DIVERGED if result.summary.diverged is not None else Outcome[result.verdict.word.upper()]


def column_names(plan: Plan) -> tuple[str, ...]:
    """Headings of the table of a campaign."""
    limits = [name for entry in plan.nominal.limits for name in (entry.name, f"{entry.name}.ok")]
    return ("run", "outcome", *plan.columns, *limits, *FIGURES, *_own(plan))


def _own(plan: Plan) -> tuple[str, ...]:
    """Headings that only some campaigns have: the weight of importance sampling, or what a service run tells."""
    if plan.file.service:
        return (*(f"{entry.name}.move" for entry in plan.nominal.limits), *service_columns())
    return (WEIGHT,) if plan.file.rare else ()


def _numbers(plan: Plan, values: Sequence[float | str]) -> list[float]:
    """Values as numbers; a word is told by its place in the list of the file, from 0."""
    numbers = []
    for variable, value in zip(plan.variables, values, strict=True):
        numbers.append(float((variable.spread.values or ()).index(value)) if isinstance(value, str) else float(value))
    return numbers


def margin_share(result: Result) -> float:
    """Smallest margin of all limits as a share of its limit; not a number where none was judged."""
    close = nearest(result.verdict.limits)
    return nan if close is None or close.margin is None else close.margin / (abs(close.limit) or 1.0)


def _figures(result: Result) -> list[float]:
    share = margin_share(result)
    legs = [leg for move in result.summary.moves for leg in move.legs]
    return [share, result.summary.simulated_s, float(sum(leg.missed for leg in legs)), float(sum(leg.extra for leg in legs))]


def _found(plan: Plan, result: Result) -> list[float]:
    by_name = {one.name: one for one in result.verdict.limits}
    found = []
    for entry in plan.nominal.limits:
        one = by_name[entry.name]
        found += [nan if one.value is None else float(one.value), -1.0 if one.ok is None else float(one.ok)]
    return found


def _nothing(plan: Plan) -> list[float]:
    return [value for _ in plan.nominal.limits for value in (nan, -1.0)] + [nan] * (len(FIGURES) + len(_own(plan)))


def lost_lift(plan: Plan, run: int, outcome: Outcome, note: str) -> Rows:
    """Row of a lift that was not flown to its end."""
    (values,) = plan.sampler.values(run, run + 1)
    row = [float(run), float(outcome), *_numbers(plan, values), *_nothing(plan)]
    return Rows(np.array([row]), (" ".join(note.split())[:MOST_NOTE],))


def fly_lift(plan: Plan, run: int, values: Sequence[float | str]) -> Rows:
    """Fly one lift of a campaign on the flat clock and judge it; whatever happens becomes a row.

    Parameters
    ----------
    plan
        The campaign.
    run
        Number of the lift; its chances are those of this run, see :meth:`Sampler.chance`.
    values
        Of what varies.
    """

    def on_core(scenario: Scenario) -> NDArray[np.void]:
        rig = build_rig(scenario, plan.file.seed, plan.sampler.chance(run))
        fly_rig(rig)
        return rig

    return judged_lift(plan, run, values, on_core)


def judged_lift(plan: Plan, run: int, values: Sequence[float | str], flown: Callable[[Scenario], NDArray[np.void]]) -> Rows:
    """Row of one lift; ``flown`` gives the rig of its scenario, flown to its end.  Whatever happens becomes a row."""
    try:
        scenario = plan.flown(run, values)
        if plan.file.service is not None:
            return _serve(plan, run, values, Life(scenario, plan.file.service, plan.file.seed, run, plan.sampler.chance(run)))
        rig = flown(scenario)
        flight = Flight(scenario, rig, np.zeros((0, 0)), trace_columns(list(scenario.lift.names)), 0.0, "flat", plan.file.seed)
        result = result_of(flight, stored_energy(rig), scenario.limits, plan.file.rehearsal, budget=False)
    except InputError as error:
        return lost_lift(plan, run, Outcome.REFUSED, "; ".join(error.messages))
    except Exception as error:  # a lift that cannot be calculated is a row, and the others are flown
        return lost_lift(plan, run, Outcome.CRASHED, f"{type(error).__name__}: {error}")
    word = outcome_of(result)
    weight = [plan.log_weight(values, flight.rig)] if plan.file.rare else []
    row = [float(run), float(word), *_numbers(plan, values), *_found(plan, result), *_figures(result), *weight]
    note = "" if word in (Outcome.PASS, Outcome.FAIL) else result.verdict.sentence
    return Rows(np.array([row]), (" ".join(note.split())[:MOST_NOTE],))


def _serve(plan: Plan, run: int, values: Sequence[float | str], life: Life) -> Rows:
    """Row of a lift through all its moves."""
    return service_row(plan, run, values, life, [judged_cycle(plan, cycle) for cycle in life.cycles(plan.file.rehearsal)])


@dataclass(frozen=True)
class JudgedCycle:
    """What the row of a life needs of one of its cycles; a life may have hundreds of thousands."""

    first: int
    """Number of its first move."""
    word: Outcome
    sentence: str
    found: NDArray[np.float64]
    """Value of each limit, and whether it was kept, as in the row."""
    figures: NDArray[np.float64]
    """As ``FIGURES``."""


def judged_cycle(plan: Plan, cycle: Cycle) -> JudgedCycle:
    """How a cycle came out."""
    result = cycle.result
    return JudgedCycle(cycle.first, outcome_of(result), result.verdict.sentence, np.array(_found(plan, result)), np.array(_figures(result)))


def service_row(plan: Plan, run: int, values: Sequence[float | str], life: Life, cycles: Sequence[JudgedCycle]) -> Rows:
    """Row of a lift that has been flown through ``cycles``: of each limit the worst cycle, kept only if every cycle keeps it."""
    words = [cycle.word for cycle in cycles]
    word = Outcome.FAIL if Outcome.FAIL in words and words[-1] is not Outcome.DIVERGED else max(words)
    note = "" if word in (Outcome.PASS, Outcome.FAIL) else cycles[words.index(word)].sentence
    if life.told.moves < life.service.moves:
        word = word if word is Outcome.FAIL else max(word, Outcome.INCOMPLETE)
        note = f"ended after {life.told.moves} moves: {cycles[-1].sentence}"
    found, figures = np.array([cycle.found for cycle in cycles]), np.array([cycle.figures for cycle in cycles])
    worst, moves = [], []
    for k, entry in enumerate(plan.nominal.limits):
        place = worst_place(found[:, 2 * k], LIMITS[entry.name].upper)
        worst += [nan if place is None else float(found[place, 2 * k]), _kept(found[:, 2 * k + 1])]
        moves.append(nan if place is None else float(cycles[place].first))
    closest = worst_place(figures[:, 0], False)
    lived_s = float(life.rig["world"]["time_us"][0]) / 1e6
    summed = [nan if closest is None else float(figures[closest, 0]), lived_s, *np.sum(figures[:, 2:], axis=0).tolist()]
    row = [float(run), float(word), *_numbers(plan, values), *worst, *summed, *moves, *life.row()]
    return Rows(np.array([row]), (" ".join(note.split())[:MOST_NOTE],))


def worst_place(values: NDArray[np.float64], upper: bool) -> int | None:
    """Place of the largest value, of the smallest where ``upper`` is False; the first of equal ones, None where there is none."""
    known = np.flatnonzero(np.isfinite(values))
    return int(known[np.argmax(values[known] if upper else -values[known])]) if len(known) else None


def _kept(ok: NDArray[np.float64]) -> float:
    """Of all cycles: 0 where one broke the limit, -1 where none was judged, else 1."""
    return 0.0 if np.any(ok == 0.0) else 1.0 if np.any(ok == 1.0) else -1.0


def fly_lifts(plan: Plan, first: int, last: int) -> Rows:
    """Fly runs ``first`` to ``last`` - 1."""
    rows = [fly_lift(plan, first + k, values) for k, values in enumerate(plan.sampler.values(first, last))]
    return Rows(np.concatenate([one.table for one in rows]), tuple(note for one in rows for note in one.notes))
