"""From pulses to counts: plausibility, the period of the last revolution, the position with its part of a count."""

from __future__ import annotations

from typing import Any

from sync.kernel import kernel
from sync.observer import correct
from sync.tracking import worth

__all__ = ["counted_height", "fraction", "heading", "position", "take"]

_SETTLED = 5  # pulses after a switch-on before a period is judged
_EDGE_US = 3000.0  # after a switch-on at rest: no rotor has turned a commutation yet, these are the edge
_TURNING = 0.5  # of the speed that the pulses tell, or it of the back-EMF's: less is no error of the told constants (20 % of R and K)
_DRIVES = 0.5  # of the current of the constant drag: less turns no motor
_FASTER = 1.5  # times the speed that the voltage tells: a double at half a period is 2, less 20 % of R and K
_HALF = 0.35  # of the expected period: a double comes sooner, half a period later
_HALVES = 4  # so many in a row are no doubles: the expectation is wrong
_ALL, _TRACKING = 0, 2
_SOONER = 0.8  # of the period before: a sooner pulse may be a double


@kernel
def heading(memory: Any, leg: Any) -> int:
    """Direction in which a leg turns: that of the move, or still the old one after a reversal."""
    return memory.direction if leg.opposed == 0 else -memory.direction  # type: ignore[no-any-return]


@kernel
def take(settings: Any, memory: Any, inputs: Any, q: int) -> None:
    """Take the pulses that leg ``q`` heard since the last call."""
    leg = memory.legs[q]
    now = float(inputs.time_us)
    heard = inputs.legs[q].pulses
    stamps = inputs.legs[q].stamp_us
    turns = heard > 0 and _turns(settings, memory, q, inputs, now)
    for k in range(heard):
        stamp = stamps[k] if k < len(stamps) else now
        period = (stamp - leg.pulse_us) * 1e-6
        usual = 1.0 / leg.rate if leg.rate > 1.0 else 0.0
        if leg.pulses == 0 and leg.on == 1 and leg.opposed == 0 and stamp - leg.on_us < _EDGE_US:
            leg.rejected += 1
            leg.doubt += settings.doubt_per_rejected
            continue
        if settings.correction == _TRACKING and leg.track.sure == 1:
            _take_tracked(settings, memory, q, stamp, now)
            continue
        judged = usual > 0.0 and leg.pulses >= _SETTLED and settings.correction != _ALL
        # while a leg slows down the observer may run ahead of it: a true pulse is never much sooner than the one before
        sooner = judged and period < settings.reject_below * usual and period < _SOONER * leg.period
        if sooner and not _runs_so_fast(settings, memory, q, inputs, period, now):
            _reject(settings, leg, period, usual)
            if leg.halves == _HALVES:
                _unlock(memory, leg, stamp, now)
            continue
        before = leg.period
        _insert(settings, memory, leg, period if judged else 0.0, usual, turns)
        _count(settings, memory, leg, q, period, stamp)
        if leg.pending_insert == 0:
            correct(leg, settings.observer_rate, (now - stamp) * 1e-6, period, before)


@kernel
def _take_tracked(settings: Any, memory: Any, q: int, stamp: float, now: float) -> None:
    """Count a pulse for what the tracking loop says that it is worth."""
    leg = memory.legs[q]
    number = worth(leg, stamp, now)
    if number == 0:
        leg.rejected += 1
        leg.doubt += settings.doubt_per_rejected
        return
    before, period = leg.period, (stamp - leg.pulse_us) * 1e-6
    leg.pending_insert = 0
    more = number - 1
    if more > 0 and leg.current < settings.stall_current:
        leg.counts += heading(memory, leg) * more
        leg.progress += more
        leg.inserted += more
        leg.doubt += more * settings.doubt_per_inserted
    _count(settings, memory, leg, q, period, stamp)
    correct(leg, settings.observer_rate, (now - stamp) * 1e-6, period, before)


@kernel
def _reject(settings: Any, leg: Any, period: float, usual: float) -> None:
    """Take a pulse for a double, and count how many in a row came at about half the expected period."""
    leg.rejected += 1
    leg.doubt += settings.doubt_per_rejected
    leg.halves = leg.halves + 1 if period > _HALF * usual else 0
    leg.refused_last = 1


@kernel
def _unlock(memory: Any, leg: Any, stamp: float, now: float) -> None:
    """Every second pulse was rejected: the expected period is twice the true one. Give the counts back and expect the true one.

    Without this the false expectation holds itself up: the pulse at half of it is rejected, the next one comes on time.
    """
    period = (stamp - leg.pulse_us) * 1e-6
    leg.counts += heading(memory, leg) * _HALVES
    leg.progress += _HALVES
    leg.rejected -= _HALVES
    leg.halves = 0
    leg.refused_last = 0
    leg.pulse_us = stamp
    leg.period = period
    leg.period_sum = period
    leg.period_number = 1
    leg.period_place = 1
    leg.periods[0] = period
    leg.rate = 1.0 / period
    leg.place = leg.progress + (now - stamp) * 1e-6 * leg.rate


