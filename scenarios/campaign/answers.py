"""What a campaign says: pass rates with exact intervals, claims in words, bounds of quantiles, the worst lifts, and what drives them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from math import atanh, isfinite, nan, sqrt, tanh
from typing import Any

import numpy as np
from numpy.typing import NDArray

from scenarios.campaign.folder import Folder
from scenarios.campaign.plan import Plan
from scenarios.campaign.rare import Estimate, estimate, estimate_words
from scenarios.campaign.rows import MEANING, WEIGHT, Outcome, column_names
from scenarios.campaign.sensitivity import Share, shares_of
from scenarios.campaign.service_answers import ServiceAnswers, service_answers
from scenarios.campaign.statistics import Interval, claim, exact_interval, quantile_interval, upper_bound
from scenarios.limits import LIMITS

__all__ = ["SHARES", "Answers", "Driver", "LimitAnswer", "Quantile", "Requirement", "WorstLift", "answers_of", "rank_correlation"]

SHARES = (0.5, 0.95, 0.99)
WORST = 10
MOST_LOST = 20


@dataclass(frozen=True)
class Quantile:
    """Value that ``share`` of the lifts keep better than, with its distribution-free interval; None: too few lifts for an end."""

    share: float
    value: float
    low: float | None
    high: float | None
    bound: float | None
    """One-sided: at least ``share`` of all lifts keep better than this, at the confidence of the campaign."""


@dataclass(frozen=True)
class Driver:
    """Rank correlation of a varied value with the value of a limit, and its 95 % interval."""

    column: str
    correlation: float
    low: float
    high: float


@dataclass(frozen=True)
class LimitAnswer:
    """One limit over all lifts."""

    name: str
    id: str
    unit: str
    limit: float
    upper: bool
    judged: int
    broken: int
    interval: Interval | None
    """Of the share that breaks it; None where nothing was drawn, or nothing judged."""
    claim: str
    quantiles: tuple[Quantile, ...]
    worst: float | None
    worst_run: int | None
    drivers: tuple[Driver, ...]
    """Strongest first."""
    shares: tuple[Share, ...] = ()
    """Sobol indices, strongest first; only of a design for them."""
    estimate: Estimate | None = None
    """With importance sampling: the share that breaks it, from the weights."""
    worst_move: int | None = None
    """Of a service run: the move in which the worst came."""


@dataclass(frozen=True)
class Requirement:
    """An id that limits carry: broken by a lift that breaks any of them, judged where all of them are."""

    id: str
    limits: tuple[str, ...]
    sources: tuple[str, ...]
    judged: int
    broken: int
    claim: str


@dataclass(frozen=True)
class WorstLift:
    """A lift with little margin, or none."""

    run: int
    outcome: str
    margin_share: float
    """Smallest margin as a share of its limit; negative: broken."""


@dataclass(frozen=True)
class Answers:
    """Everything that is reported of a campaign."""

    name: str
    file: str
    rehearsal: str
    seed: int
    lifts: int
    confidence: float
    sampling: str
    drawn: bool
    """False: combinations, of which no share of all lifts can be claimed."""
    outcomes: dict[str, int]
    interval: Interval | None
    """Of the share of lifts that do not pass."""
    claim: str
    limits: tuple[LimitAnswer, ...]
    worst: tuple[WorstLift, ...]
    lost: tuple[tuple[int, str, str], ...]
    """Run, outcome and note of lifts that could not be judged as ordered, the first of them."""
    requirements: tuple[Requirement, ...] = ()
    service: ServiceAnswers | None = None
    estimate: Estimate | None = None
    """With importance sampling: the share of all lifts that do not pass."""

    @property
    def passed(self) -> bool:
        """Whether every lift passed."""
        return self.outcomes["pass"] == self.lifts

    def as_dict(self) -> dict[str, Any]:
        """Plain data; a number that does not exist is None."""
        found: dict[str, Any] = _clean(asdict(self))
        return found


def _clean(value: Any) -> Any:
    if isinstance(value, dict):
        return {key: _clean(one) for key, one in value.items()}
    if isinstance(value, list | tuple):
        return [_clean(one) for one in value]
    return None if isinstance(value, float) and not isfinite(value) else value


def _ranks(values: NDArray[np.float64]) -> NDArray[np.float64]:
    from scipy.stats import rankdata

    return np.asarray(rankdata(values), dtype=np.float64)


def rank_correlation(first: NDArray[np.float64], second: NDArray[np.float64]) -> tuple[float, float, float]:
    """Spearman's rank correlation and its 95 % interval; nan where one of them does not vary.

    Source: C. Spearman (1904); interval: E. Fieller, H. Hartley, E. Pearson, Biometrika 44:470 (1957), standard error
    1.03/sqrt(n - 3) of the inverse hyperbolic tangent (from memory).
    """
    ranks = [_ranks(values) - 0.5 * (len(values) + 1) for values in (first, second)]
    sizes = [float(np.sum(one * one)) for one in ranks]
    if len(first) < 5 or min(sizes) == 0.0:
        return nan, nan, nan
    found = float(np.sum(ranks[0] * ranks[1])) / sqrt(sizes[0] * sizes[1])
    middle, error = atanh(min(max(found, -0.999999), 0.999999)), 1.96 * 1.03 / sqrt(len(first) - 3)
    return found, tanh(middle - error), tanh(middle + error)


def _drivers(table: NDArray[np.float64], columns: Sequence[tuple[int, str]], values: NDArray[np.float64]) -> tuple[Driver, ...]:
    known = np.isfinite(values)
    made = [Driver(name, *rank_correlation(table[known, place], values[known])) for place, name in columns]
    return tuple(sorted((one for one in made if isfinite(one.correlation)), key=lambda one: -abs(one.correlation)))


def _quantiles(values: NDArray[np.float64], upper: bool, confidence: float) -> tuple[Quantile, ...]:
    """Quantiles counted from the good side: of a lower limit, the value that ``share`` of the lifts exceed."""
    sign = 1.0 if upper else -1.0
    ordered = np.sort(sign * values).tolist()
    made = []
    for share in SHARES:
        low, middle, high = quantile_interval(ordered, share, confidence)
        ends = [None if end is None else sign * end for end in (low, high, upper_bound(ordered, share, confidence))]
        below, above = (ends[0], ends[1]) if upper else (ends[1], ends[0])
        made.append(Quantile(share, sign * middle, below, above, ends[2]))
    return tuple(made)


def _shares(folder: Folder, values: NDArray[np.float64]) -> tuple[Share, ...]:
    plan = folder.plan
    if plan.file.sampling != "sensitivity":
        return ()
    return shares_of(values, plan.columns, plan.file.confidence, plan.file.seed)


def _weighed(plan: Plan, table: NDArray[np.float64], broken: NDArray[np.bool_], judged: NDArray[np.bool_]) -> Estimate | None:
    """Share of what is ``broken`` of what was ``judged``, with importance sampling."""
    weights = table[:, -1] if plan.file.rare else np.zeros(0)
    if plan.file.rare is None or not np.any(judged):
        return None
    assert column_names(plan)[-1] == WEIGHT
    known = judged & np.isfinite(weights)
    return estimate(broken[known], weights[known], plan.file.confidence) if np.any(known) else None


def _said(weighed: Estimate | None, plan: Plan) -> str:
    return "" if weighed is None else estimate_words(weighed, plan.file.confidence)


def _interval(weighed: Estimate | None) -> Interval | None:
    return None if weighed is None or weighed.high is None else Interval(weighed.low, weighed.high)


def _limit_answers(folder: Folder, table: NDArray[np.float64]) -> tuple[LimitAnswer, ...]:
    plan, names = folder.plan, column_names(folder.plan)
    inputs = [(names.index(column), column) for column in plan.columns]
    made = []
    for entry in plan.nominal.limits:
        values, ok = table[:, names.index(entry.name)], table[:, names.index(f"{entry.name}.ok")]
        upper = LIMITS[entry.name].upper
        judged, broken = int(np.sum(ok >= 0.0)), int(np.sum(ok == 0.0))
        known = np.flatnonzero(np.isfinite(values) & (ok >= 0.0))
        place = None if not len(known) else int(known[np.argmax(values[known] if upper else -values[known])])
        drawn = plan.sampler.drawn and plan.file.rare is None
        weighed = _weighed(plan, table, ok == 0.0, ok >= 0.0)
        made.append(
            LimitAnswer(
                name=entry.name,
                id=entry.id,
                unit=entry.unit,
                limit=entry.limit,
                upper=upper,
                judged=judged,
                broken=broken,
                interval=_interval(weighed) or (exact_interval(broken, judged, plan.file.confidence) if judged and drawn else None),
                claim=_said(weighed, plan) or (claim(broken, judged, plan.file.confidence) if drawn else f"{broken} of {judged} broke it"),
                quantiles=_quantiles(values[known], upper, plan.file.confidence) if len(known) and drawn else (),
                worst=None if place is None else float(values[place]),
                worst_run=None if place is None else int(table[place, 0]),
                drivers=_drivers(table, inputs, values) if plan.file.rare is None else (),
                shares=_shares(folder, values),
                estimate=weighed,
                worst_move=int(table[place, names.index(f"{entry.name}.move")]) if plan.file.service and place is not None else None,
            )
        )
    return tuple(made)


def _requirements(plan: Plan, table: NDArray[np.float64]) -> tuple[Requirement, ...]:
    names = column_names(plan)
    made = []
    for id_ in dict.fromkeys(entry.id for entry in plan.nominal.limits if entry.id):
        entries = [entry for entry in plan.nominal.limits if entry.id == id_]
        ok = table[:, [names.index(f"{entry.name}.ok") for entry in entries]]
        broken, judged = np.any(ok == 0.0, axis=1), np.any(ok == 0.0, axis=1) | np.all(ok >= 0.0, axis=1)
        number_broken, number_judged = int(np.sum(broken)), int(np.sum(judged))
        said = _said(_weighed(plan, table, broken, judged), plan)
        if not said:
            drawn = plan.sampler.drawn
            said = claim(number_broken, number_judged, plan.file.confidence) if drawn else f"{number_broken} of {number_judged} broke it"
        sources = tuple(dict.fromkeys(entry.source for entry in entries if entry.source))
        made.append(Requirement(id_, tuple(entry.name for entry in entries), sources, number_judged, number_broken, said))
    return tuple(made)


def _factors(plan: Plan) -> dict[str, list[tuple[float, str]]]:
    """What takes a few values: as they stand in the table, and in words."""
    found = {}
    for variable in plan.variables:
        values = variable.spread.values
        if values is not None:
            found[variable.column] = [(float(k) if isinstance(value, str) else value, str(value)) for k, value in enumerate(values)]
    return found


def _worst(table: NDArray[np.float64], names: Sequence[str]) -> tuple[WorstLift, ...]:
    margins = table[:, names.index("margin_share")]
    known = np.flatnonzero(np.isfinite(margins))
    first = known[np.argsort(margins[known], kind="stable")][:WORST]
    return tuple(WorstLift(int(table[k, 0]), Outcome(int(table[k, 1])).name.lower(), float(margins[k])) for k in first)


def _lost(folder: Folder, table: NDArray[np.float64]) -> tuple[tuple[int, str, str], ...]:
    runs = np.flatnonzero(table[:, 1] >= Outcome.INCOMPLETE)[:MOST_LOST].tolist()
    found = []
    for batch in folder.batches:
        held = [run for run in runs if batch.first <= run < batch.last]
        notes = folder.rows(batch).notes if held else ()
        found += [(run, Outcome(int(table[run, 1])).name.lower(), notes[run - batch.first]) for run in held]
    return tuple(found)


def answers_of(folder: Folder) -> Answers:
    """Answers of a campaign all of whose batches are there."""
    plan, names, table = folder.plan, column_names(folder.plan), folder.table()
    outcomes = {word.name.lower(): int(np.sum(table[:, 1] == word)) for word in MEANING}
    lifts, drawn = plan.file.lifts, plan.sampler.drawn and plan.file.rare is None
    weighed = _weighed(plan, table, table[:, 1] != Outcome.PASS, table[:, 1] >= 0.0)
    bad = lifts - outcomes["pass"]
    told = f"{bad} of {lifts} lifts did not pass; they were chosen, not drawn: no share of all lifts follows"
    if drawn:
        told = claim(bad, lifts, plan.file.confidence).replace("broke it", "did not pass")
    elif weighed is not None:
        told = _said(weighed, plan).replace("breaks with", "a limit is broken with a probability of").replace("broke it", "failed")
    return Answers(
        name=plan.file.name,
        file=plan.path.name,
        rehearsal=plan.file.rehearsal,
        seed=plan.file.seed,
        lifts=lifts,
        confidence=plan.file.confidence,
        sampling=plan.file.sampling,
        drawn=drawn,
        outcomes=outcomes,
        interval=_interval(weighed) or (exact_interval(bad, lifts, plan.file.confidence) if drawn else None),
        claim=told,
        limits=_limit_answers(folder, table),
        worst=_worst(table, names),
        lost=_lost(folder, table),
        requirements=_requirements(plan, table),
        estimate=weighed,
        service=None
        if plan.file.service is None
        else service_answers(table, names, plan.file.service, plan.file.confidence, _factors(plan)),
    )
