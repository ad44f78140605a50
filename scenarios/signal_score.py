"""Scoring what a detector heard: each pulse against the true commutations, phase by phase, with exact intervals."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from scenarios.signal_phases import Phase

__all__ = ["Match", "PhaseScore", "Score", "add", "match", "proportion_interval", "rate_interval", "score"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

DOUBLE_SHARE = 0.3
"""A second pulse that comes within this share of a period after the first is a double, later it is a false one."""
REACH_US = 20_000.0
"""Farthest that a pulse may be from its commutation at any speed."""
LEVEL = 0.95


@dataclass(frozen=True)
class Match:
    """Pulses assigned to commutations.

    Attributes
    ----------
    hit
        For each commutation the index of its pulse, -1: missed.
    kind
        For each pulse 0 hit, 1 doubled, 2 false.
    owner
        For each pulse the commutation nearest to it.
    """

    hit: Ints
    kind: Ints
    owner: Ints


def _reach(true: Floats) -> tuple[Floats, Floats]:
    """Half the gap to the commutation before and after [us]; at the ends the gap at hand counts for both sides."""
    if len(true) < 2:
        wide = np.full(len(true), REACH_US)
        return wide, wide
    gaps = 0.5 * np.diff(true)
    before, after = np.concatenate(([gaps[0]], gaps)), np.concatenate((gaps, [gaps[-1]]))
    return np.minimum(before, REACH_US), np.minimum(after, REACH_US)


def match(true: Floats, heard: Floats) -> Match:
    """Assign each pulse to the commutation nearest to it; one commutation has one pulse, the nearest.

    Parameters
    ----------
    true, heard
        Ascending instants [us].

    Notes
    -----
    A pulse farther from every commutation than half the period there is false.  Alignment, not totals: a miss and a false
    pulse of the same move do not cancel.
    """
    hit = np.full(len(true), -1, np.int64)
    kind = np.full(len(heard), 2, np.int64)
    if len(true) == 0:
        return Match(hit, kind, np.zeros(len(heard), np.int64))
    middle = 0.5 * (true[1:] + true[:-1])
    owner = np.searchsorted(middle, heard).astype(np.int64)
    off = heard - true[owner]
    before, after = _reach(true)
    near = (off >= -before[owner]) & (off <= after[owner])
    # the nearest pulse of each commutation: by commutation, then by distance
    order = np.lexsort((np.abs(off), owner))
    order = order[near[order]]
    owned, first = np.unique(owner[order], return_index=True)
    hit[owned] = order[first]
    kind[hit[owned]] = 0
    rest = near & (kind == 2)
    late = off - off[np.maximum(hit[owner], 0)]
    period = before[owner] + after[owner]
    kind[rest & (np.abs(late) <= DOUBLE_SHARE * period)] = 1
    return Match(hit, kind, owner)


def proportion_interval(successes: int, trials: int, level: float = LEVEL) -> tuple[float, float]:
    """Clopper-Pearson interval of a proportion; (0, 1) without trials."""
    if trials == 0:
        return 0.0, 1.0
    from scipy.stats import binomtest

    found = binomtest(successes, trials).proportion_ci(level, method="exact")
    return float(found.low), float(found.high)


def rate_interval(events: int, trials: int, level: float = LEVEL) -> tuple[float, float]:
    """Exact (Garwood) interval of a Poisson rate per trial; (0, inf) without trials."""
    if trials == 0:
        return 0.0, float("inf")
    from scipy.stats import chi2

    half = 0.5 * (1.0 - level)
    low = 0.0 if events == 0 else 0.5 * float(chi2.ppf(half, 2 * events))
    return low / trials, 0.5 * float(chi2.ppf(1.0 - half, 2 * events + 2)) / trials


@dataclass(frozen=True)
class PhaseScore:
    """Counts of one phase: true commutations, and what became of them; latency is that of the hits [us]."""

    true: int = 0
    missed: int = 0
    doubled: int = 0
    false: int = 0
    latency_sum: float = 0.0

    @property
    def latency(self) -> float | None:
        """Mean time from the commutation to its pulse [us]; None: nothing heard."""
        hits = self.true - self.missed
        return self.latency_sum / hits if hits else None

    def missed_interval(self) -> tuple[float, float]:
        """Of the share missed."""
        return proportion_interval(self.missed, self.true)

    def extra_interval(self) -> tuple[float, float]:
        """Of doubled and false pulses per commutation."""
        return rate_interval(self.doubled + self.false, self.true)


@dataclass(frozen=True)
class Score:
    """What one detector made of one or several moves, by phase."""

    phases: dict[Phase, PhaseScore]
    moves: int = 1

    @property
    def whole(self) -> PhaseScore:
        """All phases together."""
        parts = list(self.phases.values())
        return PhaseScore(
            sum(one.true for one in parts),
            sum(one.missed for one in parts),
            sum(one.doubled for one in parts),
            sum(one.false for one in parts),
            sum(one.latency_sum for one in parts),
        )

    @property
    def net(self) -> int:
        """Heard less true."""
        whole = self.whole
        return whole.doubled + whole.false - whole.missed


def add(scores: list[Score]) -> Score:
    """Sum of the scores of several moves."""
    found: dict[Phase, PhaseScore] = {}
    for one in scores:
        for phase, part in one.phases.items():
            have = found.get(phase, PhaseScore())
            found[phase] = PhaseScore(
                have.true + part.true,
                have.missed + part.missed,
                have.doubled + part.doubled,
                have.false + part.false,
                have.latency_sum + part.latency_sum,
            )
    return Score(found, sum(one.moves for one in scores))


def score(true: Floats, heard: Floats, phase: Ints, step_us: float) -> Score:
    """Score a pulse train against the true commutations.

    Parameters
    ----------
    true, heard
        Ascending instants [us].
    phase
        Of every sub-step (``scenarios.signal_phases.phases``).
    step_us
        Sub-step [us].
    """
    made = match(true, heard)
    last = len(phase) - 1
    of_true = phase[np.clip((true / step_us).astype(np.int64), 0, last)]
    of_heard = phase[np.clip((heard / step_us).astype(np.int64), 0, last)]
    found = {}
    got = made.hit >= 0
    latency = np.zeros(len(true))
    latency[got] = heard[made.hit[got]] - true[got]
    for one in np.unique(np.concatenate((of_true, of_heard))):
        mine, pulses = of_true == one, of_heard == one
        found[Phase(int(one))] = PhaseScore(
            int(np.count_nonzero(mine)),
            int(np.count_nonzero(mine & ~got)),
            int(np.count_nonzero(pulses & (made.kind == 1))),
            int(np.count_nonzero(pulses & (made.kind == 2))),
            float(np.sum(latency[mine & got])),
        )
    return Score(found)
