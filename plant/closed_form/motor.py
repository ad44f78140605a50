"""Brushed motor in the steady state and as a linear system: operating point, torque-speed line, time constants, poles."""

from __future__ import annotations

from dataclasses import dataclass
from math import exp, pi, sqrt

import numpy as np
from scipy.optimize import brentq

from plant.portable import brush_share

__all__ = [
    "Motor",
    "OperatingPoint",
    "SecondOrder",
    "brush_voltage",
    "constant_mismatch",
    "electrical_time_constant",
    "line_from_point",
    "linear_point",
    "max_efficiency",
    "max_efficiency_current",
    "max_efficiency_speed_share",
    "max_power",
    "mechanical_time_constant",
    "no_load_speed",
    "position_loop",
    "position_poles",
    "settling_time",
    "speed_dc_gain",
    "speed_poles",
    "stall_point",
    "steady_point",
]


@dataclass(frozen=True)
class Motor:
    """Constants of a motor, SI units; ``resistance`` includes what else lies in its loop."""

    resistance: float
    torque_constant: float
    inductance: float = 0.0
    inertia: float = 0.0
    viscous: float = 0.0
    coulomb: float = 0.0
    brush_drop: float = 0.0
    brush_current: float = 1.0


@dataclass(frozen=True)
class OperatingPoint:
    """Current [A], speed [rad/s] and shaft torque [N m] of a motor that runs steadily or stands."""

    current: float
    speed: float
    torque: float


@dataclass(frozen=True)
class SecondOrder:
    """Damping ratio, natural frequency [rad/s], overshoot of the dominant pair and its 2 % settling time 4/(zeta wn) [s]."""

    damping: float
    frequency: float
    overshoot: float
    settling: float


def brush_voltage(current: float, motor: Motor) -> float:
    """Drop of both brushes [V] at ``current`` [A], with its sign; the same law as the kernels use."""
    if motor.brush_drop == 0.0:
        return 0.0
    return motor.brush_drop * float(brush_share(current / motor.brush_current))


def steady_point(voltage: float, load: float, motor: Motor) -> OperatingPoint:
    """Steady running at ``voltage`` [V] (above zero) against the load torque ``load`` [N m] at the shaft.

    Solves v = R i + K w + brush drop(i) with K i = load + Coulomb + viscous w.  If the motor cannot turn the load the
    speed is 0 and the current is that at stall.  ``load`` may be negative (it helps).
    """
    stall = stall_point(voltage, motor)
    if stall.torque <= load + motor.coulomb:
        return stall

    def gap(speed: float) -> float:
        current = (load + motor.coulomb + motor.viscous * speed) / motor.torque_constant
        return voltage - motor.resistance * current - motor.torque_constant * speed - brush_voltage(current, motor)

    top = (voltage + motor.resistance * abs(load) / motor.torque_constant + motor.brush_drop) / motor.torque_constant
    speed = float(brentq(gap, 0.0, top, xtol=1e-10, rtol=1e-13))
    current = (load + motor.coulomb + motor.viscous * speed) / motor.torque_constant
    return OperatingPoint(current, speed, load)


def stall_point(voltage: float, motor: Motor) -> OperatingPoint:
    """Current and torque at standstill under ``voltage`` [V], brush drop included."""

    def gap(current: float) -> float:
        return voltage - motor.resistance * current - brush_voltage(current, motor)

    current = float(brentq(gap, 0.0, voltage / motor.resistance, xtol=1e-12)) if voltage > 0.0 else 0.0
    return OperatingPoint(current, 0.0, motor.torque_constant * current)


def linear_point(voltage: float, torque: float, resistance: float, torque_constant: float, emf_constant: float) -> OperatingPoint:
    """Point on the straight torque-speed line of a motor with separate Kt [N m/A] and Ke [V s/rad], drag neglected."""
    current = torque / torque_constant
    return OperatingPoint(current, (voltage - resistance * current) / emf_constant, torque)


def constant_mismatch(torque_constant: float, emf_constant: float) -> float:
    """Kt over Ke less 1, both in SI units: they are one constant, so anything but zero breaks the energy balance."""
    return torque_constant / emf_constant - 1.0


def line_from_point(torque: float, speed: float, stall_torque: float) -> tuple[float, float]:
    """Slope [N m s/rad] and no-load speed [rad/s] of the line through (``speed``, ``torque``) and the stall torque [N m]."""
    slope = (stall_torque - torque) / speed
    return slope, stall_torque / slope


