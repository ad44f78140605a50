"""After a pinch all legs act together within the same call: power off, brake or reverse at once, then back off level.

The position stays referenced.  A leg that is reversed while it turns goes on the old way for some milliseconds; until the
observer, driven by the measured current, says that it stands, its pulses are counted the old way.
"""

from __future__ import annotations

from typing import Any

from sync.kernel import kernel
from sync.observer import restart
from sync.orders import begin
from sync.profile import forget_pass
from sync.pulses import counted_height

__all__ = ["advance_retreat", "end_retreat", "react"]

_SETTLING, _RETREATING = 4, 5
_RAISING, _LOWERING, _TWICE = 20, 21, 22
_REVERSE = 2
_SILENT_US = 20_000.0  # without a pulse: a reversed leg stands


@kernel
def _middle(settings: Any, memory: Any) -> float:
    """Mean counted height [m]."""
    total = 0.0
    for q in range(settings.n_legs):
        total += counted_height(settings, memory, q)
    return total / settings.n_legs  # type: ignore[no-any-return]


@kernel
def react(settings: Any, memory: Any, q: int, now: float) -> None:
    """A pinch at leg ``q`` is decided: every leg is switched in this call.

    A second pinch, met while retreating, ends the retreat where it is: to go back would press the first obstacle again.  The
    motors are shorted then, unless the first reaction is to coast.  A homing that meets an obstacle is given up, but the height
    stays known: it was before.
    """
    pinch = memory.pinch
    again = memory.mode == _RETREATING
    pinch.trips += 1
    pinch.leg = q
    memory.culprit = q + 1
    pinch.deviation = memory.legs[q].pinch.deviation
    forget_pass(settings, memory)
    memory.homing = 0
    for k in range(settings.n_legs):
        leg = memory.legs[k]
        leg.on = 0
        leg.gated = 0
    memory.since_us = now
    memory.off_us = now
    if again:
        memory.reason = _TWICE
        memory.mode = _SETTLING
        return
    memory.reason = _RAISING if memory.direction >= 0 else _LOWERING
    memory.mode = _RETREATING
    pinch.from_height = _middle(settings, memory)
    pinch.phase = 1
    if settings.pinch.reaction == _REVERSE:
        _reverse(settings, memory, now)


@kernel
def _back_off(settings: Any, memory: Any, phase: int, now: float) -> None:
    """Switch every leg on the other way, for the retreat distance or to the end of the travel."""
    reason, culprit = memory.reason, memory.culprit
    direction = -memory.direction
    goal = memory.pinch.from_height + direction * settings.pinch.retreat
    low, high = settings.travel_low, settings.travel_high
    memory.goal = low if goal < low else (high if goal > high else goal)
    begin(settings, memory, direction, 0, now)
    for q in range(settings.n_legs):
        memory.legs[q].on_us = now  # no stagger
    memory.mode = _RETREATING
    memory.reason = reason
    memory.culprit = culprit
    memory.pinch.phase = phase


@kernel
def _reverse(settings: Any, memory: Any, now: float) -> None:
    """Drive back at once, out of the motion: the legs still turn the old way."""
    for q in range(settings.n_legs):
        leg = memory.legs[q]
        leg.rate_at_cut = leg.rate
        leg.coast_law = leg.load
    _back_off(settings, memory, 3, now)
    for q in range(settings.n_legs):
        leg = memory.legs[q]
        leg.opposed = 1
        leg.rate = leg.rate_at_cut
        leg.load = leg.coast_law
        leg.duty = settings.pinch.retreat_duty


@kernel
def advance_retreat(settings: Any, memory: Any, now: float) -> None:
    """One call of a retreat, before its legs are driven: wait for standstill, or let reversed legs turn round."""
    if memory.pinch.phase == 1:
        last = memory.off_us
        for q in range(settings.n_legs):
            last = memory.legs[q].pulse_us if memory.legs[q].pulse_us > last else last
        if now - last >= settings.quiet * 1e6:
            _back_off(settings, memory, 2, now)
        return
    for q in range(settings.n_legs):
        leg = memory.legs[q]
        if leg.opposed == 0:
            continue
        silent = now - leg.on_us >= _SILENT_US and now - leg.pulse_us >= _SILENT_US
        if leg.rate <= 0.0 or silent:
            leg.opposed = 0
            restart(leg, settings.legs[q], 0 if memory.direction >= 0 else 1, now)
            leg.on_us = now
            leg.pinch.rate = 0.0
            leg.pinch.deviation = 0.0


@kernel
def end_retreat(settings: Any, memory: Any) -> None:
    """At rest after a retreat: note how far it went."""
    pinch = memory.pinch
    if pinch.phase == 0:
        return
    way = _middle(settings, memory) - pinch.from_height
    pinch.retreated = way if way >= 0.0 else -way
    pinch.retreats += 1
    pinch.phase = 0
