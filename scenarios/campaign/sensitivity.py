"""Sobol indices: which share of a value's variance each input makes, alone and with all its interactions.

The design has two sets A and B of n places each, and for each input a set that is A but for this input, taken from B.  What the
detector draws by chance is one more thing that varies: a lift of A and those made from it draw the same numbers, one of B others,
so that the share that belongs to no input is that of chance (and of its interactions).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

__all__ = ["Share", "chance_of", "design_place", "shares_of"]

RESAMPLES = 300


@dataclass(frozen=True)
class Share:
    """First-order and total index of one input, each with the ends of its interval."""

    column: str
    first: float
    first_low: float
    first_high: float
    total: float
    total_low: float
    total_high: float


def design_place(run: int, base: int, inputs: int) -> tuple[int, int]:
    """Row of the design (0 to ``base`` - 1) and what a run is: -1 of A, ``inputs`` of B, else A with this input from B."""
    block, row = divmod(run, base)
    return row, (-1, inputs)[block] if block < 2 else block - 2


def chance_of(run: int, base: int) -> int:
    """Number of the run whose chances a run of the design shares."""
    block, row = divmod(run, base)
    return base + row if block == 1 else row


def _indices(values: NDArray[np.float64], chosen: NDArray[np.int64]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    from scipy.stats import sobol_indices

    sets = values[:, chosen]
    found = sobol_indices(func={"f_A": sets[:1], "f_B": sets[1:2], "f_AB": sets[2:, None, :]}, n=len(chosen))
    return np.atleast_1d(found.first_order), np.atleast_1d(found.total_order)


def shares_of(values: NDArray[np.float64], columns: tuple[str, ...], confidence: float, seed: int) -> tuple[Share, ...]:
    """Indices of each input, strongest total first.

    Parameters
    ----------
    values
        Of every run of the design, in the order of the runs: A, B, then A with one input of B after the other.
    columns
        Names of the inputs.
    confidence
        Of the intervals, which come from drawing the rows of the design again (percentile bootstrap).
    seed
        Of these draws.

    Returns
    -------
    tuple
        Empty where a value is missing, or where nothing varies.

    Notes
    -----
    Source: A. Saltelli et al., Comput. Phys. Commun. 181:259 (2010), as scipy.stats.sobol_indices has it.
    """
    base = len(values) // (len(columns) + 2)
    sets = values.reshape(len(columns) + 2, base)
    if not np.all(np.isfinite(values)) or float(np.ptp(sets[:2])) == 0.0:
        return ()
    first, total = _indices(sets, np.arange(base))
    rng = np.random.Generator(np.random.Philox(np.random.SeedSequence(seed)))
    again = [_indices(sets, rng.integers(0, base, base)) for _ in range(RESAMPLES)]
    tails = [0.5 * (1.0 - confidence), 0.5 * (1.0 + confidence)]
    ends = [np.quantile([one[k] for one in again], tails, axis=0) for k in (0, 1)]
    made = [
        Share(
            name,
            *(float(value) for value in (first[i], ends[0][0, i], ends[0][1, i], total[i], ends[1][0, i], ends[1][1, i])),
        )
        for i, name in enumerate(columns)
    ]
    return tuple(sorted(made, key=lambda one: -one.total))
