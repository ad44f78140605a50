"""Events inside a sub-step: where the right-hand side is not smooth, when it happens, and what the state is then.

A diode that stops conducting, a rotor that stops or breaks away, an end stop that is met or left, a current that reaches
its limit, play that closes.  Each is located on the parabola that the step assumes inside itself.
"""

from __future__ import annotations

from typing import Any

from plant.bridge import COAST, DRIVE
from plant.kernel import inlined, kernel
from plant.portable import first_zero

__all__ = ["find_event", "round_off", "settle_event"]

_NOTHING, _EXTINCTION, _STANDSTILL, _BREAK_UP, _BREAK_DOWN, _STOP, _LIMIT, _PLAY = 0, 1, 2, 3, 4, 5, 6, 7
_EDGE = 1e-12


@inlined
def find_event(leg: Any, span: float) -> None:
    """First event of one leg inside the piece, into ``scratch.event`` and ``scratch.event_time`` [s]."""
    scratch = leg.scratch
    scratch.event = _NOTHING
    scratch.event_time = span
    scratch.event_span = span
    _find_electrical(leg)
    if scratch.direction == 0.0:
        _find_break_away(leg)
        return
    if leg.motor.speed != 0.0 and leg.motor.speed * scratch.end_speed <= 0.0:
        _take(leg, _STANDSTILL, leg.motor.speed, scratch.speed_rate, scratch.end_speed_rate)
    rx = leg.spindle.travel_per_radian
    v0, v1 = rx * leg.motor.speed, rx * scratch.end_speed
    climb = 0.5 * span * (v0 + v1)
    if scratch.engaged == 1:
        low = leg.travel - leg.stop_low
        high = leg.travel - leg.stop_high
        if low * (low + climb) < 0.0:
            _take(leg, _STOP, low, v0, v1)
        if high * (high + climb) < 0.0:
            _take(leg, _STOP, high, v0, v1)
    else:
        gap = leg.play - _flank(leg)
        if gap * (gap + climb) < 0.0:
            _take(leg, _PLAY, gap, v0, v1)


@kernel
def _take(leg: Any, event: int, value: float, slope: float, end_slope: float) -> None:
    """Note the ``event`` where the parabola of ``value`` is zero, if nothing happens to the leg before."""
    scratch = leg.scratch
    time = first_zero(value, slope, end_slope, scratch.event_span)
    if time < scratch.event_time:
        scratch.event = event
        scratch.event_time = time


@inlined
def _find_electrical(leg: Any) -> None:
    """Current that dies out in a diode, or reaches the limit of the bridge."""
    scratch = leg.scratch
    bridge = leg.bridge
    i0, i1 = leg.motor.current, scratch.end_current
    if i0 * i1 < 0.0 and (bridge.mode == COAST or (bridge.mode == DRIVE and bridge.synchronous == 0)):
        _take(leg, _EXTINCTION, i0, scratch.current_rate, scratch.end_current_rate)
    if bridge.mode == DRIVE:
        sign = 1.0 if bridge.duty >= 0.0 else -1.0
        room = bridge.limit - i0 * sign
        if room * (bridge.limit - i1 * sign) < 0.0:  # from below, or from above after the limit was lowered
            _take(leg, _LIMIT, room, -sign * scratch.current_rate, -sign * scratch.end_current_rate)


@inlined
def _find_break_away(leg: Any) -> None:
    """Torque of a resting motor that passes its break-away torque."""
    scratch = leg.scratch
    k = leg.motor.hot_constant
    i0, i1 = leg.motor.current, scratch.end_current
    if k * i1 > scratch.break_up:
        _take(leg, _BREAK_UP, scratch.break_up - k * i0, -k * scratch.current_rate, -k * scratch.end_current_rate)
    elif -k * i1 > scratch.break_down:
        _take(leg, _BREAK_DOWN, scratch.break_down + k * i0, k * scratch.current_rate, k * scratch.end_current_rate)


@kernel
def _flank(leg: Any) -> float:
    """Play [m] at which the rotor meets the flank that it moves towards."""
    if leg.scratch.direction >= 0.0:
        return 0.0
    width: float = leg.spindle.gear_play
    if leg.scratch.nut_force < 0.0:
        width += leg.spindle.nut_play
    return -width


@kernel
def round_off(leg: Any) -> None:
    """Before the piece that an event ends is committed: a rotor that stops has no speed left at its end."""
    if leg.scratch.event == _STANDSTILL:
        leg.scratch.end_speed = 0.0


@kernel
def settle_event(leg: Any, now: float) -> None:
    """Set the state to exactly what the event in ``scratch.event`` at ``now`` [us] means."""
    motor = leg.motor
    event = leg.scratch.event
    if event == _EXTINCTION:
        motor.current = 0.0
    elif event == _STANDSTILL:
        leg.still_us = now
    elif event == _LIMIT:
        motor.current = leg.bridge.limit if leg.bridge.duty >= 0.0 else -leg.bridge.limit
    elif event == _BREAK_UP:
        leg.stuck = 2
    elif event == _BREAK_DOWN:
        leg.stuck = -2
    elif event == _STOP:
        low = leg.travel - leg.stop_low
        high = leg.travel - leg.stop_high
        near_low = low * low < high * high
        # just past the boundary, on the side it moves to: the force there is zero either way
        leg.travel = (leg.stop_low if near_low else leg.stop_high) + leg.scratch.direction * _EDGE
    elif event == _PLAY:
        leg.play = _flank(leg)
        before = 0.5 * motor.speed * motor.speed / leg.free_inverse_inertia
        motor.speed *= leg.inverse_inertia / leg.free_inverse_inertia
        leg.energy.impact += before - 0.5 * motor.speed * motor.speed / leg.inverse_inertia
