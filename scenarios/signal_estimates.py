"""Scoring the estimates of the shape check against the truth: speed, direction, power-off instant, wear."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from plant.bridge import COAST, DRIVE

__all__ = ["EstimateScore", "score_estimates", "sum_estimates"]

Estimate = tuple[float, float, int, float, float]
TURNING = 20.0
"""rad/s below which neither speed nor direction is asked for."""
SETTLED_S = 0.05
"""After a change of the bridge the estimates get this long."""


@dataclass(frozen=True)
class EstimateScore:
    """How well the estimates hold, from samples 10 ms apart while the rotor turns.

    Attributes
    ----------
    samples
        How many.
    speed_error
        Root of the summed squares of the relative speed error, not yet divided.
    right, unknown, wrong
        Direction told.
    off_us
        Sum of the power-off instants told less the true ones [us], and how many power-offs were told and missed.
    wear
        Sum of the wear indices at the end of each move, and the moves.
    """

    samples: int = 0
    square_sum: float = 0.0
    right: int = 0
    unknown: int = 0
    wrong: int = 0
    off_sum_us: float = 0.0
    offs_told: int = 0
    offs_missed: int = 0
    wear_sum: float = 0.0
    moves: int = 0

    def as_dict(self) -> dict[str, Any]:
        """For JSON."""
        return {
            "samples": self.samples,
            "speed_error_rms": (self.square_sum / self.samples) ** 0.5 if self.samples else None,
            "direction": {"right": self.right, "unknown": self.unknown, "wrong": self.wrong},
            "power_off": {
                "told": self.offs_told,
                "missed": self.offs_missed,
                "late_us": self.off_sum_us / self.offs_told if self.offs_told else None,
            },
            "wear": self.wear_sum / self.moves if self.moves else None,
        }


def sum_estimates(scores: Sequence[EstimateScore]) -> EstimateScore:
    """Scores of several moves together."""
    return EstimateScore(*(sum(values) for values in zip(*(vars(one).values() for one in scores), strict=True)))


def score_estimates(estimates: Sequence[Estimate], history: NDArray[np.void], step: float) -> EstimateScore:
    """Score the estimates of one move.

    Parameters
    ----------
    estimates
        Instant [us], speed [rad/s], direction, power-off instant [us], wear; in order.
    history
        Of the leg.
    step
        Sub-step [s].
    """
    at_us, speed, direction, off_us, wear = (np.array(column, dtype=float) for column in zip(*estimates, strict=True))
    row = np.minimum((1e-6 * at_us / step).astype(np.int64), len(history) - 2)
    true = history["speed"][row]
    mode = history["mode"]
    changed = np.flatnonzero(np.diff(mode[:-1])) + 1
    fresh = np.zeros(len(row), bool)
    for k in changed:
        fresh |= (row >= k) & (row < k + SETTLED_S / step)
    asked = (np.abs(true) > TURNING) & ~fresh & (speed > 0.0)
    told = direction[asked]
    sign = np.sign(true[asked])
    offs = [k for k in changed if mode[k] == COAST and mode[k - 1] == DRIVE]
    seen = sorted({one for one in off_us.tolist() if one > 0.0})
    late = [min((one - 1e6 * step * k for one in seen if one >= 1e6 * step * k - 1.0), default=np.inf) for k in offs]
    good = [one for one in late if one < 1e4]
    relative = speed[asked] / np.abs(true[asked]) - 1.0
    return EstimateScore(
        int(np.count_nonzero(asked)),
        float(relative @ relative),
        int(np.count_nonzero(told == sign)),
        int(np.count_nonzero(told == 0)),
        int(np.count_nonzero(told == -sign)),
        float(sum(good)),
        len(good),
        len(offs) - len(good),
        float(wear[-1]),
        1,
    )
