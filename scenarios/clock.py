"""The controller's clock: calls that are left out, outputs that come late, and time stamps that run fast or slow."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from plant.draws import PURPOSE_JITTER, block, uniform
from plant.kernel import kernel

__all__ = ["clock_now", "draw_delay", "shown", "stamp_pulses"]


@kernel
def shown(clock: Any, instant: float) -> float:
    """What the controller's clock shows [us] at the true ``instant`` [us]."""
    return clock.shown_us + (instant - clock.from_us) * (1.0 + clock.rate)  # type: ignore[no-any-return]


@kernel
def clock_now(clock: Any, now: int) -> int:
    """Whole microseconds that the controller's clock shows at the true instant ``now`` [us].

    Neglects: that the calls themselves, made by the same clock, come as much sooner or later.
    """
    if clock.rate == 0.0 and clock.from_us == 0.0:
        return now
    return math.floor(shown(clock, float(now)))


@kernel
def stamp_pulses(clock: Any, seen: Any) -> None:
    """Put the stamps of the pulses just taken on the controller's clock."""
    if clock.rate == 0.0 and clock.from_us == 0.0:
        return
    number = seen.pulses if seen.pulses < len(seen.stamp_us) else len(seen.stamp_us)
    for k in range(number):
        seen.stamp_us[k] = shown(clock, seen.stamp_us[k])


@kernel
def draw_delay(rig: Any) -> None:
    """Compute delay of the present tick, with its jitter, in whole sub-steps and inside the tick."""
    world, clock = rig.world, rig.clock
    words = block(world.seed, world.run, np.uint64(rig.ticks), np.uint64(PURPOSE_JITTER), np.uint64(0))
    steps = clock.delay_steps + int(uniform(words[0]) * (clock.jitter + 1))
    world.delay_steps = steps if steps < world.steps_per_tick else world.steps_per_tick - 1
