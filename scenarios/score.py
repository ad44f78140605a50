"""What is scored while a rehearsal flies: each move's errors, runs and coasts, and the log of what happened."""

from __future__ import annotations

from typing import Any

from plant.bridge import DRIVE
from plant.kernel import kernel
from scenarios.conduct import watch_conduct, watch_deck
from scenarios.log import log_trust, note
from sync.pulses import counted_height

__all__ = ["note", "open_move", "watch"]

_MODE, _LEG_OFF, _LEG_ON, _STILL, _STALLED, _REASON, _REFUSED, _REJECTED, _INSERTED, _OVERFLOW = 0, 2, 3, 4, 5, 6, 7, 8, 9, 10
_TOUCHED, _RELEASED = 20, 21
_AT_REST = (1, 0, 1, 0, 0, 0, 1)
_PINCHED, _RETREATED = 40, 41
_MOVING, _RETREATING, _FAULTED = 3, 5, 6
_RING = 21
_RING_EVERY_US = 50_000
_START_US = 500_000.0
_STEADY_US = 300_000.0


@kernel
def open_move(rig: Any, command: int, goal: float) -> None:
    """Begin a scored move; a move still open is closed first."""
    if rig.move_open == 1:
        _close_move(rig)
    if rig.moves >= len(rig.move):
        return
    move = rig.move[rig.moves]
    rig.moves += 1
    rig.move_open = 1
    world = rig.world
    move.command = command
    move.goal = goal
    move.start_us = float(world.time_us)
    move.homing = 1 if command == 5 else 0
    move.lowest_supply = world.supply.voltage
    for q in range(world.n_legs):
        leg = world.legs[q]
        score = move.legs[q]
        score.start_height = leg.height
        score.start_commuted = leg.motor.commuted
        score.start_heard = leg.detector.heard
        score.start_missed = leg.detector.missed
        score.start_extra = leg.detector.extra
        score.start_hall = leg.detector.hall_counts
        score.start_switch_offs = leg.bridge.stops
        leg.motor.peak_current = 0.0


@kernel
def _close_move(rig: Any) -> None:
    """End the open move with what stands now."""
    move = rig.move[rig.moves - 1]
    world = rig.world
    rig.move_open = 0
    move.end_us = float(world.time_us)
    move.after_coast = world.deck.level_error
    _log_corrections(rig)
    first = move.ring_place - move.ring_number
    for q in range(world.n_legs):
        leg = world.legs[q]
        score = move.legs[q]
        score.height = leg.height
        score.believed = counted_height(rig.settings, rig.memory, q)
        score.commuted = leg.motor.commuted - score.start_commuted
        score.heard = leg.detector.heard - score.start_heard
        score.missed = leg.detector.missed - score.start_missed
        score.extra = leg.detector.extra - score.start_extra
        score.hall = leg.detector.hall_counts - score.start_hall
        score.switch_offs = leg.bridge.stops - score.start_switch_offs
        score.play = leg.play
        score.sag = leg.deck_force / leg.axial_stiffness if leg.axial_stiffness > 0.0 else 0.0
        score.coast_told = rig.memory.legs[q].coast_told / rig.settings.legs[q].counts_per_metre
        if leg.bridge.off_us >= move.start_us:
            score.off_us = leg.bridge.off_us
            score.off_travel = leg.bridge.off_travel
            score.off_commuted = leg.bridge.off_commuted
            # a leg that had stopped before its power went did not coast
            score.still_us = leg.still_us if leg.still_us > leg.bridge.off_us else leg.bridge.off_us
            score.still_travel = leg.travel
            score.still_commuted = leg.motor.commuted
        if move.ring_number >= 2:
            a, b = first % _RING, (move.ring_place - 1) % _RING
            span = (move.ring_us[b] - move.ring_us[a]) * 1e-6
            way = score.ring_travel[b] - score.ring_travel[a]
            score.run_speed = (way if way >= 0.0 else -way) / span
            score.run_current = (score.ring_charge[b] - score.ring_charge[a]) / span
            move.run_from_us = move.ring_us[a]
            move.run_to_us = move.ring_us[b]


