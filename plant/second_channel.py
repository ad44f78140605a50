"""A second counting channel: current ripple beside voltage spikes, so that the controller can vote.

It hears while current flows, with the run errors of the detector drawn on their own, and only counts: no time stamps.
What is done to the first channel (bursts, dead channel, tail) leaves it untouched.

Neglects: false pulses of switching edges, doubles, and everything that spoils both channels together.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from plant.draws import PURPOSE_SECOND, block, uniform
from plant.kernel import kernel

__all__ = ["hear_second"]


@kernel
def hear_second(world: Any, leg: Any) -> None:
    """A true commutation: the second channel hears it, misses it, or adds a false pulse."""
    detector = leg.detector
    current = leg.motor.current
    size = current if current >= 0.0 else -current
    if size <= detector.quiet_current:
        return
    chance = uniform(block(world.seed, world.run, np.uint64(leg.motor.ordinal), np.uint64(PURPOSE_SECOND), leg.key)[0])
    if chance >= detector.run_miss:
        detector.second += 1
    if chance > 1.0 - detector.run_false:
        detector.second += 1
