"""Commutations of one motor: where they stand on the rotor, when they are passed, the phase between them."""

from __future__ import annotations

import math
from typing import Any

from plant.counting import hear
from plant.kernel import inlined, kernel

__all__ = ["boundary", "pass_commutations", "phase", "place_edges", "place_rotor", "time_to_turn"]

_TURN = 6.283185307179586


@kernel
def boundary(motor: Any, index: int) -> float:
    """Angle [rad] of commutation ``index``, counted from angle zero; segments need not be equally spaced."""
    c = motor.commutations
    return (index + motor.pitch[index % c]) * _TURN / c  # type: ignore[no-any-return]


@kernel
def place_rotor(motor: Any) -> None:
    """Find the commutations on both sides of the rotor's angle."""
    index = math.floor(motor.angle * motor.commutations / _TURN) + 1
    while boundary(motor, index) > motor.angle:
        index -= 1
    while boundary(motor, index + 1) <= motor.angle:
        index += 1
    motor.place = index
    motor.below = boundary(motor, index)
    motor.above = boundary(motor, index + 1)


@kernel
def phase(motor: Any) -> float:
    """Part of the way [0, 1) from the commutation below to the one above."""
    return (motor.angle - motor.below) / (motor.above - motor.below)  # type: ignore[no-any-return]


@kernel
def time_to_turn(angle: float, speed: float, end_speed: float, span: float) -> float:
    """Time [s] to turn by ``angle`` [rad] when the speed changes evenly from ``speed`` to ``end_speed`` over ``span``."""
    if angle == 0.0:
        return 0.0
    bend = 0.5 * (end_speed - speed) / span
    root = speed * speed + 4.0 * bend * angle
    root = math.sqrt(root) if root > 0.0 else 0.0
    sign = 1.0 if angle > 0.0 else -1.0
    below = speed + sign * root
    if below == 0.0:
        return span
    t = 2.0 * angle / below
    return t if t < span else span


@kernel
def place_edges(leg: Any) -> None:
    """Find the edges of the reference counter on both sides of the rotor's angle; a counter without slots has none."""
    detector = leg.detector
    slots = detector.hall_slots
    if slots == 0:
        detector.hall_below = -1e300
        detector.hall_above = 1e300
        return
    edge = math.floor(leg.motor.angle * slots / _TURN)
    detector.hall_below = edge * _TURN / slots
    detector.hall_above = (edge + 1) * _TURN / slots


@kernel
def _pass_edges(leg: Any) -> None:
    """Count the edges of the reference counter that were passed on the way to the rotor's angle."""
    detector = leg.detector
    before = math.floor(detector.hall_below * detector.hall_slots / _TURN + 0.5)
    place_edges(leg)
    passed = math.floor(detector.hall_below * detector.hall_slots / _TURN + 0.5) - before
    detector.hall_counts += passed if passed >= 0 else -passed


@kernel
def _pass_upwards(world: Any, leg: Any, end: float, end_speed: float, span: float, time: float) -> None:
    motor = leg.motor
    while end >= motor.above:
        instant = time + 1e6 * time_to_turn(motor.above - motor.angle, motor.speed, end_speed, span)
        motor.place += 1
        motor.below = motor.above
        motor.above = boundary(motor, motor.place + 1)
        hear(world, leg, instant)


@kernel
def _pass_downwards(world: Any, leg: Any, end: float, end_speed: float, span: float, time: float) -> None:
    motor = leg.motor
    while end < motor.below:
        instant = time + 1e6 * time_to_turn(motor.below - motor.angle, motor.speed, end_speed, span)
        motor.place -= 1
        motor.above = motor.below
        motor.below = boundary(motor, motor.place)
        hear(world, leg, instant)


@inlined
def pass_commutations(world: Any, leg: Any, turned: float, end_speed: float, span: float, time: float) -> None:
    """Turn the rotor by ``turned`` [rad] within ``span`` [s] from ``time`` [us] and report every commutation passed."""
    motor = leg.motor
    end = motor.angle + turned
    if end >= motor.above:
        _pass_upwards(world, leg, end, end_speed, span, time)
    elif end < motor.below:
        _pass_downwards(world, leg, end, end_speed, span, time)
    motor.angle = end
    if end >= leg.detector.hall_above or end < leg.detector.hall_below:
        _pass_edges(leg)
