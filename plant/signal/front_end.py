"""The analogue front end: coupling, difference stage, band-pass, rectifier, and what it lives on.

Every stage is a first-order section with the exact response to a held input: y += (1 - exp(-2 pi f dt)) (x - y) for a
low-pass; a high-pass passes x less that.  Order:

1. RC damping across the pair (low-pass).
2. Coupling capacitor on each wire (high-pass); clamped for as long as the comparator is blanked, so that the step of a
   switching edge, tens of volts against tenths, is taken up at once and not in many time constants.  The ripple detector
   has a second high-pass behind it: the slope of the inrush is large against the ripple.
3. Difference stage: finite bandwidth, and a difference of 1/CMRR of the mean voltage of both wires; or one wire alone.
4. Low-pass of the band-pass, gain.
5. Bound of the output swing: of the own supply, or of what is stored from the wires (fed by the signal).
6. Rectifier.
"""

from __future__ import annotations

from typing import Any

from plant.kernel import kernel
from plant.portable import exponential
from plant.signal.records import AMPS, COMMON, EDGE, VOLTS

__all__ = ["STAGES", "pass_front", "pass_stages", "share_of"]

_TURN = 6.283185307179586
STAGES = ("damped", "coupled", "difference", "output", "feed")
"""Rows of ``pass_stages``."""


@kernel
def share_of(frequency: float, dt: float) -> float:
    """Share of a new value per sample of a low-pass with a corner ``frequency`` [Hz]; 1 where it is 0: no stage."""
    if frequency <= 0.0:
        return 1.0
    turns = _TURN * frequency * dt
    return 1.0 - exponential(-turns) if turns < 600.0 else 1.0


@kernel
def _bounded(front: Any, value: float) -> float:
    """Output within the swing, which follows the feed where the stage lives on the wires."""
    swing = front.swing
    if front.fed == 1:
        if front.awake < front.wake_samples:
            return 0.0
        half = 0.5 * front.feed
        swing = half if swing <= 0.0 or half < swing else swing
    if swing > 0.0:
        value = min(value, swing)
        value = max(value, -swing)
    return value


@kernel
def _feed(front: Any, volts: float) -> None:
    """Charge or empty the store of a stage that lives on the motor wires; it sleeps below a least voltage."""
    size = abs(volts)
    share = front.feed_rise if size > front.feed else front.feed_fall
    front.feed += share * (size - front.feed)
    if front.feed < front.feed_least:
        front.awake = 0
    else:
        front.awake += 1


@kernel
def _clamped(front: Any, edge: float) -> bool:
    """Whether the coupling is held discharged now, because the driver has just switched."""
    if edge > 0.0:
        samples = front.clamp_switch if edge > 1.5 else front.clamp_carrier
        front.clamp = samples if samples > front.clamp else front.clamp
    if front.clamp > 0:
        front.clamp -= 1
        return True
    return False


@kernel
def _next(front: Any, volts: float, common: float, edge: float) -> float:
    """Output of the chain for the next sample."""
    if front.fed == 1:
        _feed(front, volts)
    if front.one_wire == 1:
        volts = 0.5 * volts + common
    if front.begun == 0:
        # what stood on the wires before the first sample is settled in every stage
        front.damped = volts
        front.coupled = volts if front.high > 0.0 else 0.0
        front.begun = 1
    front.damped += front.damping * (volts - front.damped)
    front.coupled += front.high * (front.damped - front.coupled)
    if _clamped(front, edge) and front.high > 0.0:
        front.coupled = front.damped
    value = front.damped - front.coupled
    front.slow += front.high_again * (value - front.slow)
    value -= front.slow
    if front.one_wire == 0:
        value += front.rejection * common
    front.differed += front.band * (value - front.differed)
    front.passed += front.low * (front.differed - front.passed)
    value = _bounded(front, front.gain * front.passed)
    return -value if front.rectify == 1 and value < 0.0 else value


@kernel
def pass_front(front: Any, block: Any, samples: int, out: Any) -> None:
    """Pass ``samples`` of a ``block`` of waveform through the chain into ``out`` [V]."""
    for j in range(samples):
        if front.current == 1:
            out[j] = _next(front, block[AMPS, j], 0.0, 0.0)
        else:
            out[j] = _next(front, block[VOLTS, j], block[COMMON, j], block[EDGE, j])


@kernel
def pass_stages(front: Any, block: Any, samples: int, out: Any) -> None:
    """The same with every stage on its own row of ``out``, shape (len(STAGES), samples), for a plot."""
    for j in range(samples):
        if front.current == 1:
            value = _next(front, block[AMPS, j], 0.0, 0.0)
        else:
            value = _next(front, block[VOLTS, j], block[COMMON, j], block[EDGE, j])
        out[0, j] = front.damped
        out[1, j] = front.damped - front.coupled
        out[2, j] = front.differed
        out[3, j] = value
        out[4, j] = front.feed
