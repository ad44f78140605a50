"""Groups of pulses behind the candidates of the shape check: judged, and learnt from.

A group is judged in this order:

too soon    within the lockout, or nearer to the last commutation than a share of the expected period: a double
unlike      its largest pulse has the sign of a make, not of a break, for the voltage that the wires carry
too small   no generator voltage stands on coasting wires: nothing turns, what is heard comes from elsewhere
too small   below a share of the size that this commutation of the revolution has learnt, at the level of now; the share
            grows with the distance from the instant at which a commutation is due
unlike      its correlation with the learnt group is below a least one; a group above the plain threshold is let off this
            within a quarter period of that instant, since sign, size and time vouch for it

While the carrier chops, blanking cuts the groups; after a rest, and when nothing has been accepted for two and a half
periods, what was learnt is in doubt.  Then sign, size and spacing alone decide, by the plain threshold.  A revolution is c
commutations, so the number of accepted candidates tells which of the c a group belongs to; a gap of about two periods moves
on by two.  What is learnt is the mean of the accepted groups, each brought to length one.

The next commutation is due by phase: while driven the phase grows by 1/period a sample, while coasting by |E| over the
flux K 2 pi/c that stands for one commutation, which follows a coast to its very end, however fast the rotor slows.  The flux
is learnt in the first coast.  An accepted group moves the phase half-way to its own instant, so that one that came early
does not make the next look late.

Source: the phase is an alpha-beta filter (R. Kalata, The Tracking Index, IEEE Trans. AES 20, 1984), its gains chosen by trial.
Neglects: which commutation it was after a rest, or after a miss and a double together: then it learns again, slowly.
"""

from __future__ import annotations

import math
from typing import Any

from plant.kernel import inlined, kernel
from plant.signal.records import SHAPE_BEFORE, SHAPE_PLACES

__all__ = ["ACCEPTED", "SETTLED", "TOO_SMALL", "TOO_SOON", "UNLIKE", "close_group", "pace_of"]

ACCEPTED, TOO_SOON, TOO_SMALL, UNLIKE = 0, 1, 2, 3
_FLANK = 0.5
"""Share of the largest size at which a flank is one."""
_LEARN_FIRST = 3
"""Groups of a commutation that are taken in before any is compared."""
_PATIENCE = 2.5
"""Periods without an accepted group after which what has been learnt is in doubt."""
SETTLED = 5
"""Periods after a rest before instants are foretold: a start shortens the period from one to the next."""
_START_SPACING = 0.3
"""Least spacing over the last one until then."""
_STEADY, _STARTING = 20, 0.4
"""Until so many periods after a rest the least spacing is at most this: a period taken over a miss is twice too long."""
_START_SIZE = 0.25
"""Least size over the level until then: the makes of a start are as large as the breaks of running."""
_FULL = 0.3
"""Size over the learnt one from which a refused group casts doubt on the period."""
_SOONEST = 0.2
"""Spacing over the expected one below which even after a start a group is likelier a double than two or three misses."""
_DOUBTS = 6
"""Doubts at which the period is given up; a refused group adds three, an accepted one takes one away."""
_FOLLOW = 0.25
"""Share of the newest in the period, at least."""
_FLUX = 0.1
"""Share of the newest in the flux."""
_LEVEL = 0.3
"""Share of the newest in the level."""
_LEAST_SHARE = 0.05
"""Least size of a segment's groups over the level."""
_FAVOUR = 0.05
"""Share of the newest in what sign a break is believed to have."""
_SURE = 0.2
"""How far signs must agree before the other sign is refused."""
_QUARTER = 0.25
"""Period off its instant at which a group must have the least size; nearer it may have less, farther it must have more."""
_CUT_SIZE = 0.7
"""Size over the level from which a cut group may have the other sign: blanking may have left of its break the return alone."""
_LEAST_DRIVE = 2.0
"""Voltage [V] of driven wires below which its sign may be that of a diode, as in a reversal with the current at its limit."""
_LEAST_EMF = 0.1
"""Generator voltage [V] below which nothing turns; at the last commutation of a coast it is several times that."""


@inlined
def pace_of(shape: Any) -> float:
    """Commutations a sample, as expected now."""
    if shape.driven == 0 and shape.flux > 0.0 and shape.blank == 0 and shape.turned == 0:
        return abs(shape.volts) / shape.flux  # type: ignore[no-any-return]
    return 1.0 / shape.period if shape.period > 0.0 else 0.0


