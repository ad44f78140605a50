"""The shape check: digitise the group behind each candidate, compare it with what its commutation has learnt, judge it.

A candidate is a crossing of a threshold that is more sensitive than that of a plain Schmitt trigger.  From a little before
it the signed output of the front end is digitised for about 60 us, enough for a break and the make beside it.  Judged in
this order:

too soon    nearer to the last accepted candidate than a share of the expected period: a double
too small   below a share of the size that this commutation of the revolution has learnt, at the level of now
unlike      its correlation with the learnt group, signs aside, is below a least one

While the carrier chops, blanking cuts the groups; after a rest, and when nothing has been accepted for two and a half
periods, what was learnt is in doubt.  Then size and spacing alone decide, by the plain threshold.  A revolution is c
commutations, so the number of accepted candidates tells which of the c a group belongs to; a gap of about two periods moves
on by two.  What is learnt is the mean of the accepted groups, each brought to length one.

Estimates: speed from the periods of a revolution; direction from the sequence of polarities while driven (unknown while the
signs disagree) and from the sign of the generator voltage while coasting; power-off from the flyback; wear from how much
the sizes scatter about what their segments have learnt.

Neglects: which commutation it was after a rest, or after a miss and a double together: then it learns again, slowly.
"""

from __future__ import annotations

import math
from typing import Any

from plant.kernel import kernel
from plant.signal.records import EDGE, SHAPE_BEFORE, SHAPE_PLACES, VOLTS

__all__ = ["ACCEPTED", "TOO_SMALL", "TOO_SOON", "UNLIKE", "check_shapes", "prepare_shape"]

ACCEPTED, TOO_SOON, TOO_SMALL, UNLIKE = 0, 1, 2, 3
_TURN = 6.283185307179586
_LONG = 1 << 40
_LEARN_FIRST = 3
"""Groups of a commutation that are taken in before any is compared."""
_CUT = 400
"""Samples after an edge of the carrier during which a group counts as cut by blanking."""
_PATIENCE = 2.5
"""Periods without an accepted group after which what has been learnt is in doubt."""
_SETTLED = 5
"""Periods after a rest before spacing is judged: a start halves it from one to the next."""
_TURNED = 100
"""Samples for which the wires carry the other sign before that is more than the off-time of a carrier; a large voltage of the
other sign, the flyback with all switches open, tells at once."""
_FOLLOW = 0.3
"""Share of the newest in period and level."""


@kernel
def prepare_shape(shape: Any) -> None:
    """Nothing learnt, nothing heard."""
    shape.since = _LONG
    shape.armed = 1
    for k in range(shape.commutations):
        shape.share[k] = 1.0


@kernel
def _length(shape: Any) -> float:
    """Root of the sum of squares of the group at hand."""
    total = 0.0
    for k in range(SHAPE_PLACES):
        total += shape.group[k] * shape.group[k]
    return math.sqrt(total)


@kernel
def _peak(shape: Any) -> float:
    """Value of the largest size in the group at hand, with its sign."""
    best = 0.0
    for k in range(SHAPE_PLACES):
        if abs(shape.group[k]) > abs(best):
            best = shape.group[k]
    return best


@kernel
def _likeness(shape: Any, place: int, length: float) -> float:
    """Correlation of the group at hand with the one that its commutation has learnt, signs aside."""
    total, own = 0.0, 0.0
    for k in range(SHAPE_PLACES):
        mean = shape.pattern[place * SHAPE_PLACES + k]
        total += mean * shape.group[k]
        own += mean * mean
    if own == 0.0 or length == 0.0:
        return 0.0
    return abs(total) / (length * math.sqrt(own))


@kernel
def _halved(shape: Any, size: float) -> bool:
    """Whether the period is twice what it should be: a group of full size has come half-way, three times running."""
    part = shape.since / shape.period
    if part < 0.4 or part > 0.6 or size < 0.5 * shape.level:
        return False
    shape.halves += 1
    if shape.halves < 3:
        return False
    shape.period *= 0.5
    shape.halves = 0
    return True


@kernel
def _judge(shape: Any, place: int, size: float, length: float) -> int:
    """How the group at hand ends."""
    if shape.since < shape.lockout:
        return TOO_SOON
    if shape.periods > _SETTLED and shape.since < shape.least_period * shape.period:
        return ACCEPTED if _halved(shape, size) else TOO_SOON
    lost = shape.periods == 0 or shape.since >= shape.rest or shape.since > _PATIENCE * shape.period
    if shape.cut > 0 or lost:
        return ACCEPTED if size > shape.plain_threshold else TOO_SMALL
    if shape.learnt[place] < _LEARN_FIRST:
        return ACCEPTED
    if size < shape.least_size * shape.level * shape.share[place]:
        return TOO_SMALL
    if _likeness(shape, place, length) < shape.likeness:
        return UNLIKE
    return ACCEPTED


