"""The pinch guard: a load that rises against what the move has shown so far, or, lowering, one that falls away.

Raising onto an obstacle the current rises with the force.  Lowering, the weight first goes over to the obstacle and the
current *falls*, by as much as the load contributed; only then the nut begins to push and the current rises.  A fall that all
legs show together may be a dip of the supply that the expectation did not quite follow: it must last longer.

While a move starts (soft start and some time after) its own level is still being found and the threshold is higher; an
obstacle that is touched already when a move begins belongs to the level and is not seen, and the very first move in a
direction is not watched until its level is found.  Every attempt is judged by the same
thresholds: an alarm teaches nothing.  A leg that the gating law has switched off is not judged, nor is its level learnt until
the drive has settled again: a window of some counts leaves an obstacle less time to be seen, and costs force.  A homing
is watched as any lowering while its legs are surely above their stops, by known heights and their doubt; then, and from an
unknown height all the way, it runs on under its own current limit.

Not a safeguard: limiting the drive's current alone is not a recognised protection against crushing.
"""

from __future__ import annotations

from typing import Any

from sync.expectation import coast_along, expected_current
from sync.guards import approaching
from sync.kernel import kernel
from sync.profile import enter_bin

__all__ = ["pinched", "watch_currents"]

_HELD = 0.5  # of the threshold: beyond it level and noise are held
_SHAPE_SHARE = 5.0  # 1/s: how fast the expectation goes over to the next bin
_FLOWS = 0.5  # of the current of the constant drag: less turns no motor
_RISING_US = 5000.0  # in which the current comes up after a switch-on
_LOWERING_SHARE = 0.15  # of a change of current raising, that the same force makes at most lowering (measured 0.57 against 5 mA/N)
_ALONE = 0.5  # of the threshold: a fall that exceeds the other legs' by so much is no dip of the supply


@kernel
def watch_currents(settings: Any, memory: Any, inputs: Any, now: float) -> None:
    """Follow the expected current of every leg, its deviation and its level; every call while legs are on."""
    limit = settings.homing_current if approaching(memory) else settings.current_limit
    shorted = (settings.brake_up if memory.direction >= 0 else settings.brake_down) == 1
    for q in range(settings.n_legs):
        leg = memory.legs[q]
        if leg.on == 0:
            continue
        known, told = leg.pinch, settings.legs[q]
        if leg.gated == 1 or now <= leg.on_us:
            coast_along(settings, told, leg, 0 if memory.direction >= 0 else 1, shorted)
            continue
        measured = memory.direction * inputs.legs[q].current
        seen = 1 if measured >= _FLOWS * told.pinch.idle else 0
        seen = seen if now - leg.dark_us >= _RISING_US else -1
        gap = measured - expected_current(settings.tick, told, leg, inputs.supply, limit, seen)
        known.deviation += settings.pinch.filter_share * (gap - known.deviation)
        if leg.opposed == 0:
            _follow(settings, memory, q, now)


@kernel
def _searches(pinch: Any, known: Any, run: float, fresh: bool) -> bool:
    """Whether the level of a move that began ``run`` [us] ago is still being found.

    A leg that has just been switched on again, ``fresh``, cannot be read; it is given the same time once more.
    """
    return known.place < 0 and (run < pinch.start_us or (fresh and run < 2.0 * pinch.start_us))


@kernel
def _follow(settings: Any, memory: Any, q: int, now: float) -> None:
    """Take the deviation into the level: quickly while the move starts, slowly and only if it is small afterwards."""
    leg, pinch = memory.legs[q], settings.pinch
    known = leg.pinch
    deviation = known.deviation
    run = now - leg.on_us
    fresh = now - leg.dark_us < settings.legs[q].pinch.hold_us
    if _searches(pinch, known, run, fresh):
        if fresh or run < pinch.start_us - settings.legs[q].pinch.hold_us:
            level = known.level + settings.legs[q].pinch.settle_share * deviation
            known.level = level if level > 0.0 else 0.0
        return
    if known.place < 0:
        # what is left of the search; from here on the level only creeps
        level = known.level + (0.0 if fresh else deviation)
        known.level = level if level > 0.0 else 0.0
        enter_bin(settings, memory, q)
    elif memory.calls % settings.control_every == 0:
        enter_bin(settings, memory, q)
    way = 0 if memory.direction >= 0 else 1
    known.form_now += _SHAPE_SHARE * settings.tick * (known.form[way][known.place] - known.form_now)
    limit = known.threshold
    if memory.direction < 0 and 0.0 < known.fall_threshold < limit:
        limit = known.fall_threshold
    limit *= _HELD
    if fresh:
        return
    known.total += deviation
    known.number += 1
    if deviation > limit or deviation < -limit:
        return
    step = pinch.follow_share * deviation
    most = pinch.follow_step
    known.level += most if step > most else (-most if step < -most else step)
    known.noise += pinch.noise_share * (deviation * deviation - known.noise)


@kernel
def pinched(settings: Any, memory: Any, now: float) -> int:
    """Number of the leg at which a pinch is decided at this call, or -1."""
    pinch = settings.pinch
    way = 0 if memory.direction >= 0 else 1
    falls = 0.0
    for q in range(settings.n_legs):
        falls -= memory.legs[q].pinch.deviation
    for q in range(settings.n_legs):
        leg = memory.legs[q]
        known = leg.pinch
        if leg.on == 0 or leg.gated == 1 or leg.opposed == 1 or now <= leg.on_us:
            known.over_us = now
            known.under_us = now
            continue
        started = known.place >= 0
        if not started and known.levels[way] <= 0.0:
            continue
        extra = pinch.swing_part * known.swing
        extra += 0.0 if started else pinch.start_extra
        back = 0.0 if memory.pinch.phase == 0 else _coming_back(settings, memory, q)
        if known.deviation < known.threshold + extra + (back if back > 0.0 else 0.0):
            known.over_us = now
        elif now - known.over_us >= pinch.confirm_us:
            return q
        if memory.direction < 0 and _fallen(settings, known, falls, extra - (back if back < 0.0 else 0.0), now):
            return q
    return -1


@kernel
def _coming_back(settings: Any, memory: Any, q: int) -> float:
    """Change of current [A] that a retreat brings by itself, as the obstacle lets go and the leg gets its own load back.

    Where no clean move this way is known: up, what the start of a move is allowed, since the deck's whole weight may come back;
    down, a small share of what was felt raising, since a force is felt far less lowering.
    """
    known = memory.legs[q].pinch
    way = 0 if memory.direction >= 0 else 1
    if known.levels[way] <= 0.0:
        felt = memory.pinch.deviation if memory.pinch.deviation >= 0.0 else -memory.pinch.deviation
        return settings.pinch.start_extra if way == 0 else -_LOWERING_SHARE * felt  # type: ignore[no-any-return]
    back = known.levels[way] - known.level
    return (back if back > 0.0 else 0.0) if way == 0 else (back if back < 0.0 else 0.0)


@kernel
def _fallen(settings: Any, known: Any, falls: float, extra: float, now: float) -> bool:
    """Whether the current of a leg has fallen for long enough; ``falls`` [A] is the sum over all legs."""
    pinch = settings.pinch
    fall = -known.deviation
    if known.fall_threshold <= 0.0 or fall < known.fall_threshold + extra:
        known.under_us = now
        return False
    others = (falls - fall) / (settings.n_legs - 1) if settings.n_legs > 1 else 0.0
    wait = pinch.confirm_us if fall - others >= _ALONE * known.fall_threshold else pinch.common_us
    return now - known.under_us >= wait  # type: ignore[no-any-return]