@kernel
def _length(shape: Any) -> float:
    """Root of the sum of squares of the group at hand."""
    total = 0.0
    for k in range(SHAPE_PLACES):
        total += shape.group[k] * shape.group[k]
    return math.sqrt(total)


@kernel
def _peak(shape: Any) -> float:
    """Largest size in the group at hand, with the sign of its first flank.

    A break that arcs for longer than the coupling holds ends in a flank of the other sign, as large as the first.
    """
    best = 0.0
    for k in range(SHAPE_PLACES):
        best = max(best, abs(shape.group[k]))
    for k in range(SHAPE_PLACES):
        if abs(shape.group[k]) >= _FLANK * best:
            return best if shape.group[k] > 0.0 else -best
    return best


@kernel
def _likeness(shape: Any, place: int, length: float) -> float:
    """Correlation of the group at hand, signs aside, with the one that its commutation has learnt."""
    total, own = 0.0, 0.0
    for k in range(SHAPE_PLACES):
        mean = shape.pattern[place * SHAPE_PLACES + k]
        total += mean * shape.group[k]
        own += mean * mean
    if own == 0.0 or length == 0.0:
        return 0.0
    return abs(total) / (length * math.sqrt(own))


@kernel
def _of_other_sign(shape: Any, peak: float) -> bool:
    """Whether the largest pulse has the sign of a make; what is believed of signs follows the sizes heard."""
    if shape.turned > 0 or abs(shape.volts) < (_LEAST_DRIVE if shape.driven == 1 else _LEAST_EMF):
        return False
    sign = 1.0 if peak * shape.volts > 0.0 else -1.0
    size = abs(peak)
    weight = 1.0 if shape.level <= 0.0 else min(size / shape.level, 2.0)
    share = _FAVOUR * weight if size > shape.plain_threshold else 0.0
    if shape.driven == 1:
        favour = shape.favour_driven
        shape.favour_driven += share * (sign - favour)
    else:
        favour = shape.favour_coasting
        shape.favour_coasting += share * (sign - favour)
    if shape.cut > 0 and size > _CUT_SIZE * shape.level:
        return False
    return favour * sign < -_SURE  # type: ignore[no-any-return]


@kernel
def _passed(shape: Any) -> int:
    """Commutations from the last accepted one to the group at hand."""
    if shape.periods <= SETTLED or shape.since >= shape.rest:
        return 1
    return min(max(math.floor(shape.phase + 0.5), 1), 3)  # type: ignore[no-any-return]


@kernel
def _doubt(shape: Any, size: float, place: int) -> int:
    """How a group between two ends: one of full size is a double once; if it comes again and again the period is wrong.

    After a start it is so at once: the lockout outlasts nearly every double, and a miss has likely made the period twice too long.
    """
    if size < _FULL * shape.level * shape.share[place]:
        return TOO_SOON
    shape.doubts += 3 if shape.periods > _STEADY or shape.since < _SOONEST * shape.period else _DOUBTS
    if shape.doubts < _DOUBTS:
        return TOO_SOON
    shape.doubts = 0
    shape.periods = 1
    return ACCEPTED


@kernel
def _judge(shape: Any, place: int, peak: float, length: float) -> int:
    """How the group at hand ends; ``place`` is the commutation it would be."""
    size = abs(peak)
    if shape.since < shape.lockout:
        return TOO_SOON
    if _of_other_sign(shape, peak):
        return UNLIKE
    if shape.driven == 0 and abs(shape.volts) < _LEAST_EMF:
        return TOO_SMALL
    if shape.periods == 0 or shape.since >= shape.rest or shape.phase > _PATIENCE:
        return ACCEPTED if size > shape.plain_threshold else TOO_SMALL
    if shape.periods <= SETTLED:
        if shape.since < _START_SPACING * shape.period:
            return _doubt(shape, size, place)
        return ACCEPTED if size > max(shape.plain_threshold, _START_SIZE * shape.level) else TOO_SMALL
    least = shape.least_period if shape.periods > _STEADY else min(shape.least_period, _STARTING)
    if shape.phase < least:
        return _doubt(shape, size, place)
    return _compare(shape, place, size, length)


@kernel
def _compare(shape: Any, place: int, size: float, length: float) -> int:
    """How a group ends that comes when one may be due: by its size, the more so the farther off it is, and by its shape."""
    off = abs(shape.phase - max(1, math.floor(shape.phase + 0.5)))
    least = shape.level * shape.share[place] * (shape.least_size + off - _QUARTER)
    if shape.cut > 0 or shape.level <= 0.0:
        least = shape.plain_threshold
    if size < least:
        return TOO_SMALL
    known = shape.cut == 0 and shape.learnt[place] >= _LEARN_FIRST
    plain = size > shape.plain_threshold and off < _QUARTER
    if known and not plain and _likeness(shape, place, length) < shape.likeness:
        return UNLIKE
    return ACCEPTED


