"""Legs that lift off: which push-only nuts carry the deck, by an active set over the elastic 3 x 3 equilibrium."""

from __future__ import annotations

from typing import Any

from plant.deck import GRAVITY
from plant.kernel import kernel

__all__ = ["release"]

_HARD = 1e6  # N/m of a leg without a stated stiffness
_RIDGE = 1.0  # N m/rad that keeps a deck on a single leg solvable; it then tips far


@kernel
def _plane(world: Any, stiffness: float) -> tuple[float, float, float]:
    """Height [m] and slopes [rad] of the deck plane that carries its load on the legs not marked as lifted."""
    deck = world.deck
    s00, s01, s02, s11, s12, s22 = 0.0, 0.0, 0.0, 0.0, 0.0, 0.0
    r0 = -GRAVITY * (deck.mass + deck.payload)
    r1 = -GRAVITY * (deck.mass * deck.centre_x + deck.payload * deck.payload_x)
    r2 = -GRAVITY * (deck.mass * deck.centre_y + deck.payload * deck.payload_y)
    for q in range(world.n_legs):
        leg = world.legs[q]
        if leg.lifted == 1:
            continue
        k = stiffness if stiffness > 0.0 else (leg.axial_stiffness if leg.axial_stiffness > 0.0 else _HARD)
        s00 += k
        s01 += k * leg.x
        s02 += k * leg.y
        s11 += k * leg.x * leg.x
        s12 += k * leg.x * leg.y
        s22 += k * leg.y * leg.y
        push = k * leg.scratch.end_travel
        r0 += push
        r1 += push * leg.x
        r2 += push * leg.y
    s11 += deck.tilt_stiffness_x + _RIDGE
    s22 += deck.tilt_stiffness_y + _RIDGE
    a11 = s11 - s01 * s01 / s00
    a12 = s12 - s01 * s02 / s00
    a22 = s22 - s02 * s02 / s00
    b1 = r1 - s01 * r0 / s00
    b2 = r2 - s02 * r0 / s00
    slope_y = (b2 - a12 * b1 / a11) / (a22 - a12 * a12 / a11)
    slope_x = (b1 - a12 * slope_y) / a11
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
            k = stiffness if stiffness > 0.0 else (leg.axial_stiffness if leg.axial_stiffness > 0.0 else _HARD)
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
