"""The decision at the end of the front end: Schmitt trigger, lockout, blanking."""

from __future__ import annotations

from typing import Any

from plant.kernel import kernel
from plant.signal.records import AMPS, EDGE

__all__ = ["decide"]

_LONG = 1 << 40


@kernel
def _blanked(one: Any, edge: float) -> bool:
    """Whether an edge that the driver knows of keeps the comparator quiet now."""
    if edge > 0.0:
        samples = one.blank_switch if edge > 1.5 else one.blank_carrier
        one.blank = samples if samples > one.blank else one.blank
    if one.blank > 0:
        one.blank -= 1
        return True
    return False


@kernel
def _locked(one: Any) -> bool:
    """Whether the last pulse is so fresh that another is not believed."""
    least = one.lockout
    if one.adaptive > 0.0:
        share = one.adaptive * one.period
        least = int(share) if share > least else least
    return one.since < least  # type: ignore[no-any-return]


@kernel
def _pulse(one: Any, at_us: float, pulses: Any) -> None:
    """Put a pulse out; what came after a rest is no period."""
    one.period = float(one.since) if one.since < one.rest else 0.0
    one.since = 0
    if one.pulses < len(pulses):
        pulses[one.pulses] = at_us + one.delay_us
        one.pulses += 1
    else:
        one.lost += 1


@kernel
def decide(one: Any, values: Any, block: Any, span: tuple[int, float, float], pulses: Any) -> None:
    """Find the pulses in a block of the front end's output.

    Parameters
    ----------
    one : COMPARATOR record
        Carried from block to block.
    values : array
        Output of the front end [V].
    block : array
        The waveform it came from, for the switching edges and the gate current.
    span : tuple
        Samples, instant of the first [us], sample period [us].
    pulses : array
        Instants [us]; filled from ``one.pulses`` on.
    """
    samples, start_us, dt_us = span
    if one.pulses == 0 and one.since == 0:
        one.since = _LONG
    for j in range(samples):
        value = values[j]
        one.since += 1
        threshold = one.threshold
        if one.tracking > 0.0:
            one.held = value if value > one.held else one.held * one.hold_decay
            tracked = one.tracking * one.held
            threshold = tracked if tracked > threshold else threshold
        quiet = _blanked(one, block[EDGE, j])
        if one.least_current > 0.0:
            quiet |= abs(block[AMPS, j]) < one.least_current
        if one.high == 1:
            one.high = 0 if value < threshold * (1.0 - one.hysteresis) else 1
        elif value > threshold:
            one.high = 1
            if not quiet and not _locked(one):
                _pulse(one, start_us + dt_us * j, pulses)
