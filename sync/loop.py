"""Design of the levelling loop: the differential loop of two legs, or of one leg against the mean, and its margins.

All legs run one way, so that friction and play stay out of it; they come in at start, stop and reversal.  This is the only
module of ``sync`` that is not firmware, and the only one that needs python-control.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import isfinite, pi, radians
from typing import Any

import control
import numpy as np

__all__ = ["Loop", "Margins", "gain_without_overshoot", "integral_without_overshoot", "loop_delay", "margins", "response"]

POINTS_PER_DECADE = 400
DECADES = 3.0
"""The grid reaches this far below and above the crossover of the pure integrator."""


@dataclass(frozen=True)
class Loop:
    """The differential loop 2 (Kc + Ki/s) Kv exp(-s Td) / (s (tau s + 1)).

    Attributes
    ----------
    gain
        Kc: duty per m of difference between two legs [1/m].
    integral_gain
        Ki [1/(m s)].
    speed
        Kv: speed of the deck per duty [m/s].
    time_constant
        tau: mechanical time constant of motor, gear, spindle and load [s].
    delay
        Td [s].
    """

    gain: float
    speed: float
    time_constant: float
    delay: float
    integral_gain: float = 0.0


@dataclass(frozen=True)
class Margins:
    """Margins of a loop; infinite where the curve never crosses."""

    gain: float
    """Factor on the gain at which the loop begins to oscillate; below 1 it does so already."""
    phase: float
    """rad; negative where the loop is unstable."""
    crossover: float
    """rad/s, where the loop gain is 1."""
    phase_crossover: float
    """rad/s, where the phase is -180 degrees."""
    modulus: float
    """Least distance of the curve from -1."""

    @property
    def delay(self) -> float:
        """Further delay [s] that the loop bears."""
        return self.phase / self.crossover


def loop_delay(tick: float, compute: float, count_rate: float) -> float:
    """Delay [s] of the loop: half a control tick, the compute delay, and the mean age of a count (half a period).

    Parameters
    ----------
    tick, compute
        Control tick and compute delay [s].
    count_rate
        Counts per second while moving [1/s].
    """
    return 0.5 * tick + compute + 0.5 / count_rate


def gain_without_overshoot(speed: float, time_constant: float, delay: float) -> float:
    """Largest Kc [1/m] whose step response does not overshoot: 2 Kc Kv = 1/(4 (tau + Td)).

    Source: double real pole of the second-order loop with the delay counted as part of the time constant.
    """
    return 1.0 / (8.0 * speed * (time_constant + delay))


def integral_without_overshoot(gain: float, speed: float) -> float:
    """Largest Ki [1/(m s)] with real slow poles: Kc^2 Kv / 2.

    Source: discriminant of s^2 + 2 Kc Kv s + 2 Ki Kv, the fast pole left out.
    """
    return 0.5 * gain * gain * speed


def response(loop: Loop) -> Any:
    """Frequency response of a loop on a grid of our own, the delay exact.

    An automatic grid may start above a slow crossover, and then the margins are wrong without a word.

    Returns
    -------
    control.FrequencyResponseData
        Over frequencies [rad/s] three decades either side of the crossover of the pure integrator.
    """
    middle = 2.0 * loop.gain * loop.speed
    omega = middle * np.logspace(-DECADES, DECADES, int(2 * DECADES * POINTS_PER_DECADE) + 1)
    s = 1j * omega
    law = loop.gain + loop.integral_gain / s
    values = 2.0 * law * loop.speed * np.exp(-s * loop.delay) / (s * (loop.time_constant * s + 1.0))
    return control.FrequencyResponseData(values, omega, smooth=True)


def margins(loop: Loop) -> Margins:
    """Margins of a loop.

    Raises
    ------
    ValueError
        If a value is not positive where it must be, or the grid does not hold the crossover.

    Notes
    -----
    Source: the Nyquist criterion; python-control's margins on the grid of `response`.
    """
    if not (loop.gain > 0.0 and loop.speed > 0.0 and loop.time_constant >= 0.0 and loop.delay >= 0.0 and loop.integral_gain >= 0.0):
        raise ValueError(f"gain and speed must be above zero, the rest not below it: {loop}")
    gain, phase, modulus, phase_crossover, crossover, _ = (float(value) for value in control.stability_margins(response(loop)))
    if not isfinite(crossover):
        raise ValueError(f"the loop has no crossover within {DECADES:g} decades of {2.0 * loop.gain * loop.speed:g} rad/s: {loop}")
    turned = radians(phase)
    return Margins(gain, turned - 2.0 * pi if turned > pi else turned, crossover, phase_crossover, modulus)
