"""The back-EMF residual of one leg: counts heard in a block of time less the counts that its voltage and current explain.

While a motor is driven, v - Vb - R i = K w, so the integral of the left side over a block, over K per count, is the number of
commutations that must have passed.  R and K change with temperature and differ from motor to motor: both are learnt, by a
Kalman filter on two numbers (shares of the told values) that takes one block as one measurement.  It forgets, so warming is
followed within seconds, and it carries its own variance, so a residual is judged against what R and K are known to.  A shift
that is spread over a whole stroke is learnt as a change of K: that no back-EMF can tell from 1.7 K of magnet warming.

Source: armature equation; recursive least squares with forgetting as a Kalman filter with a random walk.
Neglects: inductance (0.1 to 0.3 counts in a block of acceleration), the fall of the brush drop below its current, PWM steps.
"""

from __future__ import annotations

from math import sqrt
from typing import Any

from sync.guards import approaching
from sync.kernel import kernel
from sync.pulses import position

__all__ = ["close_block", "follow_speed", "follow_voltage", "loosen", "restart_block", "speaks"]

_GRACE_US = 100_000.0  # after a switch-on, in which brush drop and first pulses are not what the law says
_NEAR = 0.97  # of the current limit: the limiter lowers the voltage by an unknown amount
_WEAK = 0.1  # A: below it the off-time may run out of current
_EMF_PRIOR, _RESISTANCE_PRIOR = 0.0144, 0.04  # variances: 12 % (80 K of a ferrite magnet are 16 %) and 20 %
_EMF_WALK, _RESISTANCE_WALK = 4e-8, 2.5e-7  # per block: 0.02 % and 0.05 %
_EMF_REST, _RESISTANCE_REST = 2.25e-4, 1.6e-3  # per rest of unknown length: 1.5 % and 4 %
_CLEARLY = 0.5  # counts by which one channel must fit better than the other
_CLIP = 3.0  # standard deviations of an innovation that is learnt from


@kernel
def restart_block(leg: Any, now: float, direction: int) -> None:
    """Begin a block here."""
    drift = leg.drift
    drift.calls = 0
    drift.flux = 0.0
    drift.charge = 0.0
    drift.from_place = position(leg, direction, now)
    drift.from_us = now
    drift.from_counts = leg.counts
    drift.from_second = leg.second
    drift.from_rejected = leg.rejected
    drift.from_inserted = leg.inserted


@kernel
def loosen(leg: Any) -> None:
    """A move begins after a rest of unknown length: the residuals start anew, and R and K are known less well."""
    drift = leg.drift
    for k in range(3):
        drift.residual[k] = 0.0
        drift.unsure[k] = 0.0
        drift.rejected[k] = 0.0
        drift.inserted[k] = 0.0
    if drift.emf <= 0.0:
        drift.emf = 1.0
        drift.resistance = 1.0
    emf = drift.emf_variance + _EMF_REST
    resistance = drift.resistance_variance + _RESISTANCE_REST
    if drift.emf_variance <= 0.0 or emf > _EMF_PRIOR or resistance > _RESISTANCE_PRIOR:
        emf, resistance = _EMF_PRIOR, _RESISTANCE_PRIOR
        drift.cross = 0.0
    drift.emf_variance = emf
    drift.resistance_variance = resistance


@kernel
def follow_voltage(settings: Any, memory: Any, q: int, current: float, supply: float, now: float) -> bool:
    """Take one call into the block of leg ``q``; whether the block is full.

    Parameters
    ----------
    current : float
        Measured, positive in the direction of the move [A].
    supply : float
        Measured [V]; the duty in force since the last call stands in the memory.
    """
    leg, told = memory.legs[q], settings.legs[q]
    if not speaks(settings, memory, q, current, now):
        restart_block(leg, now, memory.direction)
        return False
    drift = leg.drift
    drift.flux += leg.duty * supply - (1.0 - leg.duty) * told.off_drop - told.brush_drop
    drift.charge += current
    drift.calls += 1
    return drift.calls >= settings.drift.block  # type: ignore[no-any-return]


@kernel
def speaks(settings: Any, memory: Any, q: int, current: float, now: float) -> bool:
    """Whether the voltage of leg ``q`` tells its speed now: driven for a while, no limiter at work, current enough."""
    leg, told = memory.legs[q], settings.legs[q]
    limit = settings.homing_current if approaching(memory) else settings.current_limit
    limit = told.pinch.highest if told.pinch.highest < limit else limit
    judged = leg.gated == 0 and leg.opposed == 0 and now - leg.on_us >= _GRACE_US
    return judged and _WEAK <= current < _NEAR * limit  # type: ignore[no-any-return]


