"""The deck on its legs: load sharing, racking, warp, legs that lift off, level error.

The deck works through its N x 3 factor only: an orthonormal basis of [1 x y] over the legs, never an N x N matrix.
"""

from __future__ import annotations

import math
from typing import Any

from plant.contacts import press
from plant.kernel import inlined, kernel

__all__ = ["GRAVITY", "factor", "observe", "share_load", "spread", "spread_at"]

GRAVITY = 9.81
_FLAT = 1e-9  # m: legs closer to a line than this stand on it


@kernel
def factor(world: Any) -> None:
    """Fill ``basis`` and ``slope`` of every leg by Gram-Schmidt on [1 x y]; a line of legs has rank 2, one leg rank 1.

    Source: least-squares plane through the leg joints.
    """
    n = world.n_legs
    mean_x, mean_y = 0.0, 0.0
    for q in range(n):
        mean_x += world.legs[q].x / n
        mean_y += world.legs[q].y / n
    xx, xy = 0.0, 0.0
    for q in range(n):
        dx = world.legs[q].x - mean_x
        xx += dx * dx
        xy += dx * (world.legs[q].y - mean_y)
    lean = xy / xx if xx > _FLAT * _FLAT else 0.0
    yy = 0.0
    for q in range(n):
        rest = (world.legs[q].y - mean_y) - lean * (world.legs[q].x - mean_x)
        yy += rest * rest
    along_x = xx > _FLAT * _FLAT
    along_y = yy > _FLAT * _FLAT
    for q in range(n):
        leg = world.legs[q]
        dx = leg.x - mean_x
        rest = (leg.y - mean_y) - lean * dx
        leg.basis[0] = 1.0 / math.sqrt(float(n))
        leg.basis[1] = dx / math.sqrt(xx) if along_x else 0.0
        leg.basis[2] = rest / math.sqrt(yy) if along_y else 0.0
        leg.slope_y = rest / yy if along_y else 0.0
        leg.slope_x = dx / xx - lean * leg.slope_y if along_x else 0.0
    deck = world.deck
    deck.rank = 1 + int(along_x) + int(along_y)
    loose = deck.warp_stiffness == 0.0 or deck.rank == n
    deck.elastic = 0 if loose and deck.tilt_stiffness_x == 0.0 and deck.tilt_stiffness_y == 0.0 else 1


@kernel
def share_load(world: Any) -> None:
    """Static share of deck and payload on each leg [N] and the mass each carries [kg]; call after any change of load.

    A moment that the legs cannot take (about the line on which they stand) is taken by the guides.
    Source: equally stiff legs under a rigid plate, f = pinv(A)^T [W, W x, W y].
    """
    deck = world.deck
    n = world.n_legs
    mass = deck.mass + deck.payload
    moment_x = deck.mass * deck.centre_x + deck.payload * deck.payload_x
    moment_y = deck.mass * deck.centre_y + deck.payload * deck.payload_y
    mean_x, mean_y = 0.0, 0.0
    for q in range(n):
        mean_x += world.legs[q].x / n
        mean_y += world.legs[q].y / n
    for q in range(n):
        leg = world.legs[q]
        carried = mass / n + leg.slope_x * (moment_x - mass * mean_x) + leg.slope_y * (moment_y - mass * mean_y)
        leg.share = GRAVITY * carried
        leg.carried_mass = carried if carried > 0.0 else 0.0


@inlined
def _share_alone(world: Any) -> bool:
    """``spread`` over a deck that nothing but its weight acts on."""
    pulled = False
    for q in range(world.n_legs):
        leg = world.legs[q]
        leg.scratch.deck_force = leg.share
        leg.lifted = 0
        pulled |= leg.share < 0.0 and leg.spindle.captive == 0
    return pulled


@inlined
def spread_at(world: Any, ended: bool) -> bool:
    """``spread`` at the heights in ``scratch.end_travel`` where ``ended``, else at the present travels."""
    deck = world.deck
    n = world.n_legs
    if deck.elastic == 0:
        alone = _share_alone(world)
        return alone if world.contacts == 0 else press(world, ended)
    # legs that just define the plane cannot warp
    warps = deck.warp_stiffness > 0.0 and n > deck.rank
    p0, p1, p2 = 0.0, 0.0, 0.0
    tilt_x, tilt_y = 0.0, 0.0
    for q in range(n):
        leg = world.legs[q]
        z = leg.scratch.end_travel if ended else leg.travel
        tilt_x += leg.slope_x * z
        tilt_y += leg.slope_y * z
        if warps:
            p0 += leg.basis[0] * z
            p1 += leg.basis[1] * z
            p2 += leg.basis[2] * z
    moment_x = deck.tilt_stiffness_x * tilt_x
    moment_y = deck.tilt_stiffness_y * tilt_y
    # the root of a square is the number itself; the second test keeps the compiler from taking the root anyway and choosing after
    bending = abs(moment_x)
    if moment_y != 0.0:
        square = moment_x * moment_x + moment_y * moment_y
        if square > 0.0:
            bending = math.sqrt(square)
    deck.bending = bending
    pulled = False
    for q in range(n):
        leg = world.legs[q]
        force = leg.share + moment_x * leg.slope_x + moment_y * leg.slope_y
        if warps:
            plane = leg.basis[0] * p0 + leg.basis[1] * p1 + leg.basis[2] * p2
            force += deck.warp_stiffness * ((leg.scratch.end_travel if ended else leg.travel) - plane)
        leg.scratch.deck_force = force
        leg.lifted = 0
        pulled |= force < 0.0 and leg.spindle.captive == 0
    return pulled if world.contacts == 0 else press(world, ended)


@kernel
def spread(world: Any) -> bool:
    """Force of the deck on each leg at the heights in ``scratch.end_travel``, into ``scratch.deck_force`` [N].

    Returns whether a nut that can only push would have to pull: then ``release`` has to find which legs carry.
    """
    return spread_at(world, True)


@kernel
def observe(world: Any) -> None:
    """Heights of the deck joints, level error, tilt and warp from the present travels and forces."""
    deck = world.deck
    n = world.n_legs
    high, low = -1e9, 1e9
    p0, p1, p2 = 0.0, 0.0, 0.0
    tilt_x, tilt_y = 0.0, 0.0
    for q in range(n):
        leg = world.legs[q]
        if leg.lifted == 0:
            sag = leg.deck_force / leg.axial_stiffness if leg.axial_stiffness > 0.0 else 0.0
            leg.height = leg.travel - sag
        z = leg.height
        high = z if z > high else high
        low = z if z < low else low
        p0 += leg.basis[0] * z
        p1 += leg.basis[1] * z
        p2 += leg.basis[2] * z
        tilt_x += leg.slope_x * z
        tilt_y += leg.slope_y * z
    warp = 0.0
    for q in range(n):
        leg = world.legs[q]
        off = leg.height - (leg.basis[0] * p0 + leg.basis[1] * p1 + leg.basis[2] * p2)
        off = off if off >= 0.0 else -off
        warp = off if off > warp else warp
    deck.tilt_x = tilt_x
    deck.tilt_y = tilt_y
    deck.warp = warp
    deck.level_error = high - low
