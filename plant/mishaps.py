"""What goes wrong with a leg: jams, guides that bind, gears that slip, debris on a stop, vibration, a spindle turned by hand."""

from __future__ import annotations

from typing import Any

from plant.bridge import DRIVE
from plant.deck import GRAVITY, spread_at
from plant.kernel import kernel
from plant.lift_off import release_now
from plant.mechanics import stop_force
from plant.setup import refresh_load
from plant.spindle import refresh_spindle

__all__ = ["put_debris", "refresh_guide", "shake", "slip_gear", "start_hand", "turn_by_hand", "walk_load"]


@kernel
def refresh_guide(leg: Any) -> None:
    """Take jam and binding at the present travel into the guide's friction; called every tick while a guide binds.

    Within a tick the nut moves by some hundredths of a millimetre: friction that stands still for so long is no error of
    the energy balance, which books the friction that the motion feels.
    """
    extra = leg.jam
    if leg.bind_force != 0.0:
        part = (leg.travel - leg.bind_from) / (leg.bind_to - leg.bind_from)
        part = 0.0 if part < 0.0 else part
        extra += leg.bind_force * (part if part < 1.0 else 1.0)
    leg.guide_friction += extra - leg.guide_extra
    leg.guide_extra = extra


@kernel
def _load(world: Any) -> None:
    """Forces of the deck at the present travels into ``scratch.deck_force``."""
    if spread_at(world, False):
        release_now(world)


@kernel
def slip_gear(world: Any, q: int, way: float) -> None:
    """Let the nut of leg ``q`` fall by ``way`` [m] while its rotor stands: the teeth slip, and the counts do not know.

    What the load does on that way goes into the teeth as an impact.
    """
    leg = world.legs[q]
    _load(world)
    before = leg.scratch.deck_force - stop_force(leg, leg.travel)
    leg.travel -= way
    _load(world)
    after = leg.scratch.deck_force - stop_force(leg, leg.travel)
    own = leg.moving_mass * GRAVITY
    leg.energy.impact += (0.5 * (before + after) + own) * way
    leg.energy.work -= (leg.share + own) * way


@kernel
def put_debris(world: Any, leg: Any, thickness: float, high: bool) -> None:
    """Put debris of ``thickness`` [m] on a stop of the leg, or take it away where negative.

    A nut that already stands where the debris comes is pushed by it: the energy comes from whoever puts it there.
    """
    before = _stop_energy(leg)
    if high:
        leg.debris_high += thickness
        leg.stop_high -= thickness
    else:
        leg.debris_low += thickness
        leg.stop_low += thickness
    world.taken += before - _stop_energy(leg)


@kernel
def _stop_energy(leg: Any) -> float:
    """Energy in the end stops and what lies on them [J]."""
    low, high = leg.stop_low - leg.travel, leg.travel - leg.stop_high
    depth, debris = (low, leg.debris_low) if low > high else (high, leg.debris_high)
    if depth <= 0.0:
        return 0.0
    if debris == 0.0:
        return 0.5 * leg.stop_stiffness * depth * depth  # type: ignore[no-any-return]
    rest = depth - debris if depth > debris else 0.0
    return 0.5 * leg.debris_stiffness * depth * depth + 0.5 * leg.stop_stiffness * rest * rest  # type: ignore[no-any-return]


@kernel
def shake(leg: Any, factor: float) -> None:
    """Multiply break-away friction of thread and drag, which vibration lowers below that of running."""
    leg.spindle.static_friction *= factor
    leg.motor.static_ratio *= factor
    refresh_spindle(leg)


@kernel
def start_hand(world: Any, leg: Any, way: float, speed: float) -> None:
    """Let somebody turn the spindle by ``way`` [m of lift, up positive] at ``speed`` [m/s]."""
    if leg.hand_speed == 0.0:
        world.outside += 1
    leg.hand_left = way
    leg.hand_at = leg.travel
    leg.hand_speed = speed if way >= 0.0 else -speed


@kernel
def turn_by_hand(world: Any) -> None:
    """Hold the speed of every spindle that is turned by hand; the hand waits while the motor is driven, and yields to a stop.

    The hand gives what friction, load and brake took since the last sub-step.  What the motor moves meanwhile is no part of
    its way.
    """
    for q in range(world.n_legs):
        leg = world.legs[q]
        if leg.hand_speed == 0.0:
            continue
        moved = leg.travel - leg.hand_at
        leg.hand_at = leg.travel
        if leg.bridge.mode == DRIVE:
            continue
        leg.hand_left -= moved
        motor = leg.motor
        if leg.hand_left * leg.hand_speed <= 0.0 or stop_force(leg, leg.travel) != 0.0:
            leg.hand_speed = 0.0
            world.outside -= 1
            continue
        speed = leg.hand_speed / leg.spindle.travel_per_radian
        world.taken -= 0.5 * (speed * speed - motor.speed * motor.speed) / leg.inverse_inertia
        motor.speed = speed


@kernel
def walk_load(world: Any) -> None:
    """One tick of a payload that changes or moves over time, evenly."""
    deck = world.deck
    left = deck.walk_ticks
    deck.payload += (deck.walk_mass - deck.payload) / left
    deck.payload_x += (deck.walk_x - deck.payload_x) / left
    deck.payload_y += (deck.walk_y - deck.payload_y) / left
    deck.walk_ticks = left - 1
    refresh_load(world)
