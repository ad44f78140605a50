"""Scores how the controller conducts itself: stops, retreats, stillness when faulted, counts made up where nothing turned.

A stop begins with the release of a held key, or with the decision of a guard (the mode becomes faulted or retreating), and
ends when no leg goes on the old way.  What happened between the order and the end of its tick is reckoned back by the speed
of the leg, which leaves an error below a micrometre.
"""

from __future__ import annotations

from typing import Any

from plant.bridge import DRIVE
from plant.kernel import kernel

__all__ = ["watch_conduct", "watch_deck"]

_RELEASE = 4
_HOMING, _READY, _MOVING, _RETREATING, _FAULTED = 1, 2, 3, 5, 6
_UNREFERENCED = 0


@kernel
def _speed(leg: Any) -> float:
    return leg.motor.speed * leg.spindle.travel_per_radian  # type: ignore[no-any-return]


@kernel
def _begin_stop(rig: Any) -> None:
    """The order or decision of this tick: remember where each leg is and which way it goes."""
    world = rig.world
    conduct = rig.conduct
    tick = world.sub_step * world.steps_per_tick
    conduct.stops += 1
    conduct.stopping = 1
    conduct.stop_us = world.time_us - 1e6 * tick
    for q in range(world.n_legs):
        leg, score = world.legs[q], conduct.legs[q]
        speed = _speed(leg)
        score.way = 1.0 if speed > 0.0 else -1.0 if speed < 0.0 else 0.0
        score.from_travel = leg.travel - speed * tick
        score.reach = 0.0
        score.reach_us = conduct.stop_us


@kernel
def _follow_stop(rig: Any) -> None:
    """How far each leg goes on; the stop has ended when none does."""
    world = rig.world
    conduct = rig.conduct
    on = False
    for q in range(world.n_legs):
        leg, score = world.legs[q], conduct.legs[q]
        way = score.way * (leg.travel - score.from_travel)
        if way > score.reach:
            score.reach = way
            score.reach_us = world.time_us
        on |= score.way * leg.motor.speed > 0.0
    if on:
        return
    conduct.stopping = 0
    for q in range(world.n_legs):
        score = conduct.legs[q]
        if score.reach > conduct.longest:
            conduct.longest = score.reach
            conduct.longest_us = conduct.stop_us
            conduct.longest_leg = q
        lasted = (score.reach_us - conduct.stop_us) * 1e-6
        if lasted > conduct.slowest:
            conduct.slowest = lasted
            conduct.slowest_us = conduct.stop_us
            conduct.slowest_leg = q


@kernel
def _end_retreat(rig: Any) -> None:
    """Score a retreat by the leg that went back least, from its furthest point."""
    world = rig.world
    conduct = rig.conduct
    conduct.retreating = 0
    for q in range(world.n_legs):
        score = conduct.legs[q]
        back = score.reach - score.way * (world.legs[q].travel - score.from_travel)
        if (conduct.retreats == 0 and q == 0) or back < conduct.least_retreat:
            conduct.least_retreat = back
            conduct.retreat_us = world.time_us
            conduct.retreat_leg = q
    conduct.retreats += 1


@kernel
def _new_mode(rig: Any) -> None:
    """A guard has decided, or the controller has come to rest."""
    conduct = rig.conduct
    before, mode = conduct.mode_before, rig.memory.mode
    conduct.mode_before = mode
    if mode in (_FAULTED, _RETREATING):
        if conduct.retreating == 1:
            _end_retreat(rig)
        if before in (_MOVING, _HOMING, _RETREATING):
            _begin_stop(rig)
        if mode == _RETREATING:
            conduct.retreating = 1
        else:
            conduct.faults += 1
            conduct.faulted_still = 0
    elif conduct.retreating == 1 and mode in (_READY, _UNREFERENCED):
        _end_retreat(rig)


@kernel
def _watch_fault(rig: Any) -> None:
    """Power and motion while the controller is faulted; what coasts out is no motion yet."""
    world = rig.world
    conduct = rig.conduct
    still = True
    driven = False
    for q in range(world.n_legs):
        still &= world.legs[q].motor.speed == 0.0
        driven |= world.legs[q].bridge.mode == DRIVE
    if driven and rig.bypass == 0:
        conduct.powered += world.sub_step * world.steps_per_tick
    if conduct.faulted_still == 0:
        if still:
            conduct.faulted_still = 1
            for q in range(world.n_legs):
                conduct.legs[q].still_travel = world.legs[q].travel
        return
    for q in range(world.n_legs):
        way = world.legs[q].travel - conduct.legs[q].still_travel
        way = way if way >= 0.0 else -way
        if way > conduct.crept:
            conduct.crept = way
            conduct.crept_us = world.time_us
            conduct.crept_leg = q


@kernel
def _made_up(rig: Any, q: int) -> None:
    conduct = rig.conduct
    known = rig.memory.legs[q]
    if known.stalled == 1:
        conduct.blocked = 1
    if known.inserted == conduct.legs[q].inserted:
        return
    if known.stalled == 1 or rig.world.legs[q].motor.speed == 0.0:
        conduct.made_up += known.inserted - conduct.legs[q].inserted
        conduct.made_up_us = rig.world.time_us
        conduct.made_up_leg = q
    conduct.legs[q].inserted = known.inserted


@kernel
def watch_deck(rig: Any, homing: int, now: float) -> None:
    """Largest slope of the deck along each axis of its plan, and largest level error without a warning; homings left out."""
    if homing == 1:
        return
    conduct = rig.conduct
    deck = rig.world.deck
    conduct.tilted = 1
    along_x = deck.tilt_x if deck.tilt_x >= 0.0 else -deck.tilt_x
    along_y = deck.tilt_y if deck.tilt_y >= 0.0 else -deck.tilt_y
    if along_x > conduct.tilt_x:
        conduct.tilt_x = along_x
        conduct.tilt_x_us = now
    if along_y > conduct.tilt_y:
        conduct.tilt_y = along_y
        conduct.tilt_y_us = now
    if deck.level_error > conduct.unflagged and rig.memory.ask == 0:
        conduct.unflagged = deck.level_error
        conduct.unflagged_us = now


@kernel
def watch_conduct(rig: Any) -> None:
    """Score the tick that has just been flown."""
    conduct = rig.conduct
    memory = rig.memory
    inputs = rig.inputs
    if inputs.order != conduct.order_before:
        conduct.order_before = inputs.order
        if inputs.command == _RELEASE and conduct.mode_before == _MOVING:
            _begin_stop(rig)
    if memory.mode != conduct.mode_before:
        _new_mode(rig)
    if conduct.stopping == 1:
        _follow_stop(rig)
    if memory.mode == _FAULTED:
        _watch_fault(rig)
    for q in range(rig.world.n_legs):
        _made_up(rig, q)
