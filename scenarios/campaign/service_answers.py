"""What service runs say: homings a day, level error by moves since the homing, flags true and false, wear and its index."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from scenarios.campaign.service import SINCE, TENTHS
from scenarios.campaign.statistics import Interval, exact_interval
from scenarios.files.service import Service
from scenarios.verdict import number

__all__ = ["Factor", "ServiceAnswers", "Since", "Worn", "ended_words", "service_answers", "service_lines"]

MOST_ENDED = 5
Table = NDArray[np.float64]
Factors = Mapping[str, Sequence[tuple[float, str]]]
"""Columns that take few values: each value as it stands in the table, and in words."""


@dataclass(frozen=True)
class Since:
    """Level error at rest after moves that began ``first`` to ``last`` moves after a homing; ``last`` None: and later."""

    first: int
    last: int | None
    moves: int
    mean_mm: float
    worst_mm: float


@dataclass(frozen=True)
class Worn:
    """Wear (share of the life) and wear index [pulses corrected per thousand] after a number of moves; smallest, median, largest."""

    moves: float
    wear: tuple[float, float, float]
    index: tuple[float, float, float]


@dataclass(frozen=True)
class Factor:
    """Lifts that have one value of a thing that takes few, and how their counts drift."""

    column: str
    value: str
    lifts: int
    mean_drift: float
    """Counts of the worst leg per 100 moves, mean of the lifts."""
    worst_drift: float


@dataclass(frozen=True)
class ServiceAnswers:
    """Of all lifts of a campaign."""

    lifts: int
    """That were flown."""
    moves: int
    homings: int
    homings_per_day: tuple[float, float, float]
    """Smallest, mean and largest of the lifts."""
    faults: int
    drift_counts: float
    """Count error of a leg from which a drift flag is right."""
    drift_flags_true: int
    drift_flags_false: int
    drifts_missed: int
    """Stretches between homings in which a leg was so far off and no drift flag came."""
    flagged: int
    """Lifts for which service was asked."""
    flagged_false: int
    false_share: Interval | None
    """Of all lifts: those for which service was asked before it was due, exact interval; None: no lift was flown."""
    overdue: int
    """Lifts that were due and not flagged."""
    since: tuple[Since, ...]
    worn: tuple[Worn, ...]
    drift_per_100: tuple[float, float, float]
    """Count error of the worst leg at the end of each stretch between homings, per 100 moves: smallest, median, largest of the lifts."""
    factors: tuple[Factor, ...] = ()
    ended: tuple[tuple[int, int], ...] = ()
    """Runs that ended early, after a fault that the homing did not clear, each with the moves it had flown."""


def _factors(columns: dict[str, Table], factors: Factors) -> tuple[Factor, ...]:
    drift = columns["drift_counts_per_100_moves"]
    made = []
    for column, values in factors.items():
        for place, value in values:
            held = drift[columns[column] == place]
            if len(held):
                made.append(Factor(column, value, len(held), float(np.mean(held)), float(np.max(held))))
    return tuple(made)


def _three(values: Table) -> tuple[float, float, float]:
    return float(np.min(values)), float(np.median(values)), float(np.max(values))


def _since(columns: dict[str, Table]) -> tuple[Since, ...]:
    made = []
    for first, following in zip(SINCE, (*SINCE[1:], None), strict=True):
        moves = columns[f"since_{first}_moves"]
        flown = moves > 0
        if np.any(flown):
            total = float(np.sum(moves[flown] * columns[f"since_{first}_level_mm"][flown]))
            worst = float(np.max(columns[f"since_{first}_worst_mm"][flown]))
            number_of = int(np.sum(moves[flown]))
            made.append(Since(first, None if following is None else following - 1, number_of, total / number_of, worst))
    return tuple(made)


def _worn(columns: dict[str, Table], moves: int) -> tuple[Worn, ...]:
    made = []
    for tenth in range(1, TENTHS + 1):
        wear, index = columns[f"wear_{tenth}"], columns[f"wear_index_{tenth}_permille"]
        known = np.isfinite(wear)
        if np.any(known):
            made.append(Worn(moves * tenth / TENTHS, _three(wear[known]), _three(index[known])))
    return tuple(made)


def service_answers(
    table: Table, names: Sequence[str], service: Service, confidence: float, factors: Factors | None = None
) -> ServiceAnswers | None:
    """Answers from the table of a campaign of service runs; None where no lift was flown.

    Parameters
    ----------
    table
        Shape (lifts, columns).
    names
        Of the columns.
    service
        What each lift was to fly.
    confidence
        Of the interval.
    factors
        Columns by which the drift of the counts is told apart.
    """
    flown = table[np.isfinite(table[:, names.index("moves")])]
    if not len(flown):
        return None
    columns = {name: flown[:, k] for k, name in enumerate(names)}
    total = {name: int(np.sum(columns[name])) for name in ("moves", "homings", "faults", "drift_flags_true", "drift_flags_false")}
    days, flags, due = columns["homings_per_day"], columns["service_flag_move"], columns["service_due_move"]
    wrong = int(np.sum(columns["service_flag_false"]))
    return ServiceAnswers(
        lifts=len(flown),
        **total,
        homings_per_day=(float(np.min(days)), float(np.mean(days)), float(np.max(days))),
        drift_counts=service.drift_counts,
        drifts_missed=int(np.sum(columns["drifts_missed"])),
        flagged=int(np.sum(np.isfinite(flags))),
        flagged_false=wrong,
        false_share=exact_interval(wrong, len(flown), confidence),
        overdue=int(np.sum(np.isfinite(due) & ~np.isfinite(flags))),
        since=_since(columns),
        worn=_worn(columns, service.moves),
        drift_per_100=_three(columns["drift_counts_per_100_moves"]),
        factors=_factors(columns, factors or {}),
        ended=tuple((int(run), int(flown)) for run, flown in zip(columns["run"], columns["moves"], strict=True) if flown < service.moves),
    )


def ended_words(found: ServiceAnswers) -> str:
    """Which runs ended early, the first of them by name."""
    named = ", ".join(f"run {run} after {moves} moves" for run, moves in found.ended[:MOST_ENDED])
    more = "" if len(found.ended) <= MOST_ENDED else f" and {len(found.ended) - MOST_ENDED} more"
    return f"ended early, a number not finite or a fault that the homing did not clear: {named}{more}"


def service_lines(found: ServiceAnswers, confidence: float) -> list[str]:
    """Lines for the terminal."""
    low, mean, high = found.homings_per_day
    flags = (found.drift_flags_true, found.drift_flags_false, found.drifts_missed)
    lines = [
        f"  service: {found.lifts} lifts, {found.moves} moves, {found.faults} faults, {found.homings} homings: "
        f"{number(mean)} a day ({number(low)} to {number(high)})",
        f"  drift flags: {flags[0]} true (a leg was off by {number(found.drift_counts)} counts or more), {flags[1]} false (none was); "
        f"{flags[2]} stretches between homings with a leg so far off and no flag",
    ]
    if found.false_share is not None and found.worn and found.worn[-1].wear[2] > 0.0:
        ends = f"{100 * found.false_share.low:.3g} to {100 * found.false_share.high:.3g} % at {100 * confidence:g} % confidence"
        lines.append(
            f"  service asked for: {found.flagged} lifts, of these {found.flagged_false} before it was due ({ends}); "
            f"{found.overdue} due and not asked for"
        )
    lines += [f"  {ended_words(found)}"] if found.ended else []
    few, middle, most = found.drift_per_100
    lines.append(f"  drift of the counts per 100 moves, worst leg: {number(middle)} counts ({number(few)} to {number(most)})")
    lines += [
        f"    {one.column} = {one.value}: {number(one.mean_drift)} counts, worst of {one.lifts} lifts {number(one.worst_drift)}"
        for one in found.factors
    ]
    lines += ["", "  moves since homing      moves   level error at rest, mean   worst"]
    for one in found.since:
        label = (
            f"{one.first}" if one.last == one.first else f"{one.first} to {one.last}" if one.last is not None else f"{one.first} and more"
        )
        lines.append(f"  {label:20s} {one.moves:8d}   {number(one.mean_mm):>22s} mm   {number(one.worst_mm)} mm")
    if found.worn and found.worn[-1].wear[2] > 0.0:
        lines += ["", "  after moves   wear (least, median, most)   wear index, per thousand pulses"]
        for step in found.worn:
            wear = ", ".join(f"{value:.2f}" for value in step.wear)
            index = ", ".join(f"{value:.2f}" for value in step.index)
            lines.append(f"  {step.moves:11.0f}   {wear:26s}   {index}")
    return lines