@kernel
def _log_corrections(rig: Any) -> None:
    """Log how many pulses the controller rejected and inserted since the last time, by leg: once a move, there can be hundreds."""
    for q in range(rig.world.n_legs):
        known, seen = rig.memory.legs[q], rig.watched[q]
        if known.rejected < seen.rejected or known.inserted < seen.inserted:  # the controller has lost its memory
            seen.rejected = 0
            seen.inserted = 0
        if known.rejected != seen.rejected:
            note(rig, _REJECTED, q, float(known.rejected - seen.rejected))
            seen.rejected = known.rejected
        if known.inserted != seen.inserted:
            note(rig, _INSERTED, q, float(known.inserted - seen.inserted))
            seen.inserted = known.inserted


@kernel
def _follow_run(rig: Any, move: Any, now: float) -> None:
    """Keep travel and charge of the last second before slow-down or cut, every 50 ms."""
    world = rig.world
    span = world.sub_step * world.steps_per_tick
    for q in range(world.n_legs):
        current = world.legs[q].motor.current
        move.legs[q].charge += span * (current if current >= 0.0 else -current)
    if rig.memory.slow == 1 or move.first_off_us > 0.0 or rig.memory.mode == _RETREATING:
        return
    if now - move.start_us < rig.settings.soft_start * 1e6 + _STEADY_US:
        return
    if move.ring_number > 0 and now - move.ring_us[(move.ring_place - 1) % _RING] < _RING_EVERY_US:
        return
    place = move.ring_place % _RING
    move.ring_us[place] = now
    for q in range(world.n_legs):
        move.legs[q].ring_travel[place] = world.legs[q].travel
        move.legs[q].ring_charge[place] = move.legs[q].charge
    move.ring_place += 1
    if move.ring_number < _RING:
        move.ring_number += 1


@kernel
def _score_level(rig: Any, move: Any, now: float) -> None:
    """Level error, tilt and warp while legs are on."""
    world = rig.world
    deck = world.deck
    error = deck.level_error
    move.square_sum += error * error
    move.believed_sum += rig.memory.believed_error
    move.samples += 1
    if rig.memory.believed_error > move.seen_peak:
        move.seen_peak = rig.memory.believed_error
    if now - move.start_us <= _START_US and error > move.start_peak:
        move.start_peak = error
    watch_deck(rig, move.homing, now)
    if deck.warp > move.warp_peak:
        move.warp_peak = deck.warp
        move.warp_us = now
    if error < move.peak and move.samples > 1:
        return
    move.peak = error
    move.peak_us = now
    move.worst_tilt_x = deck.tilt_x
    move.worst_tilt_y = deck.tilt_y
    for q in range(world.n_legs):
        move.legs[q].peak_height = world.legs[q].height
        move.legs[q].peak_believed = counted_height(rig.settings, rig.memory, q)
        if world.legs[q].height > world.legs[move.peak_high].height:
            move.peak_high = q
        if world.legs[q].height < world.legs[move.peak_low].height:
            move.peak_low = q


@kernel
def _score_currents(rig: Any, move: Any, now: float) -> None:
    """Largest current of each leg, and when."""
    for q in range(rig.world.n_legs):
        peak = rig.world.legs[q].motor.peak_current
        if peak > move.legs[q].peak_current:
            move.legs[q].peak_current = peak
            move.legs[q].peak_current_us = now


@kernel
def _score_move(rig: Any, move: Any, now: float) -> None:
    """One tick of the open move."""
    world = rig.world
    on, off = 0, 0
    for q in range(world.n_legs):
        powered = rig.watched[q].on if rig.bypass == 1 else rig.memory.legs[q].on
        on += powered
        off += 1 - powered
    started = move.samples > 0
    if on > 0:
        _score_level(rig, move, now)
        _follow_run(rig, move, now)
        if rig.memory.mode != _RETREATING:
            move.direction = rig.memory.direction
    _score_currents(rig, move, now)
    if started and off > 0 and move.first_off_us == 0.0:
        move.first_off_us = now
        move.at_cut = world.deck.level_error
    if started and on == 0 and move.last_off_us == 0.0:
        move.last_off_us = now
    if world.supply.voltage < move.lowest_supply:
        move.lowest_supply = world.supply.voltage


