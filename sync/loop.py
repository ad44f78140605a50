"""The differential loop of the levelling law: its margins at a moving operating point.

The loop is 2 Kc Kv exp(-s Td) / (s (tau_m s + 1)), with the integral part (Kc + Ki/s) in place of Kc: what two legs do
against each other, and every relative mode of N legs under mean coupling.  Friction and play do not enter while all legs
move one way.

Source: cross-coupled control, Koren, ASME J. Dyn. Syst. Meas. Control 102 (1980); zero-order hold as half a sample of delay.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sync.design.continuous import RationalLoop, loop_margins
from sync.design.margins import Margins

__all__ = [
    "DifferentialLoop",
    "Margins",
    "frequency_response",
    "gain_without_overshoot",
    "integral_without_overshoot",
    "loop_delay",
    "margins",
    "rational",
]


@dataclass(frozen=True)
class DifferentialLoop:
    """Gains and constants of the loop, SI.

    Attributes
    ----------
    gain, integral_gain : float
        Kc [duty per m] and Ki [duty per m and s].
    speed_per_duty : float
        Kv [m/s].
    time_constant : float
        Mechanical time constant [s].
    delay : float
        Td [s].
    """

    gain: float
    integral_gain: float
    speed_per_duty: float
    time_constant: float
    delay: float


def loop_delay(tick: float, compute_delay: float, period: float) -> float:
    """Delay of the loop [s]: half a control ``tick``, the compute delay, and half a pulse ``period`` of count age [s]."""
    return 0.5 * tick + compute_delay + 0.5 * period


def gain_without_overshoot(speed_per_duty: float, time_constant: float, delay: float) -> float:
    """Largest Kc [duty per m] whose step does not overshoot: 2 Kc Kv = 1/(4 (tau_m + Td)).

    Source: double real pole of the second-order loop.  Neglects: that the delay is not a lag (0.5 % of overshoot).
    """
    return 1.0 / (8.0 * speed_per_duty * (time_constant + delay))


def integral_without_overshoot(gain: float, speed_per_duty: float) -> float:
    """Largest Ki [duty per m and s] with real slow poles: Kc^2 Kv / 2.

    Source: discriminant of s^2 + 2 Kc Kv s + 2 Ki Kv.  Neglects: the fast pole and the delay.
    """
    return 0.5 * gain * gain * speed_per_duty


def frequency_response(loop: DifferentialLoop, omega: NDArray[np.float64]) -> NDArray[np.complex128]:
    """Open loop at the frequencies ``omega`` [rad/s], delay taken exactly; shape of ``omega``."""
    s = 1j * omega
    controller = loop.gain + loop.integral_gain / s
    response: NDArray[np.complex128] = (
        2.0 * controller * loop.speed_per_duty * np.exp(-s * loop.delay) / (s * (loop.time_constant * s + 1.0))
    )
    return response


def rational(loop: DifferentialLoop) -> RationalLoop:
    """The loop as a rational transfer function with dead time."""
    speed = 2.0 * loop.speed_per_duty
    if loop.integral_gain > 0.0:
        return RationalLoop((speed * loop.gain, speed * loop.integral_gain), (loop.time_constant, 1.0, 0.0, 0.0), loop.delay)
    return RationalLoop((speed * loop.gain,), (loop.time_constant, 1.0, 0.0), loop.delay)


def margins(loop: DifferentialLoop) -> Margins:
    """Margins of the loop, on a frequency grid of our own.

    Raises
    ------
    ValueError
        If the gain is not above zero: then there is no loop.
    """
    if loop.gain <= 0.0:
        raise ValueError("levelling.kc_per_mm = 0: without a gain there is no loop whose margins could be told")
    return loop_margins(rational(loop))
