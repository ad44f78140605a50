"""Braked stop of a shorted motor by integration: current, speed and angle with brush drop, inductance and friction."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.integrate import solve_ivp

from plant.closed_form.motor import Motor, brush_voltage

__all__ = ["LONGEST", "Stop", "braked_stop"]

LONGEST = 3.0
"""Time [s] after which a shorted motor counts as not stopping."""


@dataclass(frozen=True)
class Stop:
    """Time [s], angle [rad] and greatest braking current [A] of a stop."""

    time: float
    angle: float
    current: float


def braked_stop(motor: Motor, speed: float, current: float, torque: float) -> Stop:
    """Stop from ``speed`` [rad/s] and ``current`` [A] with the wires shorted, ``torque`` [N m] resisting besides viscous drag.

    ``motor.inertia`` is everything that turns, referred to the shaft.  Integrated with an explicit 8th-order method to a
    relative 1e-9.  Raises ValueError where the load drives the motor on.

    Source: L di/dt = -R i - K w - brush drop; J dw/dt = K i - T - b w.
    """
    longest = min(LONGEST, 2.0 * motor.inertia * speed / torque) if torque > 0.0 else LONGEST
    found = solve_ivp(_rates(motor, torque), (0.0, longest), [current, speed, 0.0], "DOP853", events=_standstill(), rtol=1e-9, atol=1e-12)
    if found.t_events is None or found.y_events is None or not found.t_events[0].size:
        raise ValueError(f"the shorted motor does not stop within {LONGEST:g} s: torque {torque} N m resists")
    return Stop(float(found.t_events[0][0]), float(found.y_events[0][0][2]), float(-np.min(found.y[0])))


def _rates(motor: Motor, torque: float) -> Callable[[float, NDArray[np.float64]], list[float]]:
    def rates(_: float, state: NDArray[np.float64]) -> list[float]:
        current, speed = float(state[0]), float(state[1])
        voltage = -motor.resistance * current - motor.torque_constant * speed - brush_voltage(current, motor)
        push = motor.torque_constant * current - torque - motor.viscous * speed
        return [voltage / motor.inductance, push / motor.inertia, speed]

    return rates


def _standstill() -> Callable[[float, NDArray[np.float64]], float]:
    def speed(_: float, state: NDArray[np.float64]) -> float:
        return float(state[1])

    speed.terminal = True  # type: ignore[attr-defined]
    speed.direction = -1.0  # type: ignore[attr-defined]
    return speed
