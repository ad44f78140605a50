"""When the rows of the script are due: by time, height, mode, another row, commutations, or the phase of a leg."""

from __future__ import annotations

from typing import Any

from plant.bridge import DRIVE
from plant.kernel import kernel

__all__ = ["due", "due_soon"]

_TIME, _ABOVE, _BELOW, _READY, _AFTER, _MODE, _EVENT, _COMMUTATION, _START = 0, 1, 2, 3, 4, 5, 6, 7, 8


@kernel
def _height(world: Any, of: int) -> float:
    """True travel of leg ``of``, or of all in the mean [m]."""
    if of >= 0:
        return world.legs[of].travel  # type: ignore[no-any-return]
    total = 0.0
    for q in range(world.n_legs):
        total += world.legs[q].travel
    return total / world.n_legs  # type: ignore[no-any-return]


@kernel
def _in_phase(world: Any, of: int, driven: bool) -> bool:
    """Whether leg ``of`` (or any) is driven; or is switched off, was driven once, and still turns."""
    for q in range(world.n_legs):
        if of >= 0 and of != q:
            continue
        leg = world.legs[q]
        on = leg.bridge.mode == DRIVE
        if driven and on:
            return True
        if not driven and not on and leg.bridge.stops > 0 and leg.motor.speed != 0.0:
            return True
    return False


@kernel
def _met(rig: Any, row: Any, now: int) -> bool:
    """Whether the condition of ``row`` holds at ``now`` [us]."""
    trigger = row.trigger
    if row.needs > 0 and rig.script[row.needs - 1].fired == 0:
        return False
    if trigger == _TIME:
        return now >= row.at  # type: ignore[no-any-return]
    if trigger == _ABOVE:
        return _height(rig.world, row.of) >= row.at  # type: ignore[no-any-return]
    if trigger == _BELOW:
        return _height(rig.world, row.of) <= row.at  # type: ignore[no-any-return]
    if trigger == _MODE:
        return rig.memory.mode == row.of  # type: ignore[no-any-return]
    if trigger == _EVENT:
        return rig.script[row.of].fired == 1  # type: ignore[no-any-return]
    if trigger == _COMMUTATION:
        return rig.world.legs[row.of].motor.commuted >= row.at  # type: ignore[no-any-return]
    return _in_phase(rig.world, row.of, trigger == _START)


@kernel
def _before(rig: Any, k: int) -> int:
    """Instant [us] at which the row before ``k`` fired: 0 for the first row, -1 if it has not."""
    if k == 0:
        return 0
    return rig.script[k - 1].fired_us if rig.script[k - 1].fired == 1 else -1


@kernel
def _rested(rig: Any, k: int, now: int) -> bool:
    """Whether the controller has been at rest for the pause of row ``k`` since the row before."""
    before = _before(rig, k)
    if before < 0 or rig.rest_since_us < 0:
        return False
    tick = rig.world.sub_step_us * rig.world.steps_per_tick
    # an order needs two ticks to show in the mode
    since = before + 2 * tick if k > 0 else 0
    since = rig.rest_since_us if rig.rest_since_us > since else since
    return now - since >= rig.script[k].at  # type: ignore[no-any-return]


@kernel
def due(rig: Any, k: int, now: int) -> bool:
    """Whether row ``k`` fires at ``now`` [us]; notes when its condition was first met."""
    row = rig.script[k]
    if row.trigger == _READY:
        return _rested(rig, k, now)
    if row.trigger == _AFTER:
        before = _before(rig, k)
        return before >= 0 and now - before >= row.at
    if row.seen == 0:
        if not _met(rig, row, now):
            return False
        row.seen = 1
        row.seen_us = rig.script[row.of].fired_us if row.trigger == _EVENT else now
    return now - row.seen_us >= row.delay  # type: ignore[no-any-return]


@kernel
def due_soon(rig: Any, k: int, ahead: int) -> bool:
    """Whether row ``k``, which is not due, may become so at a sub-step boundary before ``ahead`` [us].

    The mode changes at ticks only, and a row that fires has all rows looked at again at the next sub-step.
    """
    row = rig.script[k]
    if row.trigger == _READY:
        return False
    if row.trigger == _AFTER:
        before = _before(rig, k)
        return before >= 0 and ahead - before >= row.at
    if row.seen == 1:
        return ahead - row.seen_us >= row.delay  # type: ignore[no-any-return]
    if row.trigger == _TIME:
        return ahead >= row.at  # type: ignore[no-any-return]
    return row.trigger != _MODE and row.trigger != _EVENT  # type: ignore[no-any-return]
