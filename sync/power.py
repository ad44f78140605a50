"""Power failure and wake-up: shed the motors, keep counting, save; on wake restore the position with how far it may be off.

While the hold-up lasts the position is saved twice: at once, with the coast still ahead in its doubt, and again when all is
quiet.  Which of the two is found on wake depends on how long the hold-up was.

Source: shed, keep counting, save at stop, hold-up of coast time and write time, uncertain on wake; common practice, no source.
"""

from __future__ import annotations

from typing import Any

from sync.forgetting import forget
from sync.kernel import kernel
from sync.saving import intact, store
from sync.stopping import note_cut

__all__ = ["settle_saved", "watch_power"]

_UNREFERENCED, _HOMING, _READY, _MOVING, _SETTLING, _RETREATING = 0, 1, 2, 3, 4, 5
_POWER_FAIL, _POSITION_UNCERTAIN, _POSITION_LOST, _SAVE_DAMAGED = 31, 32, 35, 36


@kernel
def watch_power(settings: Any, memory: Any, inputs: Any) -> None:
    """Notice at a call that the supply has failed or come back, or that the logic has just been woken."""
    if inputs.wake == 1:
        _wake(settings, memory, inputs)
    if inputs.power_good == 1:
        memory.power_failed = 0
        if memory.saved.valid == 0 and memory.referenced == 1 and memory.mode == _READY:
            store(settings, memory, 0)
        return
    now = float(inputs.time_us)
    if memory.power_failed == 0:
        memory.power_failed = 1
        memory.fail_us = now
        _shed(settings, memory, now)
    saved = memory.saved
    if saved.moving == 1 and saved.stage == 0 and memory.referenced == 1 and now - memory.fail_us >= settings.save_time * 1e6:
        store(settings, memory, 1)


@kernel
def _shed(settings: Any, memory: Any, now: float) -> None:
    """Switch every motor off; a homing that is broken off leaves the position unknown."""
    mode = memory.mode
    if mode != _MOVING and mode != _HOMING and mode != _SETTLING and mode != _RETREATING:
        return
    if memory.homing > 0:
        memory.referenced = 0
        memory.homing = 0
    memory.pinch.phase = 0
    memory.waiting = 0
    for q in range(settings.n_legs):
        if memory.legs[q].on == 1:
            note_cut(memory.legs[q], memory.direction, now)
    memory.mode = _SETTLING
    memory.reason = _POWER_FAIL
    memory.since_us = now
    memory.off_us = now
    if memory.referenced == 1:
        memory.ask = _POWER_FAIL
        memory.uncertain = 1


@kernel
def settle_saved(settings: Any, memory: Any) -> None:
    """Save the position now that every leg is at rest and quiet."""
    if memory.referenced == 1:
        store(settings, memory, 2 if memory.uncertain == 1 else 0)


@kernel
def _wake(settings: Any, memory: Any, inputs: Any) -> None:
    """Begin anew with nothing but what is kept without power."""
    forget(memory)
    memory.order = inputs.order
    saved = memory.saved
    if saved.valid == 0:
        return
    if not intact(saved):
        memory.reason = _SAVE_DAMAGED
        memory.ask = _SAVE_DAMAGED
        return
    memory.direction = saved.direction
    if saved.referenced == 0 or (saved.moving == 1 and saved.stage == 0):
        memory.reason = _POSITION_LOST
        memory.ask = _POSITION_LOST
        return
    memory.referenced = 1
    memory.mode = _READY
    for q in range(settings.n_legs):
        memory.legs[q].counts = saved.counts[q]
        memory.legs[q].doubt = float(saved.doubt[q])
    if saved.moving == 1:
        memory.uncertain = 1
        memory.reason = _POSITION_UNCERTAIN
        memory.ask = _POSITION_UNCERTAIN
