"""Several motors switched fully on at once from one limited supply: lowest voltage, peak current, time to speed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import inf

import numpy as np
from numpy.typing import NDArray
from scipy.integrate import solve_ivp

from plant.closed_form.motor import Motor, brush_voltage, steady_point

__all__ = ["Source", "Start", "Starter", "simultaneous_start"]

SPEED_SHARE = 0.95


@dataclass(frozen=True)
class Source:
    """Supply: open-circuit voltage [V], resistance [ohm], current limit [A], bulk capacitance [F] (0: none)."""

    voltage: float
    resistance: float
    current_limit: float = inf
    capacitance: float = 0.0

    def current(self, voltage: float) -> float:
        """Current [A] given at the terminal voltage [V]; none flows back."""
        return min(max(self.voltage - voltage, 0.0) / self.resistance, self.current_limit)


@dataclass(frozen=True)
class Starter:
    """Legs that start alike: ``motor`` (inertia of all that turns), load torque [N m], bridge limit [A], how many."""

    motor: Motor
    load: float
    current_limit: float = inf
    number: int = 1


@dataclass(frozen=True)
class Start:
    """Lowest voltage [V], largest motor current [A], time [s] until all turn at 95 % of their end speed (inf: never)."""

    lowest: float
    current: float
    time: float


def simultaneous_start(source: Source, starters: Sequence[Starter], longest: float = 0.5) -> Start:
    """Start from rest and zero current, all bridges at full duty at time zero, followed for ``longest`` [s].

    Per motor L di/dt = u - R i - K w - brush drop, J dw/dt = K i - drag - load; at its limit a bridge lowers u so that the
    current holds; C dU/dt = source current - supply share of the motor currents.  Adaptive Runge-Kutta, relative 1e-6.

    Neglects: the excess of break-away over running friction, soft start, PWM.
    """
    if source.resistance <= 0.0 and source.capacitance > 0.0:
        raise ValueError("a capacitor on a source without resistance has no voltage of its own")
    n = len(starters)
    state = np.zeros(2 * n + 1)
    state[-1] = source.voltage
    found = solve_ivp(lambda _, y: _rates(source, starters, y), (0.0, longest), state, "RK45", rtol=1e-6, atol=1e-6, max_step=1e-3)
    voltages = np.array([_voltage(source, starters, y) for y in found.y.T])
    speeds = found.y[n : 2 * n]
    ends = np.array([steady_point(float(voltages[-1]), starter.load, starter.motor).speed for starter in starters])
    there = np.all(speeds >= SPEED_SHARE * ends[:, None], axis=0) & np.all(ends[:, None] > 0.0, axis=0)
    time = float(found.t[int(np.argmax(there))]) if there.any() else inf
    return Start(float(voltages.min()), float(found.y[:n].max()), time)


def _need(motor: Motor, current: float, speed: float) -> float:
    return motor.resistance * current + motor.torque_constant * speed + brush_voltage(current, motor)


def _held(starter: Starter, voltage: float, current: float, speed: float) -> bool:
    return current >= starter.current_limit and voltage > _need(starter.motor, current, speed)


def _draw(starters: Sequence[Starter], voltage: float, state: NDArray[np.float64]) -> float:
    """Supply current of all bridges [A]."""
    n, total = len(starters), 0.0
    for k, starter in enumerate(starters):
        current, speed = float(state[k]), float(state[n + k])
        share = _need(starter.motor, current, speed) / voltage if _held(starter, voltage, current, speed) else 1.0
        total += starter.number * share * current
    return total


def _voltage(source: Source, starters: Sequence[Starter], state: NDArray[np.float64]) -> float:
    """Terminal voltage [V]: a state where there is a capacitor, else what the source leaves under the present draw."""
    if source.capacitance > 0.0:
        return float(state[-1])
    voltage = source.voltage
    for _ in range(4):
        voltage = max(source.voltage - source.resistance * _draw(starters, voltage, state), 1e-3)
    return voltage


def _rates(source: Source, starters: Sequence[Starter], state: NDArray[np.float64]) -> NDArray[np.float64]:
    n = len(starters)
    voltage = max(_voltage(source, starters, state), 1e-3)
    rates = np.zeros_like(state)
    for k, starter in enumerate(starters):
        motor, current, speed = starter.motor, float(state[k]), float(state[n + k])
        held = _held(starter, voltage, current, speed)
        rates[k] = 0.0 if held else (voltage - _need(motor, current, speed)) / motor.inductance
        push = motor.torque_constant * current - starter.load - motor.coulomb - motor.viscous * speed
        rates[n + k] = push / motor.inertia if speed > 0.0 or push > 0.0 else 0.0
    if source.capacitance > 0.0:
        rates[-1] = (source.current(voltage) - _draw(starters, voltage, state)) / source.capacitance
    return rates
