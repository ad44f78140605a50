"""What the count quantum does to a loop: whether it can keep a limit cycle going, and how large.

Counts are a mid-tread quantiser of one count.  For a sine its gain lies between 0 and 4/pi, so a loop with a gain margin
above 4/pi has no such cycle by the describing function; between that and 1 it may; below 1 it is unstable without it.
While all legs run, the counts of each pass through all phases, which tends to break a cycle up: the verdict is cautious.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum
from math import inf, sqrt

from sync.design.describing import QUANTISER_PEAK, limit_cycle_amplitude, quantiser
from sync.design.margins import Margins

__all__ = ["SENTENCES", "QuantumCheck", "QuantumVerdict", "check_quantum"]

_MOST = 1e4  # counts


class QuantumVerdict(IntEnum):
    """What the count quantum may do."""

    NONE = 0
    MAY_CYCLE = 1
    UNSTABLE = 2


SENTENCES = {
    QuantumVerdict.NONE: "No limit cycle from the count quantum: the gain margin is above 1.27, the most a quantiser adds.",
    QuantumVerdict.MAY_CYCLE: (
        "The count quantum may sustain a limit cycle: the gain margin lies between 1 and 1.27. "
        "Lower the gain, shorten the tick or the delay, or use more counts per mm."
    ),
    QuantumVerdict.UNSTABLE: "The loop is unstable whatever the quantum. Lower the gain, or shorten the tick or the delay.",
}


@dataclass(frozen=True)
class QuantumCheck:
    """Verdict, its sentence, the amplitude of the cycle [counts of one leg] and its frequency [rad/s] where it may exist."""

    verdict: QuantumVerdict
    sentence: str
    amplitude: float
    omega: float


def check_quantum(margins: Margins) -> QuantumCheck:
    """Judge a loop by its margins.

    Source: quantiser of Gelb and Vander Velde (1968), see ``sync.design.describing``.  Neglects: saturation of the duty, which
    bounds an unstable loop, and the hunting within one count that any integral makes.
    """
    if not margins.stable or margins.gain <= 1.0:
        return QuantumCheck(QuantumVerdict.UNSTABLE, SENTENCES[QuantumVerdict.UNSTABLE], inf, margins.phase_crossover)
    if margins.gain > QUANTISER_PEAK:
        return QuantumCheck(QuantumVerdict.NONE, SENTENCES[QuantumVerdict.NONE], 0.0, margins.phase_crossover)
    amplitude = limit_cycle_amplitude(lambda size: quantiser(1.0, size), margins.gain, sqrt(0.5), _MOST)
    return QuantumCheck(QuantumVerdict.MAY_CYCLE, SENTENCES[QuantumVerdict.MAY_CYCLE], amplitude, margins.phase_crossover)
