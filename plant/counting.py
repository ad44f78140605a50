"""Counting at count level: each true commutation is heard, missed or doubled, by phase of the move.

Phases: switch-on edge (extra pulses), start (misses owed), run (probabilities), switch-off edge (extra pulses, and nothing
heard during the flyback), coast end (nothing below a speed).  Voltage spikes cannot be heard while the wires are shorted,
current ripple not while no current flows.  A pulse carries neither sign nor place.

Probabilities are constants of the file, or come from a table by speed and current that the signal level has written.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from plant.bridge import BRAKE, DRIVE
from plant.draws import PURPOSE_COUNT, PURPOSE_EDGE, PURPOSE_START, block, normals, poisson, uniform
from plant.kernel import kernel
from plant.pulse_buffer import false_pulse, push_pulse
from plant.rated import rates_at
from plant.second_channel import hear_second
from plant.trouble import spoiled, talk_across

__all__ = ["BOTH", "HALL", "RIPPLE", "SPIKES", "hear", "switch_edge"]

SPIKES, RIPPLE, HALL, BOTH = 0, 1, 2, 3
_EDGE_SPREAD_US = 200.0


@kernel
def _audible(leg: Any, instant: float) -> bool:
    """Whether the detector could hear a commutation now at all."""
    detector = leg.detector
    bridge = leg.bridge
    if detector.kind == HALL:
        return True
    current = leg.motor.current
    size = current if current >= 0.0 else -current
    if detector.kind == RIPPLE:
        return size > detector.quiet_current  # type: ignore[no-any-return]
    if bridge.mode == BRAKE:
        return False
    if bridge.mode == DRIVE:
        return True
    if instant - bridge.switched_us < detector.flyback * 1e6:
        return False
    speed = leg.motor.speed
    pace = speed if speed >= 0.0 else -speed
    return pace >= detector.tail_speed  # type: ignore[no-any-return]


@kernel
def _chance(world: Any, leg: Any) -> float:
    """Uniform number of the present commutation; one block serves four commutations."""
    ordinal = leg.motor.ordinal
    detector = leg.detector
    group = (ordinal + 3) // 4
    if detector.words_of != group:
        words = block(world.seed, world.run, np.uint64(group), np.uint64(PURPOSE_COUNT), leg.key)
        for k in range(4):
            detector.words[k] = words[k]
        detector.words_of = group
    return uniform(detector.words[ordinal % 4])


@kernel
def _add_pulse(detector: Any, instant: float, chance: float, rates: tuple[float, float], missed: bool) -> None:
    """Add the double or the false pulse on whose share of the draw ``chance`` falls; where it falls inside sets the delay.

    ``rates`` are those of double and false pulses per commutation.
    """
    if chance < 0.0:
        return
    if chance < rates[0]:
        if missed:
            return
        span = detector.double_delay_high - detector.double_delay_low
        false_pulse(detector, instant + 1e6 * (detector.double_delay_low + chance / rates[0] * span))
    else:
        false_pulse(detector, instant + 1e3 * (chance - rates[0]) / rates[1])


@kernel
def hear(world: Any, leg: Any, instant: float) -> None:
    """A true commutation at ``instant`` [us]: decide whether it is heard, missed, doubled or joined by a false pulse."""
    motor = leg.motor
    detector = leg.detector
    motor.commuted += 1
    motor.ordinal += 1
    if detector.kind == BOTH:
        hear_second(world, leg)
    miss, double, false = detector.run_miss, detector.run_double, detector.run_false
    if detector.rated == 1:
        miss, double, false = rates_at(leg)
    rates = miss + false + double
    missed = not _audible(leg, instant)
    if detector.trouble.active == 1:
        missed = missed or spoiled(world, leg)
        talk_across(world, leg, instant)
    if not missed and detector.to_miss > 0:
        detector.to_miss -= 1
        missed = True
    chance = _chance(world, leg) if rates > 0.0 and detector.kind != HALL else 1.0
    missed |= chance < miss
    if missed:
        detector.missed += 1
    else:
        detector.heard += 1
        push_pulse(detector, instant)
    if chance < rates:
        _add_pulse(detector, instant, chance - miss, (double, false), missed)


@kernel
def switch_edge(world: Any, leg: Any, on: bool, now: float) -> None:
    """What a switch-on or switch-off does to the counting at ``now`` [us]: false pulses, and misses owed by the start."""
    detector = leg.detector
    if detector.kind == HALL:
        return
    mean = detector.edge_false_on if on else detector.edge_false_off
    edge = 2 * leg.bridge.starts if on else 2 * leg.bridge.stops + 1
    if mean > 0.0:
        words = block(world.seed, world.run, np.uint64(edge), np.uint64(PURPOSE_EDGE), leg.key)
        number = poisson(uniform(words[0]), mean)
        for k in range(number):
            false_pulse(detector, now + _EDGE_SPREAD_US * (k + uniform(words[1])))
    if on and (detector.start_miss_mean > 0.0 or detector.start_miss_sd > 0.0):
        words = block(world.seed, world.run, np.uint64(edge), np.uint64(PURPOSE_START), leg.key)
        owed = math.floor(detector.start_miss_mean + detector.start_miss_sd * normals(words)[0] + 0.5)
        if owed > 0:
            detector.to_miss += owed