def no_load_speed(voltage: float, motor: Motor) -> float:
    """Speed without load [rad/s], own drag and brushes included."""
    return steady_point(voltage, 0.0, motor).speed


def max_power(stall_torque: float, no_load: float) -> float:
    """Greatest mechanical power [W] of a straight torque-speed line, at half the no-load speed [rad/s]."""
    return 0.25 * stall_torque * no_load


def max_efficiency_current(no_load_current: float, stall_current: float) -> float:
    """Current of greatest efficiency [A]: the geometric mean of no-load and stall current.

    Valid for: a straight line and constant drag.  Source: textbook result for the linear motor.
    """
    return sqrt(no_load_current * stall_current)


def max_efficiency(no_load_current: float, stall_current: float) -> float:
    """Greatest efficiency of a linear motor with constant drag: (1 - sqrt(I0/Is))^2."""
    share = 1.0 - sqrt(no_load_current / stall_current)
    return share * share


def max_efficiency_speed_share(no_load_current: float, stall_current: float) -> float:
    """Speed at greatest efficiency over the no-load speed: (1 - sqrt r)/(1 - r) with r = I0/Is."""
    ratio = no_load_current / stall_current
    return (1.0 - sqrt(ratio)) / (1.0 - ratio)


def electrical_time_constant(motor: Motor) -> float:
    """L/R [s]."""
    return motor.inductance / motor.resistance


def mechanical_time_constant(motor: Motor) -> float:
    """J R/(K^2 + b R) [s], inductance neglected."""
    return motor.inertia * motor.resistance / (motor.torque_constant * motor.torque_constant + motor.viscous * motor.resistance)


def speed_poles(motor: Motor) -> tuple[complex, ...]:
    """Poles [1/s] of speed over voltage, (J s + b)(L s + R) + K^2 = 0, slowest first."""
    return _roots(_speed_polynomial(motor))


def speed_dc_gain(motor: Motor) -> float:
    """Speed per volt in the steady state [rad/(s V)], Coulomb drag and brushes neglected: K/(b R + K^2)."""
    return motor.torque_constant / (motor.viscous * motor.resistance + motor.torque_constant * motor.torque_constant)


def position_poles(motor: Motor) -> tuple[complex, ...]:
    """Poles [1/s] of angle over voltage: those of the speed and one at zero, slowest first."""
    return _roots([*_speed_polynomial(motor), 0.0])


def position_loop(motor: Motor, gain: float = 1.0) -> SecondOrder:
    """Dominant pair of the position loop with proportional ``gain`` [V/rad] and unity feedback.

    Raises
    ------
    ValueError
        If the dominant poles are real or unstable, so that there is no damped pair.
    """
    polynomial = [*_speed_polynomial(motor), gain * motor.torque_constant]
    pole = _roots(polynomial)[0]
    if pole.imag == 0.0 or pole.real >= 0.0:
        raise ValueError(f"the dominant pole {pole} is not one of a damped pair")
    frequency = abs(pole)
    damping = -pole.real / frequency
    return SecondOrder(damping, frequency, exp(-pi * damping / sqrt(1.0 - damping * damping)), 4.0 / (damping * frequency))


def settling_time(motor: Motor, band: float = 0.02) -> float:
    """Time [s] after which the speed's step response stays within ``band`` of its end value, for two real poles.

    Source: partial fractions of p1 p2/((s - p1)(s - p2) s).
    """
    slow, fast = speed_poles(motor)
    if slow.imag != 0.0:
        raise ValueError(f"the poles {slow} and {fast} are not real")

    def rest(time: float) -> float:
        return (fast.real * exp(slow.real * time) - slow.real * exp(fast.real * time)) / (fast.real - slow.real) - band

    return float(brentq(rest, 0.0, 100.0 / -slow.real, xtol=1e-12))


def _speed_polynomial(motor: Motor) -> list[float]:
    constant = motor.viscous * motor.resistance + motor.torque_constant * motor.torque_constant
    return [motor.inertia * motor.inductance, motor.inertia * motor.resistance + motor.viscous * motor.inductance, constant]


def _roots(polynomial: list[float]) -> tuple[complex, ...]:
    return tuple(complex(root) for root in sorted(np.roots(polynomial), key=abs))
