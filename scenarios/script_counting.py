"""Rows of the script that spoil what is heard, and how such a row ends again."""

from __future__ import annotations

from typing import Any

from plant.kernel import kernel
from plant.pulse_buffer import false_pulse, inject
from plant.trouble import refresh_trouble

__all__ = ["do_counting", "undo_counting"]

_EXTRA, _LOSE = 1, 2
_RATES, _WEAK, _TAIL, _DEAD, _STUCK_HIGH, _SWAP, _SPRING, _NOISE, _TALK, _STEP = 31, 32, 33, 34, 35, 36, 37, 38, 39, 40


@kernel
def _set_rates(detector: Any, values: Any) -> None:
    """Probabilities of misses, false pulses and doubles, and false pulses per switching; a negative one stays."""
    if values[0] >= 0.0:
        detector.run_miss = values[0]
    if values[1] >= 0.0:
        detector.run_false = values[1]
    if values[2] >= 0.0:
        detector.run_double = values[2]
    if values[3] >= 0.0:
        detector.edge_false_on = values[3]


@kernel
def _keep_rates(detector: Any, kept: Any) -> None:
    kept[0] = detector.run_miss
    kept[1] = detector.run_false
    kept[2] = detector.run_double
    kept[3] = detector.edge_false_on
    kept[4] = detector.edge_false_off


@kernel
def _spoil_detector(rig: Any, row: Any, detector: Any) -> None:
    """Faults of the detector itself."""
    action, now = row.action, float(rig.world.time_us)
    if action == _EXTRA:
        inject(detector, int(row.values[0]), row.values[1], now)
    elif action == _LOSE:
        detector.to_miss += int(row.values[0])
    elif action == _RATES:
        _keep_rates(detector, row.kept)
        _set_rates(detector, row.values)
        if row.values[3] >= 0.0:
            detector.edge_false_off = row.values[3]
    elif action == _TAIL:
        row.kept[0] = detector.tail_speed
        detector.tail_speed = row.values[0]
    elif action == _STUCK_HIGH:
        false_pulse(detector, now)
        detector.trouble.dead = 1
    elif action == _DEAD:
        detector.trouble.dead = 1


@kernel
def _spoil_wires(row: Any, trouble: Any) -> None:
    """What reaches the wires of the detector from the motor or from outside."""
    action = row.action
    if action == _WEAK:
        trouble.weak_place = int(row.values[0])
        trouble.weak_miss = row.values[1]
    elif action == _SPRING:
        trouble.spring = int(row.values[0])
    elif action == _NOISE:
        trouble.noise_rate = row.values[0]
        trouble.noise_common = int(row.values[1])
    elif action == _TALK:
        trouble.talk = row.values[0]
        trouble.talk_from = int(row.values[1])
    elif action == _STEP:
        trouble.step_mean = row.values[0]
        trouble.step_least = row.values[1]


@kernel
def _clean_wires(action: int, trouble: Any) -> None:
    """End what reached the wires."""
    if action == _WEAK:
        trouble.weak_miss = 0.0
    elif action == _SPRING:
        trouble.spring = 0
    elif action == _NOISE:
        trouble.noise_rate = 0.0
    elif action == _TALK:
        trouble.talk = 0.0
    elif action == _STEP:
        trouble.step_mean = 0.0


@kernel
def _mend(row: Any, detector: Any) -> None:
    """End what ``row`` did to a detector."""
    action, trouble = row.action, detector.trouble
    if action == _RATES:
        _set_rates(detector, row.kept)
        detector.edge_false_off = row.kept[4]
    elif action == _TAIL:
        detector.tail_speed = row.kept[0]
    elif action in (_DEAD, _STUCK_HIGH):
        trouble.dead = 0
    else:
        _clean_wires(action, trouble)


@kernel
def _swap(rig: Any, one: int, other: int) -> None:
    """Exchange the counting inputs of two legs; done twice it is undone."""
    if rig.swapped == 0:
        for q in range(rig.world.n_legs):
            rig.hears[q] = q
    rig.swapped = 1
    rig.hears[one], rig.hears[other] = rig.hears[other], rig.hears[one]


@kernel
def do_counting(rig: Any, row: Any) -> None:
    """What the ``row`` of a counting fault does; what it replaces is kept in the row."""
    world = rig.world
    if row.action == _SWAP:
        _swap(rig, int(row.leg), int(row.values[0]))
        return
    if row.action == _STEP and world.troubled == 0:
        world.supply.before = world.supply.voltage
    for q in range(world.n_legs):
        if row.leg < 0 or row.leg == q:
            detector = world.legs[q].detector
            _spoil_detector(rig, row, detector)
            _spoil_wires(row, detector.trouble)
            if row.action == _SPRING:
                detector.trouble.sprung_us = world.legs[q].still_us
    refresh_trouble(world)


@kernel
def undo_counting(rig: Any, row: Any) -> None:
    """End what the ``row`` of a counting fault did."""
    world = rig.world
    if row.action == _SWAP:
        _swap(rig, int(row.leg), int(row.values[0]))
        return
    for q in range(world.n_legs):
        if row.leg < 0 or row.leg == q:
            _mend(row, world.legs[q].detector)
    refresh_trouble(world)
