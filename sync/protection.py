"""Guards that watch every call of a move: pinch, over-current, low supply, overload, over-temperature.

Each has its own answer.  A short circuit switches off for good; a supply that breaks down is relieved of the motors at once
and the counting goes on; a pinch is answered by all legs together; too much load or heat ends the move level, as if the key
had been released.
"""

from __future__ import annotations

from typing import Any

from sync.guards import above_stop
from sync.kernel import kernel
from sync.payload import weigh
from sync.pinch import pinched
from sync.profile import forget_pass
from sync.retreat import react
from sync.stopping import release
from sync.warmth import hottest

__all__ = ["protect"]

_HOMING, _MOVING, _SETTLING = 1, 3, 4
_TOO_HOT, _OVERLOAD, _SUPPLY_LOW, _OVER_CURRENT = 23, 24, 25, 26


@kernel
def _over_current(settings: Any, memory: Any, now: float) -> bool:
    """Whether a leg has drawn more than the bridge may carry for long enough."""
    for q in range(settings.n_legs):
        leg = memory.legs[q]
        if leg.current < settings.over_current:
            leg.excess_since_us = now
        elif now - leg.excess_since_us >= settings.over_current_time * 1e6:
            memory.culprit = q + 1
            return True
    return False


@kernel
def _supply_low(settings: Any, memory: Any, supply: float, now: float) -> bool:
    """Whether the supply has been too low for long enough."""
    if supply >= settings.supply_low:
        memory.low_since_us = now
        return False
    return now - memory.low_since_us >= settings.supply_low_time * 1e6  # type: ignore[no-any-return]


@kernel
def _shed(settings: Any, memory: Any, now: float) -> None:
    """Relieve the supply of every motor and go on counting; ready again when it is quiet."""
    for q in range(settings.n_legs):
        memory.legs[q].on = 0
        memory.legs[q].gated = 0
    forget_pass(settings, memory)
    memory.mode = _SETTLING
    memory.reason = _SUPPLY_LOW
    memory.since_us = now
    memory.off_us = now


@kernel
def _end_level(settings: Any, memory: Any, now: float) -> None:
    """Too much load or heat: stop level where it can be done soonest, once."""
    if memory.mode != _MOVING or memory.reason != 0:
        return
    if settings.overload > 0.0 and weigh(settings, memory, now) > settings.overload:
        memory.reason = _OVERLOAD
    elif settings.warmth.on == 1 and hottest(settings, memory) >= settings.warmth.limit:
        memory.reason = _TOO_HOT
    if memory.reason != 0:
        release(settings, memory, now)


@kernel
def _all_above(settings: Any, memory: Any) -> bool:
    """Whether every leg of a homing is surely above its stop by more than the homing budget: till then it is as any lowering.

    What is met lower is no hand: it is called debris.
    """
    above = 0
    for q in range(settings.n_legs):
        above += 1 if above_stop(settings, memory, q, settings.homing_budget) else 0
    return above == settings.n_legs  # type: ignore[no-any-return]


@kernel
def protect(settings: Any, memory: Any, supply: float, now: float) -> int:
    """One call of the guards while legs are driven, ``supply`` in V.

    Returns
    -------
    int
        Reason of a fault that the caller has to make of it; 0: the move goes on; -1: it is over, all legs have been switched.
    """
    if settings.over_current > 0.0 and _over_current(settings, memory, now):
        return _OVER_CURRENT
    if settings.supply_low > 0.0 and _supply_low(settings, memory, supply, now):
        if memory.mode == _HOMING:
            return _SUPPLY_LOW
        _shed(settings, memory, now)
        return -1
    if memory.mode == _HOMING and not _all_above(settings, memory):
        return 0
    if settings.pinch.on == 1:
        q = pinched(settings, memory, now)
        if q >= 0:
            react(settings, memory, q, now)
            return -1
    _end_level(settings, memory, now)
    return 0
