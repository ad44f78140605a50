"""One sub-step of the whole machine: Heun's method, split where something happens inside it.

The right-hand side is smooth only between events.  The step is split at each of them, and the state is set to exactly what
the event means (``plant.events``).  Forces and voltages of both ends stay in ``scratch``, so that what is booked as heat is
what the motion took.
"""

from __future__ import annotations

from typing import Any

from plant.bridge import COAST, current_rate
from plant.commutation import pass_commutations
from plant.deck import spread_at
from plant.events import find_event, round_off, settle_event
from plant.kernel import inlined, kernel
from plant.lift_off import release, release_now
from plant.mechanics import book_losses, break_away, drag_torque, engaged, guide_force, guide_share, nut_force, resisting_torque
from plant.portable import brush_share
from plant.supply import book_supply, source_current, stiff_voltage

__all__ = ["sub_step", "take_rates"]

_MOST_PIECES = 64


@kernel
def _direction_from_rest(leg: Any, guide: float) -> float:
    """Direction in which a resting rotor breaks away, 0 if it stays, with its break-away torques."""
    scratch = leg.scratch
    scratch.break_up = break_away(leg, guide, 1.0)
    scratch.break_down = break_away(leg, guide, -1.0)
    torque = leg.motor.hot_constant * leg.motor.current
    if leg.stuck == 2 or torque > scratch.break_up:
        return 1.0
    if leg.stuck == -2 or -torque > scratch.break_down:
        return -1.0
    return 0.0


@inlined
def _choose_direction(leg: Any, guide: float) -> float:
    """Direction of motion for this piece."""
    speed = leg.motor.speed
    if speed > 0.0:
        direction = 1.0
    elif speed < 0.0:
        direction = -1.0
    else:
        direction = _direction_from_rest(leg, guide)
    leg.stuck = 1 if direction == 0.0 else 0
    leg.scratch.direction = direction
    return direction


@inlined
def _speed_rate(leg: Any, current: float, speed: float, force: float) -> tuple[float, float]:
    """Angular acceleration [rad/s2] and drag [N m] at a stage, the direction of friction being that of the piece."""
    direction = leg.scratch.direction
    if direction == 0.0:
        return 0.0, 0.0
    pace = speed * direction
    drag = drag_torque(leg.motor, pace)
    torque = drag
    inverse = leg.free_inverse_inertia
    if leg.scratch.engaged == 1:
        torque += resisting_torque(leg, force, direction, pace)
        inverse = leg.inverse_inertia
    return (leg.motor.hot_constant * current - direction * torque) * inverse, drag


@inlined
def _brush(motor: Any, current: float) -> float:
    """Drop of the brushes [V] at ``current`` [A], with its sign."""
    return motor.brush_drop * brush_share(current * motor.inverse_brush_current)  # type: ignore[no-any-return]


@inlined
def _begin_leg(leg: Any, bending: float, voltage: float) -> float:
    """Rates of one leg at the start of a piece; returns its supply current [A]."""
    scratch = leg.scratch
    motor = leg.motor
    leg.deck_force = scratch.deck_force
    scratch.guide_share = guide_share(leg)
    guide = guide_force(leg, bending, scratch.guide_share)
    direction = _choose_direction(leg, guide)
    force = nut_force(leg, guide, scratch.deck_force, leg.travel, direction)
    scratch.guide = guide
    scratch.nut_force = force
    scratch.engaged = engaged(leg, direction, force)
    scratch.speed_rate, scratch.drag = _speed_rate(leg, motor.current, motor.speed, force)
    brush = _brush(motor, motor.current)
    rate, share, diode, held = current_rate(leg, voltage, motor.current, motor.speed, brush)
    scratch.brush = brush
    scratch.current_rate = rate
    scratch.share = share
    scratch.diode = diode
    scratch.held = held
    return share * motor.current  # type: ignore[no-any-return]


@inlined
def _begin(world: Any) -> None:
    """Rates at the start of a piece."""
    supply = world.supply
    if spread_at(world, False):
        release_now(world)
    bending = world.deck.bending
    if supply.capacitance == 0.0:
        supply.voltage = stiff_voltage(supply, supply.end_load)
    load = 0.0
    for q in range(world.n_legs):
        load += _begin_leg(world.legs[q], bending, supply.voltage)
    supply.load = load
    if supply.capacitance > 0.0:
        supply.given = source_current(supply, supply.voltage)
        supply.rate = (supply.given - load) * supply.elastance


@inlined
def _predict(leg: Any, span: float) -> None:
    """State at the end by the rates at the start."""
    scratch = leg.scratch
    scratch.end_current = leg.motor.current + span * scratch.current_rate
    scratch.end_speed = leg.motor.speed + span * scratch.speed_rate
    climb = 0.5 * span * leg.spindle.travel_per_radian * (leg.motor.speed + scratch.end_speed)
    scratch.end_travel = leg.travel + climb if scratch.engaged == 1 else leg.travel


@kernel
def _hold_again(leg: Any, voltage: float, current: float, speed: float) -> None:
    """Share and diode voltage at the end of a piece in which the limit holds the current."""
    scratch = leg.scratch
    _, share, diode, _ = current_rate(leg, voltage, current, speed, scratch.brush)
    scratch.end_share = share
    scratch.end_diode = diode


