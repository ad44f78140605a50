"""Obstacles above or below one point of the deck, and people who lean on it: their force, and how the legs share it.

A point of the deck is as high as the best plane through the nuts there, and a force at the point is shared as a payload's
weight would be: the same three numbers along the basis of the deck serve both ways, so a contact takes no energy.
"""

from __future__ import annotations

from typing import Any

from plant.kernel import inlined, kernel

__all__ = ["contact_force", "face_contact", "place_contact", "press", "remove_contact", "spring_depth"]


@inlined
def spring_depth(contact: Any, height: float) -> float:
    """How far the deck at ``height`` [m] has pressed the obstacle in [m]; negative: the gap left."""
    return contact.side * (height - contact.face)  # type: ignore[no-any-return]


@kernel
def contact_force(world: Any) -> float:
    """Force on all obstacles together [N], as long as they lie on one side of the deck."""
    total = 0.0
    for j in range(world.contacts):
        total += world.contact[j].force
    return total


@kernel
def _locate(world: Any, ended: bool) -> None:
    """Heights of the deck at the contacts [m] while all legs carry."""
    p0, p1, p2 = 0.0, 0.0, 0.0
    for q in range(world.n_legs):
        leg = world.legs[q]
        z = leg.scratch.end_travel if ended else leg.travel
        p0 += leg.basis[0] * z
        p1 += leg.basis[1] * z
        p2 += leg.basis[2] * z
    for j in range(world.contacts):
        contact = world.contact[j]
        contact.height = contact.basis[0] * p0 + contact.basis[1] * p1 + contact.basis[2] * p2


@kernel
def press(world: Any, ended: bool) -> bool:
    """Add what contacts do to the deck's force on each leg, at the heights in ``scratch.end_travel`` where ``ended``.

    Returns whether a nut that can only push would have to pull. An obstacle is a spring without loss that pushes only.
    """
    _locate(world, ended)
    f0, f1, f2 = 0.0, 0.0, 0.0
    for j in range(world.contacts):
        contact = world.contact[j]
        contact.force = 0.0
        contact.pressed = 0
        if contact.active == 0:
            continue
        depth = spring_depth(contact, contact.height)
        if depth > 0.0 and contact.stiffness > 0.0:
            contact.force = contact.stiffness * depth
            contact.pressed = 1
        down = contact.push + contact.side * contact.force
        f0 += contact.basis[0] * down
        f1 += contact.basis[1] * down
        f2 += contact.basis[2] * down
    pulled = False
    for q in range(world.n_legs):
        leg = world.legs[q]
        leg.scratch.deck_force += leg.basis[0] * f0 + leg.basis[1] * f1 + leg.basis[2] * f2
        pulled |= leg.scratch.deck_force < 0.0 and leg.spindle.captive == 0
    return pulled


@kernel
def place_contact(world: Any, x: float, y: float) -> int:
    """Take the next contact for the point (``x``, ``y``) [m] of the deck; its index, -1 where there is none left.

    As it stands it neither pushes nor resists: ``push`` [N] is for somebody who leans, ``face_contact`` makes an obstacle.
    """
    if world.contacts == len(world.contact):
        return -1
    contact = world.contact[world.contacts]
    contact.active = 1
    contact.x = x
    contact.y = y
    n = world.n_legs
    mean_x, mean_y = 0.0, 0.0
    for q in range(n):
        mean_x += world.legs[q].x / n
        mean_y += world.legs[q].y / n
    for i in range(3):
        contact.basis[i] = 0.0
        for q in range(n):
            leg = world.legs[q]
            share = 1.0 / n + leg.slope_x * (x - mean_x) + leg.slope_y * (y - mean_y)
            contact.basis[i] += leg.basis[i] * share
    world.contacts += 1
    world.outside += 1
    _locate(world, False)
    contact.face = contact.height
    contact.side = 1.0
    return world.contacts - 1  # type: ignore[no-any-return]


@kernel
def face_contact(world: Any, j: int, values: Any) -> None:
    """Make contact ``j`` an obstacle.

    Parameters
    ----------
    world : world record
    j : int
        From ``place_contact``.
    values : array
        Two that are not looked at; gap from the deck as it is now, or height of the face [m]; stiffness [N/m]; side
        (1 above, -1 below); 1 where the third is a gap.
    """
    contact = world.contact[j]
    contact.stiffness = values[3]
    contact.side = values[4]
    contact.face = values[2]
    if values[5] == 1.0:
        contact.face = contact.height + contact.side * values[2]
    depth = spring_depth(contact, contact.height)
    if depth > 0.0:  # whoever puts it there presses it in
        world.taken -= 0.5 * contact.stiffness * depth * depth


@kernel
def remove_contact(world: Any, j: int) -> None:
    """Take contact ``j`` away; what it holds [J] goes with it. Its score stays."""
    if j < 0:
        return
    contact = world.contact[j]
    world.taken += contact.push * (contact.height - contact.face)
    if contact.stiffness > 0.0:
        world.taken += 0.5 * contact.force * contact.force / contact.stiffness
    contact.active = 0
    contact.force = 0.0
    contact.touching = 0
