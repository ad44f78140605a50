"""What the obstacles feel: largest forces, when, and how the force of each attempt goes on, kept at every sub-step."""

from __future__ import annotations

from typing import Any

from plant.deck import spread_at
from plant.kernel import kernel
from plant.lift_off import release_now

__all__ = ["BOUNCE_US", "feel"]

BOUNCE_US = 100_000
"""A deck that comes back to the obstacle within this time [us] bounces; later it is another attempt. No source."""


@kernel
def feel(world: Any) -> None:
    """Forces between deck and obstacles at the present travels, and their score."""
    if spread_at(world, False):
        release_now(world)
    now = float(world.time_us)
    for j in range(world.contacts):
        contact = world.contact[j]
        if contact.force > 0.0:
            _score(world, contact, now)
        elif contact.touching == 1 and now - contact.last_us > BOUNCE_US:
            contact.touching = 0


@kernel
def _begin(contact: Any, now: float) -> None:
    """Begin an attempt at ``now`` [us]; each has a clock of its own."""
    contact.touching = 1
    contact.attempts += 1
    contact.attempt_peak = 0.0
    contact.clock_us = 0.0
    if contact.attempts == 1:
        contact.touch_us = now


@kernel
def _score_late(world: Any, contact: Any, now: float) -> None:
    """Score force late on the clock of the attempt."""
    since = now - contact.clock_us
    if since > 1e6 * world.late_after and contact.force > contact.late_peak:
        contact.late_peak = contact.force
        contact.late_us = now
    if since > 1e6 * world.last_after and contact.force > contact.last_peak:
        contact.last_peak = contact.force
        contact.last_peak_us = now


@kernel
def _score(world: Any, contact: Any, now: float) -> None:
    """Score the force of one obstacle at ``now`` [us]."""
    force = contact.force
    if contact.touching == 0:
        _begin(contact, now)
    contact.last_us = now
    if force > contact.attempt_peak:
        contact.attempt_peak = force
        if contact.attempts == 1:
            contact.first_peak = force
    if force > contact.peak:
        contact.peak = force
        contact.peak_us = now
    if contact.clock_us > 0.0:
        _score_late(world, contact, now)
    elif force > world.clock_force:
        contact.clock_us = now
