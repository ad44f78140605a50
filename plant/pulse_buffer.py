"""The buffer of heard pulses between detector and controller: instants in order of time, true and false ones alike."""

from __future__ import annotations

import math
from typing import Any

from plant.kernel import kernel

__all__ = ["false_pulse", "inject", "push_pulse", "take_pulses"]


@kernel
def push_pulse(detector: Any, instant: float) -> None:
    """Put a pulse at ``instant`` [us] into the buffer, in order of time; a full buffer counts it as lost."""
    n = detector.waiting
    if n >= len(detector.pulse_us):
        detector.lost += 1
        return
    k = n
    while k > 0 and detector.pulse_us[k - 1] > instant:
        detector.pulse_us[k] = detector.pulse_us[k - 1]
        k -= 1
    detector.pulse_us[k] = instant
    detector.waiting = n + 1


@kernel
def take_pulses(detector: Any, now: float, timer: float, stamps: Any) -> int:
    """Move the pulses up to ``now`` [us] into ``stamps``, rounded down to the ``timer`` resolution [us]; their number."""
    n = 0
    while n < detector.waiting and detector.pulse_us[n] <= now:
        instant = detector.pulse_us[n]
        if timer > 0.0:
            instant = math.floor(instant / timer) * timer
        stamps[n] = instant
        n += 1
    for k in range(n, detector.waiting):
        detector.pulse_us[k - n] = detector.pulse_us[k]
    detector.waiting -= n
    return n


@kernel
def false_pulse(detector: Any, instant: float) -> None:
    """A pulse at ``instant`` [us] that is no commutation; a dead channel gives none."""
    if detector.trouble.dead == 1 or detector.trouble.cut == 1:
        return
    push_pulse(detector, instant)
    detector.extra += 1
    detector.heard += 1


@kernel
def inject(detector: Any, number: int, spacing: float, now: float) -> None:
    """Add ``number`` false pulses from ``now`` [us], ``spacing`` [s] apart; those that find the buffer full are lost."""
    for k in range(number):
        false_pulse(detector, now + 1e6 * spacing * k)