@inlined
def _end_current_rate(leg: Any, voltage: float, current: float, speed: float) -> None:
    """Rate of the current at the predicted end, with the diodes and the limiter as they were at the start."""
    scratch = leg.scratch
    motor = leg.motor
    scratch.end_share = scratch.share
    scratch.end_diode = scratch.diode
    scratch.end_brush = scratch.brush
    scratch.end_current_rate = 0.0
    if scratch.held == 1:
        _hold_again(leg, voltage, current, speed)
        return
    if motor.current == 0.0 and scratch.current_rate == 0.0:
        return
    scratch.end_brush = _brush(motor, current)
    resistance = motor.hot_resistance + (leg.bridge.resistance if leg.bridge.mode != COAST else 0.0)
    before = motor.current if motor.current != 0.0 else scratch.current_rate
    # the share is minus the sign where the current returns, the duty where it is drawn: one expression for both
    u = scratch.share * voltage - (scratch.diode if before > 0.0 else -scratch.diode)
    rest = u - resistance * current - motor.hot_constant * speed - scratch.end_brush
    scratch.end_current_rate = rest * motor.inverse_inductance


@inlined
def _end_leg(leg: Any, bending: float, voltage: float, span: float) -> float:
    """Rates of one leg at the predicted end, and its corrected state; returns its supply current [A]."""
    scratch = leg.scratch
    motor = leg.motor
    current, speed, travel = scratch.end_current, scratch.end_speed, scratch.end_travel
    guide = guide_force(leg, bending, scratch.guide_share)
    force = nut_force(leg, guide, scratch.deck_force, travel, scratch.direction)
    scratch.end_guide = guide
    scratch.end_nut_force = force
    scratch.end_speed_rate, scratch.end_drag = _speed_rate(leg, current, speed, force)
    _end_current_rate(leg, voltage, current, speed)
    scratch.end_speed = motor.speed + 0.5 * span * (scratch.speed_rate + scratch.end_speed_rate)
    scratch.end_current = motor.current + 0.5 * span * (scratch.current_rate + scratch.end_current_rate)
    return scratch.end_share * current  # type: ignore[no-any-return]


@inlined
def _end(world: Any, span: float) -> None:
    """Predict, take the rates at the end, correct; results stay in ``scratch``."""
    supply = world.supply
    for q in range(world.n_legs):
        _predict(world.legs[q], span)
    if spread_at(world, True):
        release(world)
    voltage = supply.voltage
    if supply.capacitance > 0.0:
        voltage += span * supply.rate
    bending = world.deck.bending
    load = 0.0
    for q in range(world.n_legs):
        load += _end_leg(world.legs[q], bending, voltage, span)
    supply.end_load = load
    if supply.capacitance > 0.0:
        end_rate = (source_current(supply, voltage) - load) * supply.elastance
        supply.end_voltage = supply.voltage + 0.5 * span * (supply.rate + end_rate)
    else:
        supply.end_voltage = stiff_voltage(supply, load)


@inlined
def _book_current(leg: Any, span: float) -> None:
    """Book the electrical losses of the piece [J], each by its own law, trapezoidal."""
    scratch = leg.scratch
    energy = leg.energy
    i0, i1 = leg.motor.current, scratch.end_current
    half = 0.5 * span
    squares = half * (i0 * i0 + i1 * i1)
    energy.copper += leg.motor.hot_resistance * squares
    energy.brush += half * (scratch.brush * i0 + scratch.end_brush * i1)
    if leg.bridge.mode != COAST:
        energy.bridge += leg.bridge.resistance * squares
    if scratch.diode > 0.0:
        energy.diode += half * (scratch.diode * abs(i0) + scratch.end_diode * abs(i1))


@inlined
def _commit_leg(world: Any, leg: Any, span: float, time: float) -> None:
    """Make the end of the piece the present of one leg, book energies, pass commutations."""
    scratch = leg.scratch
    motor = leg.motor
    if scratch.direction != 0.0:
        end_speed = scratch.end_speed
        if motor.speed == 0.0 and end_speed * scratch.direction < 0.0:
            end_speed = 0.0
        mean = 0.5 * (motor.speed + end_speed)
        book_losses(leg, span, mean)
        pass_commutations(world, leg, span * mean, end_speed, span, time)
        climbed = leg.spindle.travel_per_radian * span * mean
        if scratch.engaged == 1:
            leg.travel += climbed
        else:
            leg.play += climbed
        motor.speed = end_speed
    if motor.current != 0.0 or scratch.end_current != 0.0:
        _book_current(leg, span)
        motor.current = scratch.end_current
        size = abs(motor.current)
        motor.peak_current = size if size > motor.peak_current else motor.peak_current


@inlined
def _commit(world: Any, span: float, time: float, happened: bool) -> None:
    """Make the end of the piece the present, and set what happened exactly."""
    for q in range(world.n_legs):
        leg = world.legs[q]
        ends = happened and leg.scratch.event_time <= span
        if ends:
            round_off(leg)
        _commit_leg(world, leg, span, time)
        if ends:
            settle_event(leg, time + 1e6 * span)
    book_supply(world.supply, span)


@inlined
def _first_event(world: Any, span: float) -> float:
    """Time [s] of the first event of all legs inside the piece, ``span`` if there is none."""
    first = span
    for q in range(world.n_legs):
        leg = world.legs[q]
        find_event(leg, span)
        first = leg.scratch.event_time if leg.scratch.event_time < first else first
    return first


@kernel
def sub_step(world: Any, span: float, time: float) -> None:
    """Advance the machine by ``span`` [s] from ``time`` [us], split at every event inside."""
    left = span
    pieces = 0
    while left > 0.0:
        _begin(world)
        _end(world, left)
        piece = _first_event(world, left)
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


@kernel
def take_rates(world: Any) -> None:
    """Rates of every state as it stands, into ``scratch`` and the supply's ``rate``; nothing moves.

    A supply without capacitor is settled first: its voltage follows from the load it is under now.
    """
    for _ in range(8 if world.supply.capacitance == 0.0 else 1):
        _begin(world)
        world.supply.end_load = world.supply.load
