"""The two-sided tabular CUSUM: small shifts of a residual add up until they cross a decision interval.

Source: NIST/SEMATECH e-Handbook of Statistical Methods 6.3.2.3; the approximation of the run length is Siegmund's
(*Sequential Analysis*, 1985), as given by Montgomery, *Statistical Quality Control*.
"""

from __future__ import annotations

from math import exp, log
from typing import Any

from sync.kernel import kernel

__all__ = ["accumulate", "alarm", "decision_interval", "restart", "run_length"]

_SHIFT = 1.166


@kernel
def accumulate(sums: Any, z: float, allowance: float) -> None:
    """Take a standardised residual ``z`` into both sums, each less the ``allowance`` (k)."""
    high = sums.high + z - allowance
    low = sums.low - z - allowance
    sums.high = high if high > 0.0 else 0.0
    sums.low = low if low > 0.0 else 0.0


@kernel
def alarm(sums: Any, limit: float) -> int:
    """1 if the residuals have shifted up, -1 down, 0 neither; ``limit`` is the decision interval (h)."""
    if sums.high > limit:
        return 1
    return -1 if sums.low > limit else 0


@kernel
def restart(sums: Any) -> None:
    """Begin again from zero."""
    sums.high = 0.0
    sums.low = 0.0


def run_length(limit: float, allowance: float = 0.5, shift: float = 0.0) -> float:
    """Mean number of residuals until one side alarms, by Siegmund's approximation.

    Parameters
    ----------
    limit, allowance
        h and k, in standard deviations.
    shift
        Shift of the mean towards that side, in standard deviations; not equal to the allowance.

    Notes
    -----
    *Valid for* independent normal residuals; within 1 % of the exact value for h of 4 and more.
    """
    slope = 2.0 * (shift - allowance)
    reach = slope * (limit + _SHIFT)
    return 2.0 * (exp(-reach) + reach - 1.0) / slope**2


def decision_interval(tests_per_move: float, false_alarms: float = 1e-3, allowance: float = 0.5) -> float:
    """Decision interval h at which ``tests_per_move`` residuals a move give ``false_alarms`` per move, both sides together.

    Parameters
    ----------
    tests_per_move
        Residuals that go into tests during one move, all legs together.
    false_alarms
        Alarms per move without drift.
    allowance
        k, in standard deviations.

    Returns
    -------
    float
        h, in standard deviations, by bisection of :func:`run_length`.
    """
    wanted = 2.0 * tests_per_move / false_alarms
    low, high = 0.0, 1.0 + log(wanted + 10.0) / allowance
    for _ in range(60):
        middle = 0.5 * (low + high)
        if run_length(middle, allowance) < wanted:
            low = middle
        else:
            high = middle
    return high