@kernel
def _told_rate(settings: Any, memory: Any, q: int, inputs: Any, now: float) -> float:
    """Speed of leg ``q`` by voltage and current [counts/s], 0 where they do not tell: off, gated, reversed, or drawing too little.

    No current in the direction of the move turns no motor against its drag: a wire is broken, the load drives the leg, or a
    bridge does not obey.
    """
    leg, told = memory.legs[q], settings.legs[q]
    if leg.on == 0 or leg.gated == 1 or leg.opposed == 1 or now <= leg.on_us:
        return 0.0
    current = memory.direction * inputs.legs[q].current
    if current < _DRIVES * told.pinch.idle:
        return 0.0
    emf = leg.duty * inputs.supply - (1.0 - leg.duty) * told.off_drop - told.brush_drop - told.resistance * current
    return emf / told.emf if emf > 0.0 else 0.0


@kernel
def _runs_so_fast(settings: Any, memory: Any, q: int, inputs: Any, period: float, now: float) -> bool:
    """Whether voltage and current speak for a pulse ``period`` [s] after the last: then it is no double, the observer is slow.

    So it is where a leg leaves a compressed stop or closes its play: it gains speed faster than its usual load would let it.
    """
    return period * _FASTER * _told_rate(settings, memory, q, inputs, now) > 1.0


@kernel
def _turns(settings: Any, memory: Any, q: int, inputs: Any, now: float) -> bool:
    """Whether leg ``q`` is driven, and voltage and current give its motor about the speed that its pulses tell.

    False pulses come as they like, at a leg that stands as well (crosstalk, interference): its own current tells that it stands.
    Where its bridge does not obey, voltage and current may leave it a speed, but hardly that of the pulses.
    """
    leg = memory.legs[q]
    most = settings.homing_stall_current if memory.homing > 0 else settings.stall_current
    if leg.current >= most:
        return False
    rate = _told_rate(settings, memory, q, inputs, now)
    return rate > _TURNING * leg.rate and _TURNING * rate < leg.rate  # type: ignore[no-any-return]


@kernel
def _insert(settings: Any, memory: Any, leg: Any, period: float, usual: float, turns: bool) -> None:
    """Insert a single miss once the pulse after a double period comes on time again; ``usual`` is the observer's period [s].

    At a stall the periods go on growing and no pulse comes on time, and its current says that it does not turn: nothing is
    inserted there. A period is double only if it is so against the one before as well: after a false pulse the next true one
    comes late without a miss.
    """
    if leg.pending_insert == 1 and 0.7 * usual < period < 1.3 * usual:
        leg.counts += heading(memory, leg)
        leg.progress += 1
        leg.inserted += 1
        leg.doubt += settings.doubt_per_inserted
    leg.pending_insert = 0
    if period <= 0.0 or not turns:
        return
    if settings.insert_from * usual < period < settings.insert_to * usual and period > settings.insert_from * leg.period:
        leg.pending_insert = 1


@kernel
def _count(settings: Any, memory: Any, leg: Any, q: int, period: float, stamp: float) -> None:
    """Accept a pulse at ``stamp`` [us], ``period`` [s] after the one before."""
    leg.counts += heading(memory, leg)
    leg.progress += 1
    leg.doubt += settings.doubt_per_count
    leg.pulses += 1
    if leg.refused_last == 0:
        leg.halves = 0
    leg.refused_last = 0
    leg.pulse_us = stamp
    if leg.pulses < 2:
        return
    leg.period = period
    turn = settings.legs[q].counts_per_revolution
    if leg.period_number == turn:
        leg.period_sum -= leg.periods[leg.period_place]
    else:
        leg.period_number += 1
    leg.periods[leg.period_place] = period
    leg.period_sum += period
    leg.period_place = (leg.period_place + 1) % turn


@kernel
def fraction(leg: Any, now: float) -> float:
    """Part of a count [0, 1) run since the last pulse; half a count where there was none."""
    if leg.pulses == 0:
        return 0.5
    part = leg.rate * (now - leg.pulse_us) * 1e-6
    return part if part < 0.999 else 0.999


@kernel
def position(leg: Any, direction: int, now: float) -> float:
    """Position [counts] with the part of a count, at ``now`` [us]; a count stands for the space up to the next one."""
    if direction >= 0:
        return leg.counts + fraction(leg, now)  # type: ignore[no-any-return]
    return leg.counts + 1.0 - fraction(leg, now)  # type: ignore[no-any-return]


@kernel
def counted_height(settings: Any, memory: Any, q: int) -> float:
    """Height of leg ``q`` [m] as counted: the middle of the present count."""
    told = settings.legs[q]
    return (memory.legs[q].counts + 0.5) / told.counts_per_metre + told.home_offset  # type: ignore[no-any-return]
