"""The learnt current profile of a leg: how its current differs along the travel, in bins, for each direction.

The profile is a *shape* about the level of the move, so that another payload shifts the level and leaves the shape.  It is
learnt only from moves that ended without an alarm, by a share of what each pass showed, and never by more than a stated part
of the running current: an obstacle that grows from move to move is not learnt away.

Source: reference profile with EWMA mean and spread per bin; gain and limits are planning values, no source.
"""

from __future__ import annotations

import math
from typing import Any

from sync.guard_records import BINS
from sync.kernel import kernel

__all__ = ["enter_bin", "forget_pass", "learn_profile"]

_BINS = BINS
_LEAST = 20  # calls in a bin before its mean counts


@kernel
def enter_bin(settings: Any, memory: Any, q: int) -> None:
    """Note what the bin that leg ``q`` leaves has shown; derive the thresholds of the one that it enters."""
    pinch, known, told = settings.pinch, memory.legs[q].pinch, settings.legs[q]
    counts = memory.legs[q].counts / told.counts_per_metre + told.home_offset - settings.travel_low
    place = int(counts * pinch.bins_per_metre)
    place = 0 if place < 0 else (_BINS - 1 if place >= _BINS else place)
    if place == known.place:
        return
    way = 0 if memory.direction >= 0 else 1
    _close_bin(known)
    if known.place < 0:
        known.form_now = known.form[way][place]
    known.place = place
    spread = known.spread[way][place]
    wide = pinch.spreads * math.sqrt(known.noise + spread * spread)
    rise = wide if wide > pinch.rise else pinch.rise
    known.threshold = rise if rise < pinch.rise_most else pinch.rise_most
    known.fall_threshold = _fall(pinch, known.level + known.form[way][place] - told.pinch.idle, wide)


@kernel
def _fall(pinch: Any, load: float, wide: float) -> float:
    """Threshold of a fall [A] where the load's part of the current is ``load`` [A]; 0 where no fall could tell a pinch.

    A light load can only lose what it has: then the loss of most of it is what is looked for.
    """
    fall = pinch.loss_share * load
    fall = fall if fall < pinch.fall else pinch.fall
    most = pinch.rise_most / pinch.rise * pinch.fall
    wide = wide if wide < most else most
    fall = fall if fall > wide else wide
    fall = fall if fall > pinch.fall_least else pinch.fall_least
    return fall if fall < load else 0.0


@kernel
def _close_bin(known: Any) -> None:
    """Keep the mean deviation of the bin that is left."""
    if known.place >= 0 and known.number >= _LEAST:
        known.pending[known.place] = known.total / known.number
        known.seen |= 1 << known.place
    known.total = 0.0
    known.number = 0


@kernel
def forget_pass(settings: Any, memory: Any) -> None:
    """An alarm: what this move has shown is not learnt."""
    for q in range(settings.n_legs):
        memory.legs[q].pinch.seen = 0


@kernel
def learn_profile(settings: Any, memory: Any) -> None:
    """Take a clean move into level, shape and spread of every leg."""
    pinch = settings.pinch
    way = 0 if memory.direction >= 0 else 1
    for q in range(settings.n_legs):
        known = memory.legs[q].pinch
        _close_bin(known)
        if known.seen == 0:
            continue
        known.levels[way] = known.level
        most = pinch.learn_most * known.level
        for k in range(_BINS):
            if (known.seen >> k) & 1 == 1:
                step = pinch.learn_gain * known.pending[k]
                known.form[way][k] += most if step > most else (-most if step < -most else step)
                off = known.pending[k] if known.pending[k] >= 0.0 else -known.pending[k]
                known.spread[way][k] += pinch.learn_gain * (off - known.spread[way][k])
        known.seen = 0