@kernel
def _relearn(shape: Any, place: int, peak: float, length: float) -> None:
    """Take in a group that came when one was due but was refused: or what has once been learnt wrongly would last."""
    if shape.cut > 0 or shape.periods < 3 or abs(peak) <= shape.plain_threshold:
        return
    if shape.phase < 0.7 or shape.phase > 1.4 or shape.level <= 0.0:
        return
    sign = 1.0 if peak > 0.0 else -1.0
    for k in range(SHAPE_PLACES):
        at = place * SHAPE_PLACES + k
        shape.pattern[at] += shape.learning * (sign * shape.group[k] / length - shape.pattern[at])
    shape.share[place] = max(shape.share[place] + shape.learning * (abs(peak) / shape.level - shape.share[place]), _LEAST_SHARE)


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
        shape.share[place] = max(shape.share[place] + shape.learning * (size / shape.level - shape.share[place]), _LEAST_SHARE)
        shape.level += _LEVEL * (size / shape.share[place] - shape.level)
    else:
        shape.level = size / shape.share[place]
    shape.learnt[place] += 1


@kernel
def _follow_coast(shape: Any, off: float) -> None:
    """Take in how far ``off`` [periods] an accepted group of a coast came: into the flux, or, before it is known, into the period."""
    volts = abs(shape.volts)
    if volts < _LEAST_EMF or shape.turned > 0:
        return
    if shape.flux > 0.0:
        shape.flux *= 1.0 + _FLUX * off
        shape.period = shape.flux / volts
    elif shape.coasted > SETTLED:
        shape.flux = shape.period * volts


@kernel
def _follow(shape: Any, passed: int) -> None:
    """Take the spacing of an accepted group into period, flux and phase."""
    if shape.since >= shape.rest or (shape.phase > _PATIENCE and shape.periods > 2):
        # the gap is no period: the rotor may have stood in it; but a period of one or two groups only may be wrong itself
        shape.periods = 0
    shape.doubts = max(shape.doubts - 1, 0)
    shape.coasted = 0 if shape.driven == 1 else shape.coasted + 1
    off = 0.0
    if shape.periods in (1, 2):
        shape.period = float(shape.since)
    elif shape.periods > 0:
        off = (shape.phase - passed) / passed
        if shape.driven == 1 or shape.flux <= 0.0:
            shape.period *= 1.0 + max(_FOLLOW, 2.0 / (1.0 + shape.periods)) * off
    if shape.driven == 0:
        _follow_coast(shape, off)
    shape.phase = 0.5 * off
    shape.periods += 1


@kernel
def close_group(shape: Any, dt: float, pulses: Any) -> None:
    """Judge the group at hand, which is whole now; put a pulse out where it is accepted.  ``dt`` is a sample [s]."""
    held = (SHAPE_PLACES - SHAPE_BEFORE) * shape.every
    ahead = held * pace_of(shape)
    shape.filled = 0
    shape.since -= held
    shape.phase -= ahead
    length, peak = _length(shape), _peak(shape)
    passed = _passed(shape)
    place = (shape.place + passed) % shape.commutations
    end = _judge(shape, place, peak, length)
    shape.ended[end] += 1
    if end == ACCEPTED:
        _accept(shape, passed, peak, length)
        if shape.pulses < len(pulses):
            # known only when the group is whole
            pulses[shape.pulses] = shape.begun_us + 1e6 * dt * held + shape.delay_us
            shape.pulses += 1
        else:
            shape.lost += 1
    elif end == TOO_SMALL or (end == UNLIKE and shape.since >= shape.lockout):
        _relearn(shape, place, peak, length)
    shape.since += held
    shape.phase += ahead


@kernel
def _accept(shape: Any, passed: int, peak: float, length: float) -> None:
    """Take an accepted group into all that is learnt and estimated."""
    _follow(shape, passed)
    shape.place += passed
    if shape.cut > 0:
        shape.level += _LEVEL * (abs(peak) - shape.level) if shape.level > 0.0 else abs(peak)
    else:
        _learn(shape, shape.place % shape.commutations, peak, length)
    if shape.driven == 1:
        shape.sense += 0.1 * ((1.0 if peak > 0.0 else -1.0) * shape.polarity_driven - shape.sense)
    shape.since = 0