@kernel
def _log_leg(rig: Any, q: int) -> None:
    """Log what changed on leg ``q`` since the last tick."""
    leg = rig.world.legs[q]
    seen = rig.watched[q]
    known = rig.memory.legs[q]
    on = 1 if leg.bridge.mode == DRIVE else 0
    if on != seen.on:
        note(rig, _LEG_ON if on == 1 else _LEG_OFF, q, 0.0)
        seen.on = on
    moving = 1 if leg.motor.speed != 0.0 else 0
    if moving == 0 and seen.moving == 1 and on == 0:
        note(rig, _STILL, q, 0.0)
    seen.moving = moving
    if known.stalled == 1 and seen.stalled == 0:
        note(rig, _STALLED, q, 0.0)
    seen.stalled = known.stalled
    if leg.detector.lost != seen.lost:
        note(rig, _OVERFLOW, q, float(leg.detector.lost))
        seen.lost = leg.detector.lost


@kernel
def _log_mode(rig: Any) -> None:
    """Log a new mode, the reason of a fault, a refused order."""
    memory = rig.memory
    if memory.mode != rig.mode_before:
        note(rig, _MODE, -1, float(memory.mode))
        rig.mode_before = memory.mode
        if memory.mode == _FAULTED:
            rig.reason_before = -1
    if memory.reason != rig.reason_before:
        rig.reason_before = memory.reason
        if memory.reason != 0:
            note(rig, _REASON, memory.culprit - 1, float(memory.reason))
    if memory.refused != rig.refused_before:
        rig.refused_before = memory.refused
        if memory.refused > 0:
            note(rig, _REFUSED, -1, float(memory.refusal))


@kernel
def _log_pinch(rig: Any) -> None:
    """Log a pinch that the controller has decided on, and the end of a retreat."""
    pinch = rig.memory.pinch
    if pinch.trips > rig.trips_before:
        note(rig, _PINCHED, pinch.leg, pinch.deviation)
    if pinch.retreats > rig.retreats_before:
        note(rig, _RETREATED, -1, pinch.retreated)
    rig.trips_before = pinch.trips  # a start without memory sets both back
    rig.retreats_before = pinch.retreats


@kernel
def _log_contacts(rig: Any) -> None:
    """Log which obstacles were met and left since the last tick."""
    for j in range(rig.world.contacts):
        contact = rig.world.contact[j]
        if contact.touching != contact.told:
            contact.told = contact.touching
            if contact.touching == 1:
                note(rig, _TOUCHED, -1, float(j + 1))
            else:
                note(rig, _RELEASED, -1, contact.attempt_peak)


@kernel
def _open_waiting(rig: Any) -> None:
    """Begin the move of an order that the controller kept, as soon as it carries it out; forget it with the controller."""
    memory = rig.memory
    row = rig.script[rig.move_waiting - 1]
    if memory.order != rig.inputs.order or memory.waiting != 0:
        return
    rig.move_waiting = 0
    if memory.mode == _MOVING and memory.since_us > row.fired_us:
        open_move(rig, int(row.values[0]), row.values[1])


@kernel
def watch(rig: Any) -> None:
    """Score and log the tick that has just been flown, and decide whether the rehearsal is over."""
    world = rig.world
    memory = rig.memory
    now = world.time_us
    _log_mode(rig)
    _log_pinch(rig)
    log_trust(rig)
    if world.contacts > 0:
        _log_contacts(rig)
    rest = _AT_REST[memory.mode] == 1 and memory.order == rig.inputs.order
    for q in range(world.n_legs):
        _log_leg(rig, q)
        rest = rest and world.legs[q].motor.speed == 0.0 and (rig.bypass == 0 or rig.watched[q].on == 0)
    watch_conduct(rig)
    if rig.move_waiting > 0:
        _open_waiting(rig)
    if rig.move_open == 1:
        _score_move(rig, rig.move[rig.moves - 1], float(now))
    if not rest:
        rig.rest_since_us = -1
    elif rig.rest_since_us < 0:
        rig.rest_since_us = now
        if rig.move_open == 1:
            _close_move(rig)
    _look_at_end(rig, now)


@kernel
def _look_at_end(rig: Any, now: int) -> None:
    waiting = 0
    for k in range(rig.rows):
        waiting += 1 - rig.script[k].fired
    rest = rig.rest_since_us >= 0 and now - rig.rest_since_us >= rig.settle_us
    over = waiting == 0 and rest and now - rig.fired_us >= rig.settle_us
    if over or now >= rig.end_us or rig.world.diverged != 0:
        rig.finished = 1
