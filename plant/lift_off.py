"""Legs that lift off: which push-only nuts carry the deck, by an active set over the elastic 3 x 3 equilibrium.

The deck's joint on a leg that carries is as high as its nut; where the deck has left the nut, the joint stands where no
force acts on it. The plane of the deck is the best one through all joints: load, racking and contacts follow it, in the same
way whether legs have let go or not, so no force jumps and no energy is lost where one does.
"""

from __future__ import annotations

from typing import Any

from plant.contacts import spring_depth
from plant.kernel import kernel

__all__ = ["release", "release_now"]

_HARD = 1e6  # N/m of a leg under a deck that cannot warp: it decides nothing but the size of the numbers
_RIDGE = 1e-6  # N/m that keeps a deck solvable that nothing holds; it then flies up or tips far


@kernel
def _gather_legs(world: Any) -> None:
    """Weight of the deck along its basis, and how racking grows with the plane."""
    deck = world.deck
    plane = deck.plane
    for i in range(3):
        plane.load[i] = 0.0
        plane.rack_x[i] = 0.0
        plane.rack_y[i] = 0.0
        for q in range(world.n_legs):
            leg = world.legs[q]
            plane.load[i] += leg.basis[i] * leg.share
            plane.rack_x[i] += leg.basis[i] * leg.slope_x
            plane.rack_y[i] += leg.basis[i] * leg.slope_y
    for i in range(3):
        for j in range(3):
            rack_x = deck.tilt_stiffness_x * plane.rack_x[i] * plane.rack_x[j]
            plane.give[3 * i + j] = rack_x + deck.tilt_stiffness_y * plane.rack_y[i] * plane.rack_y[j]


@kernel
def _gather_contacts(world: Any) -> None:
    """Add people who lean on the deck, and the obstacles that are pressed."""
    plane = world.deck.plane
    for k in range(world.contacts):
        contact = world.contact[k]
        if contact.active == 0:
            continue
        stiffness = contact.stiffness if contact.pressed == 1 else 0.0
        for i in range(3):
            plane.load[i] += contact.basis[i] * (contact.push - stiffness * contact.face)
            for j in range(3):
                plane.give[3 * i + j] += stiffness * contact.basis[i] * contact.basis[j]


@kernel
def _carry(plane: Any, leg: Any, stiffness: float) -> None:
    """Add a leg that carries to the rows."""
    for i in range(3):
        for j in range(3):
            plane.rows[4 * i + j] += stiffness * leg.basis[i] * leg.basis[j]
        plane.rows[4 * i + 3] += stiffness * leg.basis[i] * leg.scratch.end_travel


@kernel
def _hand_over(plane: Any, leg: Any) -> None:
    """Add to the rows what a leg that has let go would have carried."""
    for i in range(3):
        for m in range(3):
            share = leg.basis[i] * leg.basis[m]
            for j in range(3):
                plane.rows[4 * i + j] += share * plane.give[3 * m + j]
            plane.rows[4 * i + 3] -= share * plane.load[m]


@kernel
def _assemble(world: Any, stiffness: float) -> None:
    """Rows of the equilibrium: legs that carry take up what the others would have carried."""
    plane = world.deck.plane
    for i in range(12):
        plane.rows[i] = 0.0
    for i in range(3):
        plane.rows[5 * i] = _RIDGE
    for q in range(world.n_legs):
        if world.legs[q].lifted == 0:
            _carry(plane, world.legs[q], stiffness)
        else:
            _hand_over(plane, world.legs[q])


@kernel
def _eliminate(rows: Any, i: int) -> None:
    """Bring the largest of the rows from ``i`` on up, and take column ``i`` out of those below it."""
    best = i
    for k in range(i + 1, 3):
        if abs(rows[4 * k + i]) > abs(rows[4 * best + i]):
            best = k
    for j in range(4):
        rows[4 * i + j], rows[4 * best + j] = rows[4 * best + j], rows[4 * i + j]
    for k in range(i + 1, 3):
        factor = rows[4 * k + i] / rows[5 * i]
        for j in range(i, 4):
            rows[4 * k + j] -= factor * rows[4 * i + j]


@kernel
def _solve(plane: Any) -> None:
    """Solve ``rows`` for ``place``."""
    rows = plane.rows
    for i in range(3):
        _eliminate(rows, i)
    for back in range(3):
        i = 2 - back
        rest = rows[4 * i + 3]
        for j in range(i + 1, 3):
            rest -= rows[4 * i + j] * plane.place[j]
        plane.place[i] = rest / rows[5 * i]


@kernel
def _look_at_legs(world: Any, stiffness: float, single: bool) -> bool:
    """Forces of the legs on the solved plane, and which of them (or a ``single`` one) let go or take up load; whether any did."""
    plane = world.deck.plane
    changed = False
    for q in range(world.n_legs):
        leg = world.legs[q]
        level, force = 0.0, 0.0
        for i in range(3):
            level += leg.basis[i] * plane.place[i]
            total = plane.load[i]
            for j in range(3):
                total += plane.give[3 * i + j] * plane.place[j]
            force += leg.basis[i] * total
        force += stiffness * (leg.scratch.end_travel - level)
        if leg.lifted == 0:
            leg.scratch.deck_force = force
            leg.height = leg.scratch.end_travel
            if force < 0.0 and leg.spindle.captive == 0 and not (single and changed):
                leg.lifted = 1
                changed = True
        else:
            # the joint stands where the nut would have to stand to carry nothing
            leg.scratch.deck_force = 0.0
            leg.height = leg.scratch.end_travel - force / stiffness
            if leg.height < leg.scratch.end_travel and not (single and changed):
                leg.lifted = 0
                changed = True
    return changed


@kernel
def _look_at_contacts(world: Any, settled: bool) -> bool:
    """Heights and forces of the contacts on the solved plane; whether an obstacle was met or left, which may be ``settled``."""
    plane = world.deck.plane
    changed = False
    for k in range(world.contacts):
        contact = world.contact[k]
        contact.height = 0.0
        for i in range(3):
            contact.height += contact.basis[i] * plane.place[i]
        if contact.active == 0 or contact.stiffness == 0.0:
            continue
        depth = spring_depth(contact, contact.height)
        pressed = 1 if depth > 0.0 else 0
        contact.force = contact.stiffness * depth if pressed == 1 else 0.0
        if pressed != contact.pressed and not settled:
            changed = True
            contact.pressed = pressed
    return changed


@kernel
def release(world: Any) -> None:
    """Find the legs that carry the deck at the heights in ``scratch.end_travel``; the deck leaves the others.

    Fills ``scratch.deck_force`` [N], ``lifted``, ``height`` [m] of the deck's joints, and the contacts' forces.
    """
    deck = world.deck
    n = world.n_legs
    stiffness = deck.warp_stiffness if n > deck.rank and deck.warp_stiffness > 0.0 else _HARD
    for q in range(n):
        world.legs[q].lifted = 0
    for k in range(6 * n + 2 + 2 * world.contacts):
        # all at once is fastest; one at a time, the first that is wrong, cannot go round in a circle
        single = k > n + world.contacts
        _gather_legs(world)
        _gather_contacts(world)
        _assemble(world, stiffness)
        _solve(deck.plane)
        changed = _look_at_legs(world, stiffness, single)
        if not (_look_at_contacts(world, single and changed) or changed):
            return


@kernel
def release_now(world: Any) -> None:
    """``release`` at the present travels."""
    for q in range(world.n_legs):
        world.legs[q].scratch.end_travel = world.legs[q].travel
    release(world)
