"""Trust: how far the count of each leg may be off, and what makes it suspect.

The doubt of a leg [counts, either way] starts from the scatter of the homing and grows with travel, starts, stops, rejected
and inserted pulses.  It is a bound, not a standard deviation: the parts add up, since what is lost at the end of a coast is
lost every time.  Counts carry no sign and no place, so nothing but a homing takes doubt away.

A leg is suspected by the sum of three back-EMF residuals (a burst), by too many corrected pulses in the same time, by a CUSUM
over its coasts, by its end stop, and by a CUSUM over its homings.  Each names leg, sign and likely cause once between homings.

Source: counts go wrong by phase of the move (start, run, switch-off edge, end of the coast); the sizes are planning values.
"""

from __future__ import annotations

from math import sqrt
from typing import Any

from sync.cusum import accumulate, alarm, restart
from sync.kernel import kernel
from sync.residual import close_block, follow_voltage

__all__ = ["believe", "judge_coast", "judge_corrections", "judge_stop", "spent", "watch_counts"]

_DRIFT = 34
_BURST, _CORRECTIONS, _COAST, _STOP, _HOMINGS = 1, 2, 3, 4, 5
_CLIP = 4.0  # standard deviations: outliers are not normal
_STOP_SPREADS = 5.0
_BLOCKS = 3.0


@kernel
def believe(settings: Any, memory: Any) -> None:
    """A homing is done: the counts are believed again, but for its scatter."""
    memory.ask = 0
    memory.uncertain = 0
    memory.drift.moves = 0
    for q in range(settings.n_legs):
        memory.legs[q].doubt = settings.doubt_homing
        memory.legs[q].drift.told_causes = 0


@kernel
def spent(settings: Any, memory: Any) -> bool:
    """Whether the doubt of a leg has used up the uncertainty budget."""
    over = 0
    for q in range(settings.n_legs):
        if memory.legs[q].doubt > settings.doubt_budget * settings.legs[q].counts_per_metre:
            over += 1
    return over > 0


@kernel
def _suspect(memory: Any, q: int, cause: int, counts: float, now: float) -> None:
    """Leg ``q`` seems off by ``counts``, negative where counts are missing; each cause is reported once between homings."""
    leg, drift = memory.legs[q], memory.drift
    leg.doubt += counts if counts >= 0.0 else -counts
    if (leg.drift.told_causes >> cause) & 1 == 1:
        return
    leg.drift.told_causes |= 1 << cause
    drift.number += 1
    drift.leg = q
    drift.cause = cause
    drift.counts = counts
    drift.at_us = now
    memory.ask = _DRIFT


@kernel
def watch_counts(settings: Any, memory: Any, inputs: Any, now: float) -> None:
    """Follow the back-EMF residual of every leg that is driven; every call."""
    for q in range(settings.n_legs):
        if memory.legs[q].on == 0:
            continue
        current = memory.direction * inputs.legs[q].current
        if follow_voltage(settings, memory, q, current, inputs.supply, now):
            close_block(settings, memory, q, now)
            _judge_block(settings, memory, q, now)


@kernel
def _judge_block(settings: Any, memory: Any, q: int, now: float) -> None:
    """Whether the last three blocks show a burst of lost or gained counts, or too many corrections."""
    drift, told = memory.legs[q].drift, settings.drift
    total = drift.residual[0] + drift.residual[1] + drift.residual[2]
    unsure = drift.unsure[0] + drift.unsure[1] + drift.unsure[2]
    limit = told.spreads * sqrt(unsure * unsure + _BLOCKS * told.noise * told.noise)
    limit = limit if limit > told.least else told.least
    if total > limit or total < -limit:
        _suspect(memory, q, _BURST, total, now)
        for k in range(3):
            drift.residual[k] = 0.0
    rejected = drift.rejected[0] + drift.rejected[1] + drift.rejected[2]
    inserted = drift.inserted[0] + drift.inserted[1] + drift.inserted[2]
    if rejected + inserted > told.corrections:
        _suspect(memory, q, _CORRECTIONS, rejected if rejected > inserted else -inserted, now)


@kernel
def judge_corrections(settings: Any, memory: Any, now: float) -> None:
    """At the end of a move: whether too many pulses were corrected since the last block, that is in the coast."""
    for q in range(settings.n_legs):
        leg = memory.legs[q]
        rejected = float(leg.rejected - leg.drift.from_rejected)
        inserted = float(leg.inserted - leg.drift.from_inserted)
        if rejected + inserted > settings.drift.corrections:
            _suspect(memory, q, _CORRECTIONS, rejected if rejected > inserted else -inserted, now)


@kernel
def judge_coast(settings: Any, memory: Any, q: int, now: float) -> None:
    """Judge the coast of leg ``q`` that has just been learnt: counts run less counts told, over all moves."""
    leg, told = memory.legs[q], settings.drift
    off = leg.drift.coast_run
    expected = leg.coast_told if leg.coast_told >= 0.0 else -leg.coast_told
    z = off / (told.coast_least + told.coast_share * expected)
    z = _CLIP if z > _CLIP else (-_CLIP if z < -_CLIP else z)
    accumulate(leg.drift.coast, z, told.allowance)
    side = alarm(leg.drift.coast, told.limit)
    if side != 0:
        _suspect(memory, q, _COAST, off, now)
        restart(leg.drift.coast)


@kernel
def judge_stop(settings: Any, memory: Any, q: int, now: float) -> None:
    """Judge where the second contact of leg ``q`` lies by the zero before it: at once, and over many homings.

    A leg that believes itself too low at its stop has lost counts raising or gained some lowering: negative.
    """
    leg, told = memory.legs[q], settings.drift
    off = float(leg.residual + leg.again)
    spread = sqrt(0.25 * settings.doubt_homing * settings.doubt_homing + memory.drift.moves * told.move_counts * told.move_counts)
    z = off / spread
    clipped = _CLIP if z > _CLIP else (-_CLIP if z < -_CLIP else z)
    accumulate(leg.drift.stop, clipped, told.allowance)
    if z > _STOP_SPREADS or z < -_STOP_SPREADS:
        _suspect(memory, q, _STOP, off, now)
        restart(leg.drift.stop)
    elif alarm(leg.drift.stop, told.limit) != 0:
        _suspect(memory, q, _HOMINGS, off, now)
        restart(leg.drift.stop)
