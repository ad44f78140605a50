"""Energy that the machine holds: in fields, masses, capacitor, racking, warp, obstacles and end stops."""

from __future__ import annotations

from typing import Any

from plant.kernel import kernel

__all__ = ["stored"]


@kernel
def _pressed(leg: Any, depth: float, debris: float) -> float:
    """In an end stop run into by ``depth`` [m], on which ``debris`` [m] lies [J]."""
    if depth <= 0.0:
        return 0.0
    beyond = depth - debris if depth > debris else 0.0
    soft = leg.debris_stiffness * depth * depth if debris > 0.0 else 0.0
    return 0.5 * (leg.stop_stiffness * beyond * beyond + soft)  # type: ignore[no-any-return]


@kernel
def _joint(leg: Any) -> float:
    """Travel [m] at the deck's joint: where the deck has left a nut it is the joint that racks, and the load has stayed up."""
    return leg.height if leg.lifted == 1 else leg.travel  # type: ignore[no-any-return]


@kernel
def _in_leg(leg: Any) -> float:
    """In one leg [J]."""
    motor = leg.motor
    energy = 0.5 * motor.inductance * motor.current * motor.current + 0.5 * motor.speed * motor.speed / leg.inverse_inertia
    energy += leg.share * (_joint(leg) - leg.travel)
    energy += _pressed(leg, leg.stop_low - leg.travel, leg.debris_low)
    return energy + _pressed(leg, leg.travel - leg.stop_high, leg.debris_high)  # type: ignore[no-any-return]


@kernel
def _in_contacts(world: Any, p0: float, p1: float, p2: float) -> float:
    """In obstacles, the deck's plane being given by its three coordinates [J]."""
    energy = 0.0
    for k in range(world.contacts):
        contact = world.contact[k]
        if contact.active == 0:
            continue
        height = contact.basis[0] * p0 + contact.basis[1] * p1 + contact.basis[2] * p2
        run = height - contact.face
        depth = contact.side * run if contact.side * run > 0.0 else 0.0
        energy += 0.5 * contact.stiffness * depth * depth + contact.push * run
    return energy


@kernel
def stored(world: Any) -> float:
    """Stored energy of the machine as it stands [J]; differences of it tell, its zero does not."""
    deck, supply, n = world.deck, world.supply, world.n_legs
    energy = 0.5 * supply.capacitance * supply.voltage * supply.voltage
    tilt_x, tilt_y, p0, p1, p2 = 0.0, 0.0, 0.0, 0.0, 0.0
    for q in range(n):
        leg = world.legs[q]
        energy += _in_leg(leg)
        z = _joint(leg)
        tilt_x += leg.slope_x * z
        tilt_y += leg.slope_y * z
        p0 += leg.basis[0] * z
        p1 += leg.basis[1] * z
        p2 += leg.basis[2] * z
    if deck.elastic == 1:
        energy += 0.5 * (deck.tilt_stiffness_x * tilt_x * tilt_x + deck.tilt_stiffness_y * tilt_y * tilt_y)
        for q in range(n):
            leg = world.legs[q]
            off = _joint(leg) - (leg.basis[0] * p0 + leg.basis[1] * p1 + leg.basis[2] * p2)
            energy += 0.5 * deck.warp_stiffness * off * off
    return energy + _in_contacts(world, p0, p1, p2)  # type: ignore[no-any-return]
