"""The script: operator actions and faults as rows of a record table, fired at sub-step boundaries by one kernel."""

from __future__ import annotations

from typing import Any

from plant.kernel import kernel
from scenarios.score import note, open_move
from scenarios.script_counting import do_counting, undo_counting
from scenarios.script_electric import do_electric, undo_electric
from scenarios.script_mechanics import do_mechanics, undo_mechanics
from scenarios.triggers import due, due_soon
from sync.orders import refusal
from sync.waiting import waits

__all__ = ["give_order", "run_script"]

_READY = 3
_COMMAND, _EXTRA, _LOSE, _PAYLOAD, _FRICTION, _GUIDE, _END = 0, 1, 2, 3, 4, 8, 30
_FIRST_MECHANICAL, _LAST_MECHANICAL = 10, 29
_FIRST_COUNTING, _LAST_COUNTING = 31, 40
_ROW = 1
_BUSY = 2


@kernel
def give_order(rig: Any, command: int, target: float) -> None:
    """Give the controller an order (``sync.modes.Command``; ``target`` in m), to be seen at its next call."""
    rig.inputs.order += 1
    rig.inputs.command = command
    rig.inputs.target = target


@kernel
def _mechanical(action: int) -> bool:
    """Whether an action is one of load, spindles, guides and contacts."""
    return _FIRST_MECHANICAL <= action <= _LAST_MECHANICAL or action in (_PAYLOAD, _FRICTION, _GUIDE)


@kernel
def _counting(action: int) -> bool:
    """Whether an action is one of what is heard."""
    return _FIRST_COUNTING <= action <= _LAST_COUNTING or action in (_EXTRA, _LOSE)


@kernel
def _open(rig: Any, k: int) -> None:
    """Begin the move of row ``k``: an order that is refused is no move and ends none, one that is kept becomes a move later."""
    row = rig.script[k]
    if row.action != _COMMAND:
        open_move(rig, 0, row.values[1])
        return
    command = int(row.values[0])
    reason = refusal(rig.settings, rig.memory, command, row.values[1])
    if reason == 0:
        open_move(rig, command, row.values[1])
    elif reason == _BUSY and waits(rig.memory, command):
        rig.move_waiting = k + 1


@kernel
def _end(rig: Any, row: Any) -> None:
    """End what ``row`` did, if it has come."""
    if _mechanical(row.action):
        undo_mechanics(rig, row)
    elif _counting(row.action):
        undo_counting(rig, row)
    else:
        undo_electric(rig, row)


@kernel
def _fire(rig: Any, k: int) -> None:
    row = rig.script[k]
    row.fired = 1
    row.fired_us = rig.world.time_us
    rig.fired_us = rig.world.time_us
    note(rig, _ROW, row.leg, float(k))
    if row.move == 1:
        _open(rig, k)
    if row.action == _COMMAND:
        give_order(rig, int(row.values[0]), row.values[1])
    elif row.action == _END:
        _end(rig, rig.script[int(row.values[0])])
    elif _mechanical(row.action):
        do_mechanics(rig, row)
    elif _counting(row.action):
        do_counting(rig, row)
    else:
        do_electric(rig, row)


@kernel
def run_script(rig: Any, tick: bool) -> None:
    """Fire the rows that are due, in row order; READY rows only at a ``tick``."""
    now = rig.world.time_us
    soon = 0
    ahead = now + rig.world.sub_step_us * rig.world.steps_per_tick
    for k in range(rig.rows):
        row = rig.script[k]
        if row.fired == 1 or (row.trigger == _READY and not tick):
            continue
        if due(rig, k, now):
            _fire(rig, k)
            soon = 1
        elif due_soon(rig, k, ahead):
            soon = 1
    rig.due_soon = soon
