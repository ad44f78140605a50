"""Power of the logic: its hold-up capacitor, charged through a diode from the bridges' supply and emptied at constant power.

Neglects: what the logic draws below its least voltage, leakage, and the ripple inside a tick.
Source: energy of a capacitor, C (V1^2 - V2^2) / 2 = P t.
"""

from __future__ import annotations

import math
from typing import Any

from plant.kernel import kernel
from scenarios.score import note

__all__ = ["power_logic", "report_supply"]

_DOWN, _UP, _FAILS, _BACK = 30, 31, 32, 33


@kernel
def _charge(logic: Any, supply: Any, span: float) -> None:
    """Current through the diode during ``span`` [s], implicit in the capacitor's voltage; the bulk capacitor gives it."""
    over = supply.voltage - logic.drop - logic.voltage
    if over <= 0.0:
        return
    current = over / (logic.resistance + span / logic.capacitance)
    logic.voltage += current * span / logic.capacitance
    before = supply.voltage
    if supply.capacitance > 0.0:
        supply.voltage -= current * span * supply.elastance
        gone = 0.5 * supply.capacitance * (before * before - supply.voltage * supply.voltage)
        logic.spent += gone
        supply.energy_heat += gone


@kernel
def power_logic(rig: Any, span: float) -> None:
    """Charge and empty the hold-up capacitor over ``span`` [s]; stop the logic, or wake it."""
    logic = rig.logic
    _charge(logic, rig.world.supply, span)
    if logic.up == 1:
        left = logic.voltage * logic.voltage - 2.0 * logic.power * span / logic.capacitance
        logic.voltage = math.sqrt(left) if left > 0.0 else 0.0
    logic.lowest = logic.voltage if logic.voltage < logic.lowest else logic.lowest
    if logic.up == 1 and logic.voltage < logic.least:
        logic.up = 0
        logic.downs += 1
        note(rig, _DOWN, -1, logic.voltage)
    elif logic.up == 0:
        logic.down_us += rig.world.sub_step_us * rig.world.steps_per_tick
        if logic.voltage > logic.wake_above:
            logic.up = 1
            logic.wake = 1
            note(rig, _UP, -1, logic.voltage)


@kernel
def report_supply(rig: Any) -> None:
    """Compare the supply with the thresholds of its failure report."""
    logic = rig.logic
    voltage = rig.world.supply.voltage
    if logic.good == 1 and voltage < logic.fail_below:
        logic.good = 0
        note(rig, _FAILS, -1, voltage)
    elif logic.good == 0 and voltage > logic.good_above:
        logic.good = 1
        note(rig, _BACK, -1, voltage)
