"""A lift as a row of numbers: how it ended, what varied, and the value of every limit.

The columns of the table, in this order: ``run``, ``outcome`` (a number of :class:`Outcome`), what varied, then for each limit its
value, named as the limit (the name ends in the unit; empty where it was not evaluated) and ``NAME.ok`` (1 kept, 0 broken, -1 not
evaluated), then ``FIGURES``.  A note of text goes with a row that needs one.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import IntEnum
from math import nan

import numpy as np
from numpy.typing import NDArray

from scenarios import cache

cache.prepare()

from scenarios.campaign.plan import Plan  # noqa: E402
from scenarios.errors import InputError  # noqa: E402
from scenarios.result import Result, result_of  # noqa: E402
from scenarios.runner import fly  # noqa: E402
from scenarios.verdict import nearest  # noqa: E402
from scenarios.wiring import stored_energy  # noqa: E402

__all__ = ["FIGURES", "MEANING", "Outcome", "Rows", "column_names", "fly_lift", "fly_lifts", "lost_lift"]

FIGURES = ("margin_share", "simulated_s", "missed_counts", "extra_counts")
"""Smallest margin of all limits as a share of its limit; time that was simulated; commutations not heard, and pulses too many."""
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


def column_names(plan: Plan) -> tuple[str, ...]:
    """Headings of the table of a campaign."""
    limits = [name for entry in plan.nominal.limits for name in (entry.name, f"{entry.name}.ok")]
    return ("run", "outcome", *plan.columns, *limits, *FIGURES)


def _numbers(plan: Plan, values: Sequence[float | str]) -> list[float]:
    """Values as numbers; a word is told by its place in the list of the file, from 0."""
    numbers = []
    for variable, value in zip(plan.variables, values, strict=True):
        numbers.append(float((variable.spread.values or ()).index(value)) if isinstance(value, str) else float(value))
    return numbers


def _figures(result: Result) -> list[float]:
    close = nearest(result.verdict.limits)
    share = nan if close is None or close.margin is None else close.margin / (abs(close.limit) or 1.0)
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
    return [value for _ in plan.nominal.limits for value in (nan, -1.0)] + [nan] * len(FIGURES)


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
    try:
        scenario = plan.scenario(values)
        flight = fly(scenario, plan.file.seed, run=plan.sampler.chance(run))
        result = result_of(flight, float(stored_energy(flight.rig)), scenario.limits, plan.file.rehearsal)
    except InputError as error:
        return lost_lift(plan, run, Outcome.REFUSED, "; ".join(error.messages))
    except Exception as error:  # a lift that cannot be calculated is a row, and the others are flown
        return lost_lift(plan, run, Outcome.CRASHED, f"{type(error).__name__}: {error}")
    diverged = result.summary.diverged
    word = Outcome.DIVERGED if diverged is not None else Outcome[result.verdict.word.upper()]
    row = [float(run), float(word), *_numbers(plan, values), *_found(plan, result), *_figures(result)]
    note = "" if word in (Outcome.PASS, Outcome.FAIL) else result.verdict.sentence
    return Rows(np.array([row]), (" ".join(note.split())[:MOST_NOTE],))


def fly_lifts(plan: Plan, first: int, last: int) -> Rows:
    """Fly runs ``first`` to ``last`` - 1."""
    rows = [fly_lift(plan, first + k, values) for k, values in enumerate(plan.sampler.values(first, last))]
    return Rows(np.concatenate([one.table for one in rows]), tuple(note for one in rows for note in one.notes))