@kernel
def close_block(settings: Any, memory: Any, q: int, now: float) -> float:
    """Residual of the full block of leg ``q`` [counts]; learns from it, shifts it in, and begins the next block."""
    leg, told = memory.legs[q], settings.legs[q]
    drift = leg.drift
    # by the clock, not by the calls: a call that was left out takes its time all the same
    span = (now - drift.from_us) * 1e-6
    rate = memory.direction * (position(leg, memory.direction, now) - drift.from_place) / span
    per_emf = told.emf * rate
    per_resistance = told.resistance * drift.charge / drift.calls
    surprise = drift.flux / drift.calls - drift.emf * per_emf - drift.resistance * per_resistance
    lever = drift.emf * told.emf / span  # V per count
    counts = -surprise / lever
    for k in range(2, 0, -1):
        drift.residual[k] = drift.residual[k - 1]
        drift.unsure[k] = drift.unsure[k - 1]
        drift.rejected[k] = drift.rejected[k - 1]
        drift.inserted[k] = drift.inserted[k - 1]
    _learn(settings, drift, surprise, per_emf, per_resistance, lever)
    if settings.vote == 1:
        counts = _vote(settings, memory, q, counts)
    drift.residual[0] = counts
    drift.rejected[0] = float(leg.rejected - drift.from_rejected)
    drift.inserted[0] = float(leg.inserted - drift.from_inserted)
    restart_block(leg, now, memory.direction)
    return counts  # type: ignore[no-any-return]


@kernel
def _learn(settings: Any, drift: Any, surprise: float, per_emf: float, per_resistance: float, lever: float) -> None:
    """One step of the filter; a surprise beyond three standard deviations is learnt from as if it were three."""
    emf = drift.emf_variance + _EMF_WALK
    resistance = drift.resistance_variance + _RESISTANCE_WALK
    cross = drift.cross
    along_emf = emf * per_emf + cross * per_resistance
    along_resistance = cross * per_emf + resistance * per_resistance
    noise = settings.drift.noise * lever
    known = per_emf * along_emf + per_resistance * along_resistance
    drift.unsure[0] = sqrt(known) / lever
    variance = known + noise * noise
    if surprise * surprise > _CLIP * _CLIP * variance:
        surprise = _CLIP * sqrt(variance) if surprise > 0.0 else -_CLIP * sqrt(variance)
    drift.emf += along_emf / variance * surprise
    drift.resistance += along_resistance / variance * surprise
    drift.emf_variance = emf - along_emf * along_emf / variance
    drift.resistance_variance = resistance - along_resistance * along_resistance / variance
    drift.cross = cross - along_emf * along_resistance / variance


@kernel
def _vote(settings: Any, memory: Any, q: int, residual: float) -> float:
    """Residual of the block after the vote: the second channel's count is taken where the voltage speaks for it.

    At a stall neither channel counts, and the two agree.
    """
    leg = memory.legs[q]
    more = leg.second - leg.drift.from_second - memory.direction * (leg.counts - leg.drift.from_counts)
    other = residual + more
    if more == 0 or abs(other) + _CLEARLY > abs(residual):
        return residual
    leg.counts += memory.direction * more
    leg.progress += more
    if more > 0:
        leg.inserted += more
    else:
        leg.rejected -= more
    leg.doubt += abs(more) * settings.doubt_per_inserted
    return other  # type: ignore[no-any-return]


@kernel
def follow_speed(settings: Any, memory: Any, q: int, current: float, supply: float, now: float) -> None:
    """Integrate the back-EMF speed of leg ``q`` over one call; ``current`` [A] is positive in the direction of the move."""
    leg, told = memory.legs[q], settings.legs[q]
    track, learnt = leg.track, leg.drift
    if leg.on == 0 or learnt.emf <= 0.0 or not speaks(settings, memory, q, current, now):
        track.sure = 0
        track.ahead = 0.0
        return
    volts = leg.duty * supply - (1.0 - leg.duty) * told.off_drop - told.brush_drop - learnt.resistance * told.resistance * current
    track.speed = volts / (learnt.emf * told.emf) if volts > 0.0 else 0.0
    if track.sure == 0:
        track.ahead = (now - leg.pulse_us) * 1e-6 * track.speed
    else:
        track.ahead += track.speed * settings.tick
    track.sure = 1
