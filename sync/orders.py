"""Orders of the operator: what is accepted in which mode, and how a move begins."""

from __future__ import annotations

from typing import Any

from sync.expectation import restart_expectation
from sync.kernel import kernel
from sync.observer import restart
from sync.pulses import counted_height
from sync.residual import loosen, restart_block
from sync.saving import mark
from sync.waiting import HELD, keep, let_go, waits
from sync.warmth import hottest

__all__ = ["begin", "refusal", "serve_waiting", "take_order"]

_UNREFERENCED, _HOMING, _READY, _MOVING, _SETTLING, _FAULTED = 0, 1, 2, 3, 4, 6
_GO, _UP, _DOWN, _RELEASE, _HOME, _CLEAR = 1, 2, 3, 4, 5, 6
_NOT_REFERENCED, _BUSY, _OUT_OF_TRAVEL, _STOPPED, _TOO_HOT, _POWER_FAIL = 1, 2, 8, 9, 23, 31


@kernel
def refuse(memory: Any, reason: int) -> None:
    """Refuse an order; the mode stays."""
    memory.refused += 1
    memory.refusal = reason


@kernel
def begin(settings: Any, memory: Any, direction: int, homing: int, now: float) -> None:
    """Switch every leg on in ``direction``; ``homing`` is the step of a homing, 0 for a move."""
    memory.direction = direction
    memory.homing = homing
    memory.first_contact = 0
    memory.slow = 0
    memory.pressed = 0
    memory.mode = _HOMING if homing > 0 else _MOVING
    memory.reason = 0
    memory.culprit = 0
    mark(memory)
    memory.since_us = now
    memory.calls = 0
    memory.reference = 0.0
    memory.pinch.phase = 0
    memory.low_since_us = now
    for q in range(settings.n_legs):
        memory.reference += counted_height(settings, memory, q) / settings.n_legs
        leg = memory.legs[q]
        restart(leg, settings.legs[q], 0 if direction >= 0 else 1, now)
        leg.on = 1
        leg.start_counts = leg.counts
        leg.doubt += settings.doubt_per_start
        leg.cut = 0
        leg.gated = 0
        leg.stalled = 0
        leg.halves = 0
        loosen(leg)
        restart_block(leg, now, direction)
        leg.integral = 0.0
        leg.duty = 0.0
        leg.opposed = 0
        leg.on_us = now + q * settings.stagger * 1e6
        leg.over_since_us = now
        leg.excess_since_us = now
        restart_expectation(settings, leg, settings.legs[q], 0 if direction >= 0 else 1, now)


@kernel
def take_order(settings: Any, memory: Any, inputs: Any) -> None:
    """Act on the operator's order in ``inputs`` if it is a new one."""
    if inputs.order == memory.order:
        return
    memory.order = inputs.order
    command = inputs.command
    now = float(inputs.time_us)
    if command == _RELEASE:
        let_go(settings, memory, now)
    elif command == _CLEAR:
        _clear(memory)
    else:
        reason = refusal(settings, memory, command, inputs.target)
        if reason == _BUSY and waits(memory, command):
            keep(settings, memory, command, inputs.target, now)
        elif reason != 0:
            refuse(memory, reason)
        elif command == _HOME:
            begin(settings, memory, -1, 1, now)
        else:
            _go(settings, memory, command, inputs.target, now)


@kernel
def serve_waiting(settings: Any, memory: Any, now: float) -> None:
    """Carry out the order that has waited for rest; a fault, a retreat or a homing forgets it."""
    command = memory.waiting
    if memory.mode == _MOVING or memory.mode == _SETTLING:
        return
    memory.waiting = 0
    if memory.mode != _READY:
        return
    reason = refusal(settings, memory, command, memory.waiting_target)
    if reason != 0:
        refuse(memory, reason)
    else:
        _go(settings, memory, command, memory.waiting_target, now)


@kernel
def _clear(memory: Any) -> None:
    """A fault is acknowledged: the position counts as unknown until the next homing."""
    if memory.mode == _FAULTED:
        memory.mode = _UNREFERENCED
        memory.referenced = 0
        memory.reason = 0


@kernel
def _goal(settings: Any, command: int, target: float) -> float:
    """Where an order leads [m]: a held key to the end of the travel."""
    if command == _UP:
        return settings.travel_high  # type: ignore[no-any-return]
    return settings.travel_low if command == _DOWN else target


@kernel
def refusal(settings: Any, memory: Any, command: int, target: float) -> int:
    """Reason why an order to move would be refused now, 0 if it would be taken."""
    mode = memory.mode
    if memory.power_failed == 1:
        return _POWER_FAIL
    if mode == _UNREFERENCED and command != _HOME:
        return _NOT_REFERENCED
    if mode != _READY and mode != _UNREFERENCED:
        return _STOPPED if mode == _FAULTED else _BUSY
    if settings.warmth.on == 1 and hottest(settings, memory) > settings.warmth.start_limit:
        return _TOO_HOT
    goal = _goal(settings, command, target)
    if command != _HOME and (goal < settings.travel_low or goal > settings.travel_high):
        return _OUT_OF_TRAVEL
    return 0


@kernel
def _go(settings: Any, memory: Any, command: int, target: float, now: float) -> None:
    goal = _goal(settings, command, target)
    mean = 0.0
    for q in range(settings.n_legs):
        mean += counted_height(settings, memory, q) / settings.n_legs
    memory.goal = goal
    begin(settings, memory, 1 if goal >= mean else -1, 0, now)
    memory.pressed = HELD if command in (_UP, _DOWN) else 0
