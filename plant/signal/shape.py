"""The shape check: digitise the group behind each candidate and let ``plant.signal.groups`` judge it.

A candidate is a crossing of a threshold that is more sensitive than that of a plain Schmitt trigger.  From a little before
it the signed output of the front end is digitised for about 60 us, enough for a break and the make beside it.

Estimates: speed from the period while driven, from the generator voltage over the learnt flux while coasting; direction
from the sequence of polarities while driven (unknown while the signs disagree) and from the sign of the generator voltage
while coasting; power-off from the flyback; wear from how much the sizes scatter about what their segments have learnt.
"""

from __future__ import annotations

from typing import Any

from plant.kernel import kernel
from plant.signal.groups import SETTLED, close_group, pace_of
from plant.signal.records import EDGE, SHAPE_BEFORE, SHAPE_PLACES, VOLTS

__all__ = ["check_shapes", "prepare_shape"]

_TURN = 6.283185307179586
_LONG = 1 << 40
_CUT = 400
"""Samples after an edge of the carrier during which a group counts as cut by blanking."""
_TURNED = 100
"""Samples for which the wires carry the other sign before that is more than the off-time of a carrier; a large voltage of the
other sign, the flyback with all switches open, tells at once."""


@kernel
def prepare_shape(shape: Any) -> None:
    """Nothing learnt, nothing heard."""
    shape.since = _LONG
    shape.armed = 1
    shape.favour_driven = float(shape.polarity_driven)
    shape.favour_coasting = float(shape.polarity_coasting)
    for k in range(shape.commutations):
        shape.share[k] = 1.0


@kernel
def _note_edge(shape: Any, edge: float) -> None:
    """Take in what the driver says of its switches."""
    if edge > 1.5:
        shape.driven = 1 if edge < 2.5 else 0
        shape.blank = shape.blank_switch
        shape.sense = 0.0
        # supply and current change, and the size of the sparks with them
        shape.level = 0.0
        if shape.driven == 1:
            # from rest or from the other direction: what the period was says nothing
            shape.off_us = 0.0
            shape.periods = 0
    elif edge > 0.0:
        shape.blank = max(shape.blank, shape.blank_carrier)
        shape.cut = _CUT


@kernel
def _watch_wires(shape: Any, volts: float, now_us: float) -> None:
    """Follow the voltage of the wires: power-off by the other sign, direction."""
    mean = shape.volts
    shape.turned = shape.turned + 1 if volts * mean < 0.0 and abs(mean) > 1.0 else 0
    if shape.off_us == 0.0 and (shape.turned > _TURNED or (shape.turned > 4 and abs(volts) > 0.5 * abs(mean))):
        shape.off_us = now_us
    if shape.turned == 0:
        shape.volts += 0.01 * (volts - mean)
    elif shape.turned > _TURNED:
        shape.volts = volts
    if shape.driven == 1:
        shape.direction = 1 if shape.sense > 0.5 else -1 if shape.sense < -0.5 else 0
    elif shape.blank == 0:
        shape.direction = 1 if shape.volts > 0.5 else -1 if shape.volts < -0.5 else 0


@kernel
def _take(shape: Any, value: float, now_us: float, dt: float, pulses: Any) -> None:
    """Take one value: into the group at hand, or into the recent ones."""
    if shape.filled > 0:
        shape.group[shape.filled] = value
        shape.filled += 1
        if shape.filled == SHAPE_PLACES:
            close_group(shape, dt, pulses)
        return
    for k in range(SHAPE_BEFORE - 1):
        shape.recent[k] = shape.recent[k + 1]
    shape.recent[SHAPE_BEFORE - 1] = value


@kernel
def _tell_speed(shape: Any, dt: float) -> None:
    """Speed: by the period, by the generator voltage while that is known to tell; at most what silence allows.

    None (0: not reported) after a rest, and until so many groups have been accepted that the period is one.
    """
    pace = pace_of(shape)
    if shape.since >= shape.rest or (shape.driven == 1 and shape.periods <= SETTLED):
        pace = 0.0
    elif shape.driven == 1 and shape.since > shape.period:
        pace = min(pace, 1.0 / shape.since)
    shape.speed = _TURN * pace / (shape.commutations * dt)


@kernel
def check_shapes(shape: Any, values: Any, block: Any, span: tuple[int, float, float], pulses: Any) -> None:
    """Find and judge the candidates in a block of the front end's signed output.

    Parameters
    ----------
    shape : SHAPE record
        Carried from block to block.
    values : array
        Output of the front end, not rectified [V].
    block : array
        The waveform it came from.
    span : tuple
        Samples, instant of the first [us], sample period [us].
    pulses : array
        Instants [us] of accepted groups; filled from ``shape.pulses`` on.
    """
    samples, start_us, dt_us = span
    for j in range(samples):
        now_us = start_us + dt_us * j
        shape.cut -= 1 if shape.cut > 0 else 0
        if block[EDGE, j] > 0.0:
            _note_edge(shape, block[EDGE, j])
        _watch_wires(shape, block[VOLTS, j], now_us)
        shape.since += 1
        shape.phase += pace_of(shape)
        shape.tick += 1
        size = abs(values[j])
        if shape.blank > 0:
            shape.blank -= 1
            shape.armed = 0
        elif shape.filled == 0 and shape.armed == 1 and size > shape.threshold:
            shape.armed = 0
            shape.begun_us = now_us
            for k in range(SHAPE_BEFORE):
                shape.group[k] = shape.recent[k]
            shape.filled = SHAPE_BEFORE
            shape.tick = shape.every
        if shape.filled == 0 and size < shape.threshold * (1.0 - shape.hysteresis):
            shape.armed = 1
        if shape.tick >= shape.every:
            shape.tick = 0
            _take(shape, values[j], now_us, 1e-6 * dt_us, pulses)
    _tell_speed(shape, 1e-6 * dt_us)
