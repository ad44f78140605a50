"""Homing: two approaches to the end stops, levelled between them; the second, slower contact sets the zero.

Steps, ``memory.homing``: 1 first approach, 2 back off together to one height, 3 second approach.  Each ends when every leg
has stopped and been quiet, so that the coast is waited out and the legs that met their stops early have their heights known
before the deck is levelled.

Source: the usual order of a homing without a switch (approach, stall by pulse time-out and current, wait out the coast, back
off, approach again slower, zero at the second contact); common practice, no source.
"""

from __future__ import annotations

from typing import Any

from sync.kernel import kernel
from sync.orders import begin
from sync.trust import believe, judge_stop

__all__ = ["next_step"]

_DEBRIS = 33


@kernel
def _suspect(settings: Any, memory: Any) -> int:
    """1 + index of a leg whose contact is not where it should be, 0 if there is none.

    The second contact may lie ``debris`` off the first one: what is soft or rolls away gives two heights.  Where the position
    was known, the first contact may lie as far above the old zero and by the doubt of its counts more; below it there is no
    debris, only drift.
    """
    second = memory.homing == 3
    if not second and memory.referenced == 0:
        return 0
    for q in range(settings.n_legs):
        leg = memory.legs[q]
        allowed = settings.debris * settings.legs[q].counts_per_metre
        if second:
            off = leg.again if leg.again >= 0 else -leg.again
        else:
            off = leg.residual
            allowed += leg.doubt
        if off > allowed:
            return q + 1
    return 0


@kernel
def next_step(settings: Any, memory: Any, now: float) -> int:
    """Take the next step of a homing whose legs have come to rest at ``now`` [us]; DEBRIS, or NONE.

    The legs are zeroed at the first contact too: the back-off is levelled by it.  After the last step ``memory.homing`` is 0.
    """
    if memory.homing == 2:
        begin(settings, memory, -1, 3, now)
        return 0
    first = memory.homing == 1
    top = -1e9
    for q in range(settings.n_legs):
        leg = memory.legs[q]
        told = settings.legs[q]
        if first:
            leg.residual = leg.counts
            leg.again = 0
        else:
            leg.again = leg.counts
        height = told.home_offset + 0.5 / told.counts_per_metre
        top = height if height > top else top
    memory.culprit = _suspect(settings, memory)
    if memory.culprit > 0:
        return _DEBRIS
    last = not first or settings.back_off <= 0.0
    for q in range(settings.n_legs):
        if last and memory.referenced == 1 and settings.drift.on == 1:
            judge_stop(settings, memory, q, now)
        memory.legs[q].counts = 0
        memory.legs[q].pulses = 0
    if not last:
        memory.goal = top + settings.back_off
        begin(settings, memory, 1, 2, now)
    else:
        memory.homing = 0
        memory.referenced = 1
        believe(settings, memory)
    return 0
