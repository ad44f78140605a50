"""Legs that lift off: which push-only nuts carry the deck, by an active set over the elastic 3 x 3 equilibrium."""

from __future__ import annotations

from typing import Any

from plant.deck import GRAVITY
from plant.kernel import kernel

__all__ = ["release"]

_HARD = 1e6  # N/m of a leg without a stated stiffness
_RIDGE = 1.0  # N m/rad that keeps a deck on a single leg solvable; it then tips far


@kernel
def _stiffness(leg: Any, deck_stiffness: float) -> float:
    """Stiffness [N/m] of one support: the deck's where it can warp, else the leg's own."""
    if deck_stiffness > 0.0:
        return deck_stiffness
    return leg.axial_stiffness if leg.axial_stiffness > 0.0 else _HARD


@kernel
def _plane(world: Any, stiffness: float) -> tuple[float, float, float]:
    """Height [m] and slopes [rad] of the deck plane that carries its load on the legs not marked as lifted.

    Racking follows the nuts, as it does while all legs carry, and where the deck has left a nut the deck itself: so no
    force jumps where a leg lets go.
    """
    deck = world.deck
    kx, ky = deck.tilt_stiffness_x, deck.tilt_stiffness_y
    s00, s01, s02 = 0.0, 0.0, 0.0
    r0 = -GRAVITY * (deck.mass + deck.payload)
    m10, m11, m12, m20, m21, m22 = 0.0, _RIDGE, 0.0, 0.0, 0.0, _RIDGE
    r1 = -GRAVITY * (deck.mass * deck.centre_x + deck.payload * deck.payload_x)
    r2 = -GRAVITY * (deck.mass * deck.centre_y + deck.payload * deck.payload_y)
    for q in range(world.n_legs):
        leg = world.legs[q]
        rack_x, rack_y = kx * leg.slope_x, ky * leg.slope_y
        if leg.lifted == 1:
            m10 += rack_x
            m11 += rack_x * leg.x
            m12 += rack_x * leg.y
            m20 += rack_y
            m21 += rack_y * leg.x
            m22 += rack_y * leg.y
            continue
        k = _stiffness(leg, stiffness)
        push = k * leg.scratch.end_travel
        s00 += k
        s01 += k * leg.x
        s02 += k * leg.y
        m10 += k * leg.x
        m11 += k * leg.x * leg.x
        m12 += k * leg.x * leg.y
        m20 += k * leg.y
        m21 += k * leg.x * leg.y
        m22 += k * leg.y * leg.y
        r0 += push
        r1 += push * leg.x - rack_x * leg.scratch.end_travel
        r2 += push * leg.y - rack_y * leg.scratch.end_travel
    a11, a12, b1 = m11 - m10 * s01 / s00, m12 - m10 * s02 / s00, r1 - m10 * r0 / s00
    a21, a22, b2 = m21 - m20 * s01 / s00, m22 - m20 * s02 / s00, r2 - m20 * r0 / s00
    scale = a11 * a22 - a12 * a21
    slope_x = (b1 * a22 - a12 * b2) / scale
    slope_y = (a11 * b2 - a21 * b1) / scale
    return (r0 - s01 * slope_x - s02 * slope_y) / s00, slope_x, slope_y


@kernel
def release(world: Any) -> None:
    """Find the legs that carry the deck at the heights in ``scratch.end_travel``; the deck leaves the others.

    Fills ``scratch.deck_force`` [N], ``lifted`` and, for lifted legs, ``height`` [m] of the deck above the nut.
    """
    deck = world.deck
    n = world.n_legs
    stiffness = deck.warp_stiffness if n > deck.rank else 0.0
    for q in range(n):
        world.legs[q].lifted = 0
    for _ in range(2 * n + 2):
        z0, slope_x, slope_y = _plane(world, stiffness)
        changed = False
        for q in range(n):
            leg = world.legs[q]
            k = _stiffness(leg, stiffness)
            gap = z0 + slope_x * leg.x + slope_y * leg.y - leg.scratch.end_travel
            leg.height = leg.scratch.end_travel + gap
            leg.scratch.deck_force = -k * gap if leg.lifted == 0 else 0.0
            if leg.lifted == 0 and gap > 0.0 and leg.spindle.captive == 0:
                leg.lifted = 1
                changed = True
            elif leg.lifted == 1 and gap < 0.0:
                leg.lifted = 0
                changed = True
        if not changed:
            return
