"""The modal law: height, tilt about two axes, and warp are told apart, and each is held with gains of its own.

Warp is a force inside the deck and no error of level, so it may be held more softly than tilt.
"""

from __future__ import annotations

from typing import Any

from sync.coupling import cross_coupling, push
from sync.kernel import kernel
from sync.pulses import counted_height

__all__ = ["modal"]


@kernel
def modal(settings: Any, memory: Any, base: float) -> None:
    """Hold tilt with Kc and Ki, warp with Kw and Kiw: u_i = u0 - 2 Kc tilt_i - 2 Kw warp_i - integral, height is left free.

    tilt_i is what the plane through the counted heights (least squares) lies over their mean at leg i, warp_i what the leg
    lies over the plane.  Both need the places of all legs: once a leg is off the others are coupled to their mean.
    """
    mean, p0, p1, p2 = 0.0, 0.0, 0.0, 0.0
    for q in range(settings.n_legs):
        if memory.legs[q].on == 0:
            cross_coupling(settings, memory, base)
            return
        mean += counted_height(settings, memory, q) / settings.n_legs
    for q in range(settings.n_legs):
        told = settings.legs[q]
        above = counted_height(settings, memory, q) - mean
        p0 += told.plane[0] * above
        p1 += told.plane[1] * above
        p2 += told.plane[2] * above
    span = settings.tick * settings.control_every
    for q in range(settings.n_legs):
        told = settings.legs[q]
        above = memory.direction * (counted_height(settings, memory, q) - mean)
        tilt = memory.direction * (told.plane[0] * p0 + told.plane[1] * p1 + told.plane[2] * p2)
        warp = above - tilt
        lead = 2.0 * (settings.gain * tilt + settings.warp_gain * warp)
        growth = 2.0 * span * (settings.integral_gain * tilt + settings.warp_integral_gain * warp)
        push(settings, memory.legs[q], base, lead, growth)
