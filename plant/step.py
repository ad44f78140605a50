"""One sub-step of the whole machine: Heun's method, split where something happens inside it.

The right-hand side is smooth only between events: a diode that stops conducting, a rotor that stops or breaks away, an
end stop that is met or left, a current that reaches its limit, play that closes.  Each is located on the parabola that
the step assumes inside itself, the step is split there, and the state is set to exactly what the event means.
"""

from __future__ import annotations

from typing import Any

from plant.bridge import COAST, DRIVE, current_rate
from plant.commutation import pass_commutations
from plant.deck import spread
from plant.kernel import inlined, kernel
from plant.lift_off import release
from plant.mechanics import book_losses, break_away, drag_torque, engaged, nut_force, resisting_torque
from plant.portable import brush_share, first_zero
from plant.supply import source_current, stiff_voltage

__all__ = ["sub_step"]

_NOTHING, _EXTINCTION, _STANDSTILL, _BREAK_UP, _BREAK_DOWN, _STOP, _LIMIT, _PLAY = 0, 1, 2, 3, 4, 5, 6, 7
_MOST_PIECES = 64
_EDGE = 1e-12


@inlined
def _choose_direction(leg: Any, bending: float) -> None:
    """Direction of motion for this piece, with the break-away torques of a resting rotor."""
    scratch = leg.scratch
    motor = leg.motor
    if motor.speed > 0.0:
        scratch.direction = 1
    elif motor.speed < 0.0:
        scratch.direction = -1
    else:
        scratch.break_up = break_away(leg, bending, leg.travel, 1)
        scratch.break_down = break_away(leg, bending, leg.travel, -1)
        torque = motor.hot_constant * motor.current
        if leg.stuck == 2 or torque > scratch.break_up:
            scratch.direction = 1
        elif leg.stuck == -2 or -torque > scratch.break_down:
            scratch.direction = -1
        else:
            scratch.direction = 0
    leg.stuck = 1 if scratch.direction == 0 else 0


@inlined
def _speed_rate(leg: Any, bending: float, current: float, speed: float, travel: float) -> float:
    """Angular acceleration [rad/s2] at a stage of the step, the direction of friction being that of the piece."""
    scratch = leg.scratch
    direction = scratch.direction
    if direction == 0:
        return 0.0
    pace = speed * direction
    torque = drag_torque(leg.motor, pace)
    force = nut_force(leg, bending, scratch.deck_force, travel, direction)
    if scratch.engaged == 1:
        torque += resisting_torque(leg, force, direction, pace)
        inverse = leg.inverse_inertia
    else:
        inverse = leg.free_inverse_inertia
    return (leg.motor.hot_constant * current - direction * torque) * inverse  # type: ignore[no-any-return]


@kernel
def _spread(world: Any) -> None:
    if spread(world):
        release(world)
    else:
        for q in range(world.n_legs):
            world.legs[q].lifted = 0


@inlined
def _begin(world: Any) -> None:
    """Rates at the start of a piece."""
    supply = world.supply
    for q in range(world.n_legs):
        leg = world.legs[q]
        leg.scratch.end_travel = leg.travel
    _spread(world)
    bending = world.deck.bending
    if supply.capacitance == 0.0:
        supply.voltage = stiff_voltage(supply, supply.end_load)
    load = 0.0
    for q in range(world.n_legs):
        leg = world.legs[q]
        scratch = leg.scratch
        motor = leg.motor
        leg.deck_force = scratch.deck_force
        _choose_direction(leg, bending)
        scratch.nut_force = nut_force(leg, bending, scratch.deck_force, leg.travel, scratch.direction)
        scratch.engaged = engaged(leg, scratch.direction, scratch.nut_force)
        scratch.brush = motor.brush_drop * brush_share(motor.current / motor.brush_current)
        rate, share, diode, held = current_rate(leg, supply.voltage, motor.current, motor.speed, scratch.brush)
        scratch.current_rate = rate
        scratch.share = share
        scratch.diode = diode
        scratch.held = held
        scratch.speed_rate = _speed_rate(leg, bending, motor.current, motor.speed, leg.travel)
        load += share * motor.current
    supply.load = load


@inlined
def _end(world: Any, span: float) -> None:
    """Predict, take the rates at the end, correct; results stay in ``scratch``."""
    supply = world.supply
    voltage = supply.voltage
    supply_rate = 0.0
    if supply.capacitance > 0.0:
        supply_rate = (source_current(supply, voltage) - supply.load) / supply.capacitance
        voltage += span * supply_rate
    for q in range(world.n_legs):
        leg = world.legs[q]
        scratch = leg.scratch
        scratch.end_current = leg.motor.current + span * scratch.current_rate
        scratch.end_speed = leg.motor.speed + span * scratch.speed_rate
        climb = 0.5 * span * leg.spindle.travel_per_radian * (leg.motor.speed + scratch.end_speed)
        scratch.end_travel = leg.travel + climb if scratch.engaged == 1 else leg.travel
    _spread(world)
    bending = world.deck.bending
    load = 0.0
    for q in range(world.n_legs):
        leg = world.legs[q]
        scratch = leg.scratch
        motor = leg.motor
        load += _end_leg(leg, bending, voltage, span)
        scratch.end_speed = motor.speed + 0.5 * span * (scratch.speed_rate + scratch.end_speed_rate)
        scratch.end_current = motor.current + 0.5 * span * (scratch.current_rate + scratch.end_current_rate)
    supply.end_load = load
    if supply.capacitance > 0.0:
        end_rate = (source_current(supply, voltage) - load) / supply.capacitance
        supply.end_voltage = supply.voltage + 0.5 * span * (supply_rate + end_rate)
    else:
        supply.end_voltage = stiff_voltage(supply, load)


