"""The script: operator actions and faults as rows of a record table, fired at sub-step boundaries by one kernel."""

from __future__ import annotations

from typing import Any

from plant.advance import act_on
from plant.counting import inject
from plant.kernel import kernel
from plant.setup import refresh_load
from plant.spindle import refresh_spindle
from scenarios.score import note, open_move

__all__ = ["give_order", "run_script"]

_TIME, _ABOVE, _BELOW, _READY, _AFTER = 0, 1, 2, 3, 4
_COMMAND, _EXTRA, _LOSE, _PAYLOAD, _FRICTION, _OFF, _ON, _SUPPLY, _GUIDE, _BRAKE = 0, 1, 2, 3, 4, 5, 6, 7, 8, 9
_ROW = 1
_UNREFERENCED_MODE, _READY_MODE = 0, 2
_GO, _HOME = 1, 5


@kernel
def _mean_height(world: Any) -> float:
    total = 0.0
    for q in range(world.n_legs):
        total += world.legs[q].travel
    return total / world.n_legs  # type: ignore[no-any-return]


@kernel
def _due(rig: Any, k: int, now: int) -> bool:
    """Whether row ``k`` fires at ``now`` [us]."""
    row = rig.script[k]
    if row.trigger == _TIME:
        return now >= row.at  # type: ignore[no-any-return]
    if row.trigger == _ABOVE:
        return _mean_height(rig.world) >= row.at  # type: ignore[no-any-return]
    if row.trigger == _BELOW:
        return _mean_height(rig.world) <= row.at  # type: ignore[no-any-return]
    before = 0
    if k > 0:
        if rig.script[k - 1].fired == 0:
            return False
        before = rig.script[k - 1].fired_us
    if row.trigger == _AFTER:
        return now - before >= row.at  # type: ignore[no-any-return]
    if rig.rest_since_us < 0:
        return False
    tick = rig.world.sub_step_us * rig.world.steps_per_tick
    # an order needs two ticks to show in the mode
    since = before + 2 * tick if k > 0 else 0
    since = rig.rest_since_us if rig.rest_since_us > since else since
    return now - since >= row.at  # type: ignore[no-any-return]


@kernel
def give_order(rig: Any, command: int, target: float) -> None:
    """Give the controller an order (``sync.modes.Command``; ``target`` in m), to be seen at its next call."""
    rig.inputs.order += 1
    rig.inputs.command = command
    rig.inputs.target = target


@kernel
def _drive(rig: Any, leg: Any, mode: int, duty: float) -> None:
    """Hold a bridge, bypassing the controller, from now on."""
    rig.bypass = 1
    bridge = leg.bridge
    bridge.next_mode = mode
    bridge.next_duty = duty
    bridge.next_limit = bridge.current_limit
    act_on(rig.world, leg, mode, duty, bridge.current_limit)
    if duty != 0.0:
        rig.memory.direction = 1 if duty > 0.0 else -1


@kernel
def _do_to_leg(rig: Any, row: Any, leg: Any) -> None:
    action = row.action
    if action == _EXTRA:
        inject(leg.detector, int(row.values[0]), row.values[1], float(rig.world.time_us))
    elif action == _LOSE:
        leg.detector.to_miss += int(row.values[0])
    elif action == _FRICTION:
        leg.spindle.friction *= row.values[0]
        leg.spindle.static_friction *= row.values[0]
        refresh_spindle(leg)
    elif action == _GUIDE:
        leg.guide_friction = row.values[0]
    elif action == _ON:
        _drive(rig, leg, 1, row.values[0])
    elif action == _OFF:
        _drive(rig, leg, 0, 0.0)
    elif action == _BRAKE:
        _drive(rig, leg, 2, 0.0)


@kernel
def _accepted(rig: Any, row: Any) -> bool:
    """Whether the controller will take the order of ``row``: one that it refuses is no move, and ends none."""
    if row.action != _COMMAND:
        return True
    mode = rig.memory.mode
    command = int(row.values[0])
    if command == _HOME:
        return mode == _READY_MODE or mode == _UNREFERENCED_MODE  # type: ignore[no-any-return]
    if command == _GO and (row.values[1] < rig.settings.travel_low or row.values[1] > rig.settings.travel_high):
        return False
    return mode == _READY_MODE  # type: ignore[no-any-return]


@kernel
def _fire(rig: Any, k: int) -> None:
    row = rig.script[k]
    world = rig.world
    row.fired = 1
    row.fired_us = world.time_us
    note(rig, _ROW, row.leg, float(k))
    if row.move == 1 and _accepted(rig, row):
        open_move(rig, int(row.values[0]) if row.action == _COMMAND else 0, row.values[1])
    if row.action == _COMMAND:
        give_order(rig, int(row.values[0]), row.values[1])
    elif row.action == _PAYLOAD:
        world.deck.payload = row.values[0]
        world.deck.payload_x = row.values[1]
        world.deck.payload_y = row.values[2]
        refresh_load(world)
    elif row.action == _SUPPLY:
        world.supply.open_voltage = row.values[0]
    else:
        for q in range(world.n_legs):
            if row.leg < 0 or row.leg == q:
                _do_to_leg(rig, row, world.legs[q])


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
        if _due(rig, k, now):
            _fire(rig, k)
        elif row.trigger == _ABOVE or row.trigger == _BELOW or (row.trigger != _READY and _due(rig, k, ahead)):
            soon = 1
    rig.due_soon = soon
