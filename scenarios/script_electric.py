"""Rows of the script that change supply, bridges, wires, drag, clock and what is saved, and how such a row ends again."""

from __future__ import annotations

from typing import Any

from plant.advance import act_on
from plant.bridge_faults import break_wire, refresh_bridge
from plant.kernel import kernel
from plant.supply import refresh_supply
from plant.trouble import refresh_trouble
from scenarios.clock import shown

__all__ = ["do_electric", "undo_electric"]

_OFF, _ON, _SUPPLY, _BRAKE = 5, 6, 7, 9
_REVERSED, _BROKEN, _STUCK, _NO_LIMIT, _SOURCE, _POWER_FAIL, _JITTER, _MISSED, _RATE, _DRAG = 41, 42, 43, 44, 45, 46, 47, 48, 49, 50
_SAVE_DAMAGED = 51


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
def _obey(world: Any, leg: Any) -> None:
    """Put the command in force under the faults as they are now."""
    bridge = leg.bridge
    refresh_bridge(bridge)
    act_on(world, leg, bridge.next_mode, bridge.next_duty, bridge.next_limit)


@kernel
def _fault_bridge(world: Any, row: Any, leg: Any, begins: int) -> None:
    """Faults of one bridge and its wires begin (1) or end (0)."""
    action, trouble = row.action, leg.bridge.trouble
    if action == _REVERSED:
        trouble.reversed = begins
        leg.current_sensor.gain = -leg.current_sensor.gain
    elif action == _BROKEN:
        trouble.broken = begins
        leg.detector.trouble.cut = begins
        if begins == 1:
            break_wire(leg)
    elif action == _STUCK:
        trouble.stuck = int(row.values[0]) * begins
        trouble.duty = row.values[1]
    elif action == _NO_LIMIT:
        trouble.unlimited = begins
    if _REVERSED <= action <= _NO_LIMIT:
        _obey(world, leg)


@kernel
def _do_to_leg(rig: Any, row: Any, leg: Any) -> None:
    action = row.action
    if action == _ON:
        _drive(rig, leg, 1, row.values[0])
    elif action == _OFF:
        _drive(rig, leg, 0, 0.0)
    elif action == _BRAKE:
        _drive(rig, leg, 2, 0.0)
    elif action == _DRAG:
        leg.motor.coulomb *= row.values[0]
        leg.motor.viscous *= row.values[1]
    else:
        _fault_bridge(rig.world, row, leg, 1)


@kernel
def _spoil_saved(rig: Any, row: Any) -> None:
    """Make the saved position of a leg, or of all, another by one count; its check sum stays."""
    for q in range(rig.world.n_legs):
        if row.leg < 0 or row.leg == q:
            rig.memory.saved.counts[q] += 1


@kernel
def _fault_supply(rig: Any, row: Any) -> None:
    supply = rig.world.supply
    if row.action == _SUPPLY:
        row.kept[0] = supply.open_voltage
        supply.open_voltage = row.values[0]
    elif row.action == _SOURCE:
        row.kept[0] = supply.resistance
        supply.resistance = row.values[0]
    else:
        supply.failed = 1
    refresh_supply(supply)


@kernel
def _mend_supply(rig: Any, row: Any) -> None:
    supply = rig.world.supply
    if row.action == _SUPPLY:
        supply.open_voltage = row.kept[0]
    elif row.action == _SOURCE:
        supply.resistance = row.kept[0]
    else:
        supply.failed = 0
    refresh_supply(supply)


@kernel
def _set_clock(clock: Any, now: float, rate: float) -> None:
    """From ``now`` [us] on the controller's clock runs with a relative error ``rate``."""
    clock.shown_us = shown(clock, now)
    clock.from_us = now
    clock.rate = rate


@kernel
def _fault_clock(rig: Any, row: Any) -> None:
    clock, world = rig.clock, rig.world
    if row.action == _JITTER:
        if clock.jitter == 0:
            clock.delay_steps = world.delay_steps
        clock.jitter = int(row.values[0] * 1e6 / world.sub_step_us + 0.5)
    elif row.action == _MISSED:
        clock.skip += int(row.values[0])
    else:
        row.kept[0] = clock.rate
        _set_clock(clock, float(world.time_us), row.values[0])


@kernel
def _mend_clock(rig: Any, row: Any) -> None:
    clock, world = rig.clock, rig.world
    if row.action == _JITTER:
        clock.jitter = 0
        world.delay_steps = clock.delay_steps
    elif row.action == _RATE:
        _set_clock(clock, float(world.time_us), row.kept[0])


@kernel
def do_electric(rig: Any, row: Any) -> None:
    """What the ``row`` of an electrical fault does; what it replaces is kept in the row."""
    world = rig.world
    action = row.action
    if action in (_SUPPLY, _SOURCE, _POWER_FAIL):
        _fault_supply(rig, row)
        return
    if _JITTER <= action <= _RATE:
        _fault_clock(rig, row)
        return
    if action == _SAVE_DAMAGED:
        _spoil_saved(rig, row)
        return
    for q in range(world.n_legs):
        if row.leg < 0 or row.leg == q:
            _do_to_leg(rig, row, world.legs[q])
    refresh_trouble(world)


@kernel
def undo_electric(rig: Any, row: Any) -> None:
    """End what the ``row`` of an electrical fault did."""
    world = rig.world
    action = row.action
    if action in (_SUPPLY, _SOURCE, _POWER_FAIL):
        _mend_supply(rig, row)
        return
    if _JITTER <= action <= _RATE:
        _mend_clock(rig, row)
        return
    for q in range(world.n_legs):
        if row.leg < 0 or row.leg == q:
            leg = world.legs[q]
            if action == _DRAG:
                leg.motor.coulomb /= row.values[0]
                leg.motor.viscous /= row.values[1]
            else:
                _fault_bridge(world, row, leg, 0)
    refresh_trouble(world)