@inlined
def _end_leg(leg: Any, bending: float, voltage: float, span: float) -> float:
    """Rates of one leg at the predicted end; returns its supply current [A]."""
    scratch = leg.scratch
    motor = leg.motor
    current, speed = scratch.end_current, scratch.end_speed
    scratch.end_speed_rate = _speed_rate(leg, bending, current, speed, scratch.end_travel)
    if scratch.held == 1 or (motor.current == 0.0 and scratch.current_rate == 0.0):
        scratch.end_current_rate = 0.0
        scratch.end_brush = scratch.brush
        scratch.end_diode = scratch.diode
        scratch.end_share = scratch.share
        if scratch.held == 1:
            _, scratch.end_share, scratch.end_diode, _ = current_rate(leg, voltage, current, speed, scratch.brush)
        return scratch.end_share * current  # type: ignore[no-any-return]
    scratch.end_brush = motor.brush_drop * brush_share(current / motor.brush_current)
    resistance = motor.hot_resistance
    if leg.bridge.mode != COAST:
        resistance += leg.bridge.resistance
    u = _terminal_again(leg, voltage)
    scratch.end_current_rate = (u - resistance * current - motor.hot_constant * speed - scratch.end_brush) / motor.inductance
    scratch.end_share = scratch.share
    scratch.end_diode = scratch.diode
    return scratch.end_share * current  # type: ignore[no-any-return]


@inlined
def _terminal_again(leg: Any, voltage: float) -> float:
    """Terminal voltage [V] at the end of the piece, with the diodes and the limiter as they were at its start."""
    scratch = leg.scratch
    current = leg.motor.current if leg.motor.current != 0.0 else scratch.current_rate
    sign = 1.0 if current > 0.0 else -1.0
    # the share is minus the sign where the current returns, the duty where it is drawn: one expression for both
    return scratch.share * voltage - sign * scratch.diode  # type: ignore[no-any-return]


@inlined
def _find_event(leg: Any, span: float) -> None:
    """First event of one leg inside the piece, into ``scratch.event`` and ``scratch.event_time`` [s]."""
    scratch = leg.scratch
    motor = leg.motor
    scratch.event = _NOTHING
    scratch.event_time = span
    i0, i1 = motor.current, scratch.end_current
    w0, w1 = motor.speed, scratch.end_speed
    if i0 * i1 < 0.0 and (leg.bridge.mode == COAST or (leg.bridge.mode == DRIVE and leg.bridge.synchronous == 0)):
        _take(scratch, _EXTINCTION, first_zero(i0, scratch.current_rate, scratch.end_current_rate, span))
    if leg.bridge.mode == DRIVE:
        sign = 1.0 if leg.bridge.duty >= 0.0 else -1.0
        if i0 * sign < leg.bridge.limit and i1 * sign > leg.bridge.limit:
            gap = leg.bridge.limit - i0 * sign
            _take(scratch, _LIMIT, first_zero(gap, -sign * scratch.current_rate, -sign * scratch.end_current_rate, span))
    if w0 != 0.0:
        if w0 * w1 <= 0.0:
            _take(scratch, _STANDSTILL, first_zero(w0, scratch.speed_rate, scratch.end_speed_rate, span))
    elif scratch.direction == 0:
        k = motor.hot_constant
        if k * i1 > scratch.break_up:
            gap = scratch.break_up - k * i0
            _take(scratch, _BREAK_UP, first_zero(gap, -k * scratch.current_rate, -k * scratch.end_current_rate, span))
        elif -k * i1 > scratch.break_down:
            gap = scratch.break_down + k * i0
            _take(scratch, _BREAK_DOWN, first_zero(gap, k * scratch.current_rate, k * scratch.end_current_rate, span))
    if scratch.direction != 0:
        _find_contact(leg, span)


@inlined
def _take(scratch: Any, event: int, time: float) -> None:
    if time < scratch.event_time:
        scratch.event = event
        scratch.event_time = time


