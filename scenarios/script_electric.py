"""Rows of the script that change supply, bridges, wires and what is heard, and how such a row ends again."""

from __future__ import annotations

from typing import Any

from plant.advance import act_on
from plant.counting import inject
from plant.kernel import kernel

__all__ = ["do_electric", "undo_electric"]

_EXTRA, _LOSE, _OFF, _ON, _SUPPLY, _BRAKE = 1, 2, 5, 6, 7, 9


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
    elif action == _ON:
        _drive(rig, leg, 1, row.values[0])
    elif action == _OFF:
        _drive(rig, leg, 0, 0.0)
    elif action == _BRAKE:
        _drive(rig, leg, 2, 0.0)


@kernel
def do_electric(rig: Any, row: Any) -> None:
    """What the ``row`` of an electrical fault does; what it replaces is kept in the row."""
    world = rig.world
    if row.action == _SUPPLY:
        row.kept[0] = world.supply.open_voltage
        world.supply.open_voltage = row.values[0]
        return
    for q in range(world.n_legs):
        if row.leg < 0 or row.leg == q:
            _do_to_leg(rig, row, world.legs[q])


@kernel
def undo_electric(rig: Any, row: Any) -> None:
    """End what the ``row`` of an electrical fault did."""
    if row.action == _SUPPLY:
        rig.world.supply.open_voltage = row.kept[0]
