"""Rules for a first guess of the gains, and what is left standing: each a formula with its source.

A levelling loop is an integrating process with a dead time: duty to relative height, k' = 2 Kv per unit of Kc.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import cos, pi, sin

from sync.design.continuous import RationalLoop, loop_margins
from sync.design.margins import Margins

__all__ = [
    "PiGains",
    "contour_error",
    "contour_reduction",
    "droop",
    "duty_headroom",
    "first_order_loop",
    "integrating_loop",
    "integrating_margins",
    "ramp_error",
    "ring_mode_gain",
    "simc",
    "simc_integrating",
    "simc_margins",
]


@dataclass(frozen=True)
class PiGains:
    """C(s) = gain (1 + 1/(integral_time s)): gain, and integral time [s]."""

    gain: float
    integral_time: float


def simc(gain: float, time_constant: float, delay: float, closed: float) -> PiGains:
    """SIMC rule for gain exp(-s delay)/(time_constant s + 1), ``closed`` the wanted closed-loop time constant [s].

    Source: Skogestad, J. Process Control 13 (2003) 291: Kc = tau/(k (tau_c + theta)), tau_I = min(tau, 4 (tau_c + theta)).
    """
    total = closed + delay
    return PiGains(time_constant / (gain * total), min(time_constant, 4.0 * total))


def simc_integrating(slope: float, delay: float, closed: float) -> PiGains:
    """SIMC rule for slope exp(-s delay)/s: Kc = 1/(k' (tau_c + theta)), tau_I = 4 (tau_c + theta).

    Source: as ``simc``, limit of a long time constant.
    """
    total = closed + delay
    return PiGains(1.0 / (slope * total), 4.0 * total)


def first_order_loop(gain: float, time_constant: float, delay: float, pi_gains: PiGains) -> RationalLoop:
    """PI around a first-order process with dead time."""
    k, ti = pi_gains.gain * gain, pi_gains.integral_time
    return RationalLoop((k * ti, k), (ti * time_constant, ti, 0.0), delay)


def integrating_loop(slope: float, delay: float, pi_gains: PiGains) -> RationalLoop:
    """PI around an integrating process with dead time."""
    k, ti = pi_gains.gain * slope, pi_gains.integral_time
    return RationalLoop((k * ti, k), (ti, 0.0, 0.0), delay)


def droop(speed_difference: float, gain: float, speed_per_duty: float) -> float:
    """Level error between two legs that a proportional law leaves standing [m]: dv/(2 Kc Kv).

    Parameters
    ----------
    speed_difference
        Of the two legs at the same duty [m/s].
    gain, speed_per_duty
        Kc [1/m] and Kv [m/s].
    """
    return speed_difference / (2.0 * gain * speed_per_duty)


def ramp_error(difference_rate: float, integral_gain: float, speed_per_duty: float) -> float:
    """Level error that an integrating law leaves while the speed difference grows evenly [m]: (d dv/dt)/(2 Ki Kv)."""
    return difference_rate / (2.0 * integral_gain * speed_per_duty)


def duty_headroom(speed_difference: float, speed_per_duty: float, margin: float) -> float:
    """Largest base duty that still holds the slower leg: 1 - (dv/2)/Kv - margin."""
    return 1.0 - 0.5 * speed_difference / speed_per_duty - margin


def ring_mode_gain(legs: int, mode: int) -> float:
    """Gain of mode 1 to N - 1 where each leg is compared with its two neighbours only: 4 sin^2(pi j/N), against 1 to the mean."""
    return 4.0 * sin(pi * mode / legs) ** 2


def contour_error(error_x: float, error_y: float, angle: float) -> float:
    """Distance from a straight path at ``angle`` [rad]: -Ex sin + Ey cos.

    Two legs that should be alike are the case of 45 degrees: their difference, up to sqrt 2.

    Source: Koren, ASME J. Dyn. Syst. Meas. Control 102 (1980), from memory.
    """
    return error_y * cos(angle) - error_x * sin(angle)


def contour_reduction(coupling: complex, plant: complex) -> complex:
    """Coupled over uncoupled contour error: 1/(1 + C K).

    Source: Yeh and Hsu (1999 to 2003), from memory.
    """
    return 1.0 / (1.0 + coupling * plant)


def simc_margins(gain: float, time_constant: float, delay: float, pi_gains: PiGains) -> Margins:
    """Margins of PI around a first-order process with dead time."""
    return loop_margins(first_order_loop(gain, time_constant, delay, pi_gains))


def integrating_margins(slope: float, delay: float, pi_gains: PiGains) -> Margins:
    """Margins of PI around an integrating process with dead time."""
    return loop_margins(integrating_loop(slope, delay, pi_gains))