@inlined
def _find_contact(leg: Any, span: float) -> None:
    """End stops met or left, and play closed, inside the piece."""
    scratch = leg.scratch
    rx = leg.spindle.travel_per_radian
    v0, v1 = rx * leg.motor.speed, rx * scratch.end_speed
    climb = 0.5 * span * (v0 + v1)
    if scratch.engaged == 1:
        low = leg.travel - leg.stop_low
        high = leg.travel - leg.stop_high
        if low * (low + climb) < 0.0:
            _take(scratch, _STOP, first_zero(low, v0, v1, span))
        if high * (high + climb) < 0.0:
            _take(scratch, _STOP, first_zero(high, v0, v1, span))
        return
    flank = 0.0
    if scratch.direction < 0:
        flank = -leg.spindle.gear_play
        if scratch.nut_force < 0.0:
            flank -= leg.spindle.nut_play
    gap = leg.play - flank
    if gap * (gap + climb) < 0.0:
        _take(scratch, _PLAY, first_zero(gap, v0, v1, span))


@inlined
def _commit(world: Any, span: float, time: float, happened: bool) -> None:
    """Make the end of the piece the present, book energies, pass commutations, set events exactly."""
    for q in range(world.n_legs):
        leg = world.legs[q]
        scratch = leg.scratch
        event = scratch.event if happened and scratch.event_time <= span else _NOTHING
        motor = leg.motor
        _book_current(leg, span)
        if scratch.direction != 0:
            end_speed = scratch.end_speed
            if event == _STANDSTILL or (motor.speed == 0.0 and end_speed * scratch.direction < 0.0):
                end_speed = 0.0
            mean = 0.5 * (motor.speed + end_speed)
            turned = span * mean
            climbed = leg.spindle.travel_per_radian * turned
            book_losses(leg, world.deck.bending, turned, climbed if scratch.engaged == 1 else 0.0, mean)
            pass_commutations(world, leg, turned, end_speed, span, time)
            if scratch.engaged == 1:
                leg.travel += climbed
            else:
                leg.play += climbed
            motor.speed = end_speed
        motor.current = scratch.end_current
        _settle_event(leg, event)
        if event == _STANDSTILL:
            leg.still_us = time + 1e6 * span
        size = motor.current if motor.current >= 0.0 else -motor.current
        motor.peak_current = size if size > motor.peak_current else motor.peak_current
    _book_supply(world, span)


@kernel
def _settle_event(leg: Any, event: int) -> None:
    """Set the state to exactly what the event means."""
    scratch = leg.scratch
    motor = leg.motor
    if event == _EXTINCTION:
        motor.current = 0.0
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
        leg.travel = (leg.stop_low if near_low else leg.stop_high) + scratch.direction * _EDGE
    elif event == _PLAY:
        leg.play = 0.0
        if scratch.direction < 0:
            leg.play = -leg.spindle.gear_play - (leg.spindle.nut_play if scratch.nut_force < 0.0 else 0.0)
        before = 0.5 * motor.speed * motor.speed / leg.free_inverse_inertia
        motor.speed *= leg.inverse_inertia / leg.free_inverse_inertia
        leg.energy.impact += before - 0.5 * motor.speed * motor.speed / leg.inverse_inertia


@inlined
def _book_current(leg: Any, span: float) -> None:
    """Book the electrical losses of the piece [J], each by its own law, trapezoidal."""
    scratch = leg.scratch
    energy = leg.energy
    i0, i1 = leg.motor.current, scratch.end_current
    squares = 0.5 * span * (i0 * i0 + i1 * i1)
    energy.copper += leg.motor.hot_resistance * squares
    if leg.bridge.mode != COAST:
        energy.bridge += leg.bridge.resistance * squares
    energy.brush += 0.5 * span * (scratch.brush * i0 + scratch.end_brush * i1)
    a0 = i0 if i0 >= 0.0 else -i0
    a1 = i1 if i1 >= 0.0 else -i1
    energy.diode += 0.5 * span * (scratch.diode * a0 + scratch.end_diode * a1)


@inlined
def _book_supply(world: Any, span: float) -> None:
    """Book what the source gave and lost over the piece [J], trapezoidal, and move its voltage on."""
    supply = world.supply
    v0, v1 = supply.voltage, supply.end_voltage
    if supply.capacitance > 0.0:
        c0, c1 = source_current(supply, v0), source_current(supply, v1)
    else:
        c0, c1 = supply.load, supply.end_load
    r = supply.resistance
    supply.energy_in += 0.5 * span * ((v0 + r * c0) * c0 + (v1 + r * c1) * c1)
    supply.energy_heat += 0.5 * span * r * (c0 * c0 + c1 * c1)
    supply.current = c1
    supply.voltage = v1
    supply.lowest = v1 if v1 < supply.lowest else supply.lowest


@kernel
def sub_step(world: Any, span: float, time: float) -> None:
    """Advance the machine by ``span`` [s] from ``time`` [us], split at every event inside."""
    left = span
    pieces = 0
    while left > 0.0:
        _begin(world)
        _end(world, left)
        piece = left
        for q in range(world.n_legs):
            leg = world.legs[q]
            _find_event(leg, left)
            piece = min(piece, leg.scratch.event_time)
        happened = piece < left
        if happened:
            _end(world, piece)
            world.splits += 1
        _commit(world, piece, time, happened)
        time += piece * 1e6
        left -= piece
        pieces += 1
        if pieces == _MOST_PIECES:
            world.diverged = 1
            return