@kernel
def _relearn(shape: Any, place: int, peak: float, length: float) -> None:
    """Take in a group that came when one was due but was refused: or what has once been learnt wrongly would last."""
    if shape.cut > 0 or shape.periods < 3 or length == 0.0:
        return
    if shape.since < 0.7 * shape.period or shape.since > 1.4 * shape.period:
        return
    sign = 1.0 if peak > 0.0 else -1.0
    for k in range(SHAPE_PLACES):
        at = place * SHAPE_PLACES + k
        shape.pattern[at] += shape.learning * (sign * shape.group[k] / length - shape.pattern[at])
    shape.share[place] += shape.learning * (abs(peak) / shape.level - shape.share[place])


@kernel
def _learn(shape: Any, place: int, peak: float, length: float) -> None:
    """Take the group at hand into what its commutation has learnt, and its size into level and wear."""
    size = abs(peak)
    sign = 1.0 if peak > 0.0 else -1.0
    first = shape.learnt[place] == 0
    share = 1.0 if first else shape.learning
    for k in range(SHAPE_PLACES):
        at = place * SHAPE_PLACES + k
        shape.pattern[at] += share * (sign * shape.group[k] / length - shape.pattern[at])
    if shape.level > 0.0:
        expected = shape.level * shape.share[place]
        shape.wear += 0.02 * (abs(size - expected) / expected - shape.wear)
        shape.share[place] += shape.learning * (size / shape.level - shape.share[place])
        shape.level += _FOLLOW * (size / shape.share[place] - shape.level)
    else:
        shape.level = size
    shape.learnt[place] += 1


@kernel
def _follow(shape: Any, dt: float) -> int:
    """Take the spacing of an accepted group into period and speed; commutations since the last accepted one."""
    if shape.since >= shape.rest:
        shape.periods = 0
        return 1
    passed = 1
    if shape.periods > 2:
        passed = math.floor(shape.since / shape.period + 0.5)
        passed = min(max(passed, 1), 3)
        shape.pairs = shape.pairs + 1 if passed == 2 else 0
        if shape.pairs > 2:
            # not every second one missed, three times running: the period is half of what it should be
            passed, shape.pairs, shape.period = 1, 0, float(shape.since)
    spacing = shape.since / passed
    shape.period = spacing if shape.periods == 0 else shape.period + _FOLLOW * (spacing - shape.period)
    shape.periods += 1
    shape.speed = _TURN / (shape.commutations * shape.period * dt)
    return passed


@kernel
def _close(shape: Any, dt: float, pulses: Any) -> None:
    """Judge the group at hand, which is whole now."""
    held = (SHAPE_PLACES - SHAPE_BEFORE) * shape.every
    shape.filled = 0
    shape.since -= held
    length, peak = _length(shape), _peak(shape)
    place = (shape.place + 1) % shape.commutations
    end = _judge(shape, place, abs(peak), length)
    shape.ended[end] += 1
    if end != ACCEPTED:
        if end != TOO_SOON:
            _relearn(shape, place, peak, length)
        shape.since += held
        return
    shape.place += _follow(shape, dt)
    if shape.cut == 0:
        _learn(shape, shape.place % shape.commutations, peak, length)
    if shape.driven == 1:
        shape.sense += 0.1 * ((1.0 if peak > 0.0 else -1.0) * shape.polarity_driven - shape.sense)
    shape.since = held
    if shape.pulses < len(pulses):
        # known only when the group is whole
        pulses[shape.pulses] = shape.begun_us + 1e6 * dt * held + shape.delay_us
        shape.pulses += 1
    else:
        shape.lost += 1


@kernel
def _note_edge(shape: Any, edge: float) -> None:
    """Take in what the driver says of its switches."""
    if edge > 1.5:
        shape.driven = 1 if edge < 2.5 else 0
        shape.blank = shape.blank_switch
        shape.sense = 0.0
        if shape.driven == 1:
            shape.off_us = 0.0
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
            _close(shape, dt, pulses)
        return
    for k in range(SHAPE_BEFORE - 1):
        shape.recent[k] = shape.recent[k + 1]
    shape.recent[SHAPE_BEFORE - 1] = value


@kernel
def _slow_down(shape: Any, dt: float) -> None:
    """While no group comes the speed is at most what the silence allows; after a rest it is none."""
    if shape.since >= shape.rest:
        shape.speed = 0.0
    elif shape.since > shape.period:
        most = _TURN / (shape.commutations * shape.since * dt)
        shape.speed = min(shape.speed, most)


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
    _slow_down(shape, 1e-6 * dt_us)
