"""What spoils the counting beyond the detector's own errors: dead channels, a weak segment, crosstalk, noise from outside.

Behind one flag each: ``detector.trouble.active`` per commutation, ``world.troubled`` per tick.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from plant.bridge import DRIVE
from plant.draws import PURPOSE_CROSSTALK, PURPOSE_INTERFERENCE, PURPOSE_STEP, PURPOSE_WEAK, block, poisson, uniform
from plant.kernel import kernel
from plant.pulse_buffer import false_pulse

__all__ = ["pollute", "refresh_trouble", "spoiled", "talk_across"]

_SPRING_US = 3000.0
"""Time between the pulses of a gear that springs back; common practice, no source."""
_MOST = 64
"""False pulses from outside on one leg in one tick."""
_FOLLOWS = 0.2
"""Share per tick by which the high-pass in front of a comparator follows the supply; common practice, no source."""
_CALM = 0.25
"""Share of the least step below which a supply counts as calm again."""


@kernel
def refresh_trouble(world: Any) -> None:
    """Derive the flags after any change of a fault."""
    world.troubled = 0
    talked = 0
    for q in range(world.n_legs):
        trouble = world.legs[q].detector.trouble
        if trouble.noise_rate > 0.0 or trouble.step_mean > 0.0 or trouble.spring > 0:
            world.troubled = 1
        if trouble.talk > 0.0:
            talked = 1
    for q in range(world.n_legs):
        trouble = world.legs[q].detector.trouble
        own = trouble.dead == 1 or trouble.cut == 1 or trouble.weak_miss > 0.0
        trouble.active = 1 if own or talked == 1 else 0


@kernel
def spoiled(world: Any, leg: Any) -> bool:
    """Whether a commutation that could be heard is not: dead channel, broken wire, or the weak segment."""
    trouble = leg.detector.trouble
    if trouble.dead == 1 or trouble.cut == 1:
        return True
    if trouble.weak_miss <= 0.0:
        return False
    motor = leg.motor
    place = motor.place if leg.scratch.direction >= 0.0 else motor.place + 1
    if place % motor.commutations != trouble.weak_place:
        return False
    words = block(world.seed, world.run, np.uint64(motor.ordinal), np.uint64(PURPOSE_WEAK), leg.key)
    return uniform(words[0]) < trouble.weak_miss  # type: ignore[no-any-return]


@kernel
def talk_across(world: Any, leg: Any, instant: float) -> None:
    """What a commutation of ``leg`` at ``instant`` [us] does on the wires of the others.

    The draw is addressed by the commutation, both legs' names and nothing else.
    """
    for q in range(world.n_legs):
        other = world.legs[q]
        trouble = other.detector.trouble
        if trouble.talk <= 0.0 or other.key == leg.key:
            continue
        if trouble.talk_from >= 0 and world.legs[trouble.talk_from].key != leg.key:
            continue
        words = block(world.seed, world.run, np.uint64(leg.motor.ordinal), np.uint64(PURPOSE_CROSSTALK) ^ leg.key, other.key)
        if uniform(words[0]) < trouble.talk:
            false_pulse(other.detector, instant)


@kernel
def _interfere(world: Any, leg: Any, tick: int, span_us: float) -> None:
    """False pulses from outside during the coming tick of ``span_us`` [us]."""
    trouble = leg.detector.trouble
    key = np.uint64(0) if trouble.noise_common == 1 else leg.key
    at = tick * (_MOST // 4 + 1)
    words = block(world.seed, world.run, np.uint64(at), np.uint64(PURPOSE_INTERFERENCE), key)
    number = poisson(uniform(words[0]), trouble.noise_rate * span_us * 1e-6)
    number = number if number < _MOST else _MOST
    for k in range(number):
        if k % 4 == 0:
            words = block(world.seed, world.run, np.uint64(at + 1 + k // 4), np.uint64(PURPOSE_INTERFERENCE), key)
        share = uniform(words[0])
        if k % 4 == 1:
            share = uniform(words[1])
        elif k % 4 == 2:
            share = uniform(words[2])
        elif k % 4 == 3:
            share = uniform(words[3])
        false_pulse(leg.detector, float(world.time_us) + span_us * share)


@kernel
def _hear_step(world: Any, leg: Any, tick: int, step: float) -> None:
    """False pulses at a ``step`` [V] of the supply away from where it was some ticks ago; until it is calm it is one step."""
    trouble = leg.detector.trouble
    size = step if step >= 0.0 else -step
    if size < _CALM * trouble.step_least:
        trouble.step_over = 0
    if size < trouble.step_least or trouble.step_over == 1:
        return
    trouble.step_over = 1
    words = block(world.seed, world.run, np.uint64(tick), np.uint64(PURPOSE_STEP), leg.key)
    for k in range(poisson(uniform(words[0]), trouble.step_mean)):
        false_pulse(leg.detector, float(world.time_us) + 200.0 * (k + uniform(words[1])))


@kernel
def pollute(world: Any) -> None:
    """False pulses that do not come with a commutation, for the coming tick: noise, steps of the supply, springing back."""
    span = world.sub_step_us * world.steps_per_tick
    tick = world.time_us // span
    step = world.supply.voltage - world.supply.before
    for q in range(world.n_legs):
        leg = world.legs[q]
        trouble = leg.detector.trouble
        if trouble.noise_rate > 0.0:
            _interfere(world, leg, tick, float(span))
        if trouble.step_mean > 0.0:
            _hear_step(world, leg, tick, step)
        if trouble.spring > 0 and leg.motor.speed == 0.0 and leg.bridge.mode != DRIVE and leg.still_us > trouble.sprung_us:
            trouble.sprung_us = leg.still_us
            for k in range(trouble.spring):
                false_pulse(leg.detector, float(world.time_us) + _SPRING_US * k)
    world.supply.before += _FOLLOWS * step
