"""The kernels against a script as it would be written without them: scipy's LSODA, tick by tick, commutations as events."""

from __future__ import annotations

import math
import statistics
import time
from collections.abc import Callable

import numpy as np
import pytest
from machines import DRIVE, FREE, GRAVITY, World, leg_of, order, ready, run, set_a
from numpy.typing import NDArray
from scipy.integrate import solve_ivp

pytestmark = pytest.mark.benchmark

Vector = NDArray[np.float64]
TICK = 0.01
SPAN = 0.3
LONGEST = 1e-3
"""Longest step [s], below the 1.3 ms of a commutation: of two zeros inside one step the solver finds neither."""
JUST_PAST = 1e-6
"""Angle [rad] of the start, behind the commutation that stands at zero: an event must not begin at its own zero."""
REPEATS = 5
FLIGHTS = 20
PAYLOAD, OFFSET, RACKING, VOLTS, DUTY = 90.0, 0.1, 8000.0, 24.0, 0.9


def _lift() -> World:
    world = set_a(PAYLOAD, n_legs=2)
    world[0]["deck"]["payload_x"], world[0]["deck"]["tilt_stiffness_x"] = OFFSET, RACKING
    ready(world)
    order(world, DRIVE, DUTY, FREE)
    return world


def _rates(world: World) -> Callable[[float, Vector], Vector]:
    """Right-hand side of two raising legs with racking, as plain Python; per leg current, speed and angle."""
    motor, spindle, leg = leg_of(world)["motor"], leg_of(world)["spindle"], leg_of(world)
    r, inductance, k = float(motor["resistance"]), float(motor["inductance"]), float(motor["torque_constant"])
    drop, brush_current = float(motor["brush_drop"]), float(motor["brush_current"])
    coulomb, viscous = float(motor["coulomb"]), float(motor["viscous"])
    ratio, lead, radius = float(spindle["ratio"]), float(spindle["lead"]), float(spindle["mean_radius"])
    mu = float(spindle["friction"]) / float(spindle["flank_cosine"])
    slope = lead / (2.0 * math.pi * radius)
    per_newton = radius * (mu + slope) / (1.0 - mu * slope) / (ratio * float(spindle["efficiency"]))
    rx = lead / (2.0 * math.pi * ratio)
    guide, arms = float(leg["guide_friction"]), (-0.6, 0.6)
    weights = [GRAVITY * PAYLOAD * (0.5 + OFFSET * arm / 0.72) for arm in arms]
    inertia = [float(motor["inertia"]) + float(spindle["inertia"]) / ratio**2 + w / GRAVITY * rx**2 for w in weights]

    def rates(_t: float, y: Vector) -> Vector:
        moment = RACKING * rx * (y[5] - y[2]) / 1.2
        out = np.empty(6)
        for q in range(2):
            current, speed = y[3 * q], y[3 * q + 1]
            brush = drop * math.tanh(current / brush_current)
            out[3 * q] = (DUTY * VOLTS - r * current - k * speed - brush) / inductance
            force = weights[q] + moment * arms[q] / 0.72 + guide
            torque = k * current - coulomb - viscous * speed - per_newton * force
            out[3 * q + 1] = torque / inertia[q] if speed > 0.0 or torque > 0.0 else 0.0
            out[3 * q + 2] = speed
        return out

    return rates


def _commutation(q: int, per_turn: int) -> Callable[[float, Vector], float]:
    def passed(_t: float, y: Vector) -> float:
        return math.sin(0.5 * per_turn * y[3 * q + 2])

    return passed


def _script(world: World) -> tuple[Vector, int]:
    """Raise from rest, stopping at every tick as for a controller: state at the end, commutations of both legs."""
    rates = _rates(world)
    per_turn = int(leg_of(world)["motor"]["commutations"])
    events = [_commutation(q, per_turn) for q in range(2)]
    y = np.array([0.0, 0.0, JUST_PAST, 0.0, 0.0, JUST_PAST])
    heard = 0
    for n in range(round(SPAN / TICK)):
        span = (n * TICK, (n + 1) * TICK)
        part = solve_ivp(rates, span, y, method="LSODA", rtol=1e-6, atol=1e-9, events=events, max_step=LONGEST)
        assert part.success
        y = part.y[:, -1]
        heard += sum(len(times) for times in part.t_events or [])
    return y, heard


def test_the_kernels_are_at_least_fifty_times_as_fast_as_a_script_with_lsoda() -> None:
    start = _lift()
    run(start.copy(), TICK)
    ratios = []
    for _ in range(REPEATS):
        worlds = [start.copy() for _ in range(FLIGHTS)]
        begun = time.perf_counter()
        for world in worlds:
            run(world, SPAN)
        between = time.perf_counter()
        y, heard = _script(start)
        ratios.append(FLIGHTS * (time.perf_counter() - between) / (between - begun))
    rx = float(leg_of(world)["spindle"]["travel_per_radian"])
    true = sum(int(leg_of(world, q)["motor"]["commuted"]) for q in range(2))
    ratio = statistics.median(ratios)
    print(f"{ratio:.0f} times as fast as LSODA")

    # the script's brush law is the tanh itself, of which the kernels' rational form stays within 1.2e-4
    assert [rx * y[2], rx * y[5]] == pytest.approx(world[0]["legs"]["travel"][:2].tolist(), rel=1e-3)
    assert heard == pytest.approx(true, abs=2)  # one per leg may fall on either side of the end
    assert ratio >= 50.0
