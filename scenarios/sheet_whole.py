"""Rows of the drive sheet about the whole lift and its surroundings: supply, heat, hold-up."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from math import inf
from typing import TYPE_CHECKING

from plant.closed_form import hold_up
from plant.closed_form.duty import Heat, TwoNode, periodic_temperatures
from plant.closed_form.motor import brush_voltage
from plant.closed_form.start import Starter, simultaneous_start
from scenarios.sheet import Row, warned
from scenarios.sheet_legs import FULL_DOWN, FULL_UP, Column, supply_source

if TYPE_CHECKING:
    from scenarios.files.lift import Lift

__all__ = ["heat_rows", "hold_up_rows", "supply_rows"]

SHED_SHARE = 0.7
WINDING_LIMIT = 120.0
HOLD_UP_MARGIN = 1.3


def supply_rows(lift: Lift, columns: Sequence[Column]) -> list[Row]:
    """Voltage while all legs raise the full load, and what a start of all legs at once does to it."""
    group = "supply, all legs together"
    source = supply_source(lift)
    starters = [
        Starter(
            replace(column.drive.motor, inertia=column.drive.inertia(column.masses["full"])),
            column.cases[FULL_UP].load,
            column.drive.current_limit,
            len(column.names),
        )
        for column in columns
    ]
    start = simultaneous_start(source, starters)
    how = "integrated: bridges full on at once, no soft start, current limit acting"
    lowest = Row(group, "lowest voltage at a simultaneous start", "V", (start.lowest,), how, "motor and capacitor equations")
    ready = Row(group, "time to 95 % of full speed", "s", (start.time,), how, "motor and capacitor equations")
    shed = SHED_SHARE * source.voltage
    remedy = "Start softly (100 to 300 ms) or one leg after the other, lower bridge.current_limit_a, or take a stiffer supply."
    lowest = warned(
        lowest,
        lambda v: v < lift.logic.least_v,
        f"a simultaneous start pulls the supply below the {lift.logic.least_v:g} V of the logic",
        remedy,
    )
    lowest = warned(
        lowest, lambda v: v < shed, f"a simultaneous start pulls the supply below {100.0 * SHED_SHARE:g} % of its voltage", remedy
    )
    return [
        Row(
            group,
            "voltage, all raising the full load",
            "V",
            (columns[0].cases[FULL_UP].voltage,),
            "where the source gives what the motors take",
            "line of the supply",
        ),
        lowest,
        Row(group, "largest motor current at that start", "A", (start.current,), how, "motor and capacitor equations"),
        warned(ready, lambda t: t == inf, "within half a second the legs do not reach speed: the supply is too weak for this load", remedy),
    ]


def heat_rows(lift: Lift, columns: Sequence[Column]) -> list[Row]:
    """Winding temperature for the stated duty and in continuous running, full load, as much up as down."""
    group = "heat"
    duty = lift.duty
    model = "two nodes, losses straight in both temperatures, settled cycle by matrix exponential"
    source = "two-node model; nodes are planning values unless measured"
    cycle = tuple(_winding(lift, column, duty.off_s) for column in columns)
    stated = Row(group, "winding at the stated duty", "C", cycle, model, source)
    return [
        Row(group, "stated duty, time on", "s", (duty.on_s,), "[duty] of the lift file, half of it up, half down", "lift file"),
        Row(group, "stated duty, time off", "s", (duty.off_s,), "[duty] of the lift file", "lift file"),
        warned(
            stated,
            lambda value: value > WINDING_LIMIT,
            f"the stated duty heats the winding above {WINDING_LIMIT:g} C (class B less 10 K)",
            "Shorten duty.on_s, lengthen duty.off_s, or take a motor with less copper loss at this load.",
        ),
        Row(group, "winding without pauses", "C", tuple(_winding(lift, column, 0.0) for column in columns), model, source),
    ]


def _winding(lift: Lift, column: Column, off: float) -> float:
    thermal = next(leg for leg in lift.leg if leg.name == column.names[0]).thermal
    nodes = TwoNode(
        thermal.winding_capacity_j_per_k, thermal.case_capacity_j_per_k, thermal.winding_to_case_k_per_w, thermal.case_to_air_k_per_w
    )
    coefficients = (thermal.copper_coefficient_per_k, thermal.magnet_coefficient_per_k)
    cold = _copper_heat(column, coefficients, 20.0, 20.0)
    slopes = (
        (_copper_heat(column, coefficients, 100.0, 20.0) - cold) / 80.0,
        (_copper_heat(column, coefficients, 20.0, 100.0) - cold) / 80.0,
    )
    return periodic_temperatures(nodes, Heat(cold, 0.0, slopes), lift.duty.on_s, off, lift.duty.ambient_c)[0]


def _copper_heat(column: Column, coefficients: tuple[float, float], winding: float, case: float) -> float:
    """Copper and brush heat [W], mean of raising and lowering the full load, at two temperatures [deg C]."""
    drive, total = column.drive, 0.0
    resistance = drive.winding_resistance * (1.0 + coefficients[0] * (winding - 20.0))
    constant = drive.motor.torque_constant * (1.0 + coefficients[1] * (case - 20.0))
    motor = replace(drive.motor, resistance=resistance + drive.motor.resistance - drive.winding_resistance, torque_constant=constant)
    for name in (FULL_UP, FULL_DOWN):
        current = replace(column.cases[name], drive=replace(drive, motor=motor)).point.current
        total += 0.5 * (resistance * current * current + brush_voltage(current, motor) * current)
    return total


def hold_up_rows(lift: Lift, columns: Sequence[Column]) -> list[Row]:
    """How long the logic must live after a power failure, and the capacitor for it."""
    group, logic, full = "hold-up", lift.logic, lift.supply.open_voltage_v
    coast = max(case.coasting.time for column in columns for case in column.cases.values())
    needed = hold_up.time_needed(coast, logic.write_ms * 1e-3, HOLD_UP_MARGIN)
    law = f"{HOLD_UP_MARGIN:g} times the longest coast of the cases above, plus the write"
    rows = [Row(group, "hold-up needed", "s", (needed,), law, "counts go on while a leg coasts; factor: planning value")]
    store = "stored energy of a capacitor"
    if full <= logic.least_v:
        worry = f"the supply of {full:g} V is not above logic.least_v = {logic.least_v:g}: nothing can be held up from it"
        return [
            *rows,
            Row(
                group,
                "capacitance for it",
                "mF",
                (inf,),
                "2 P t / (V^2 - Vmin^2)",
                store,
                "",
                worry,
                "Lower logic.least_v or give its supply.",
            ),
        ]
    capacitance = hold_up.capacitance_needed(logic.power_w, needed, full, logic.least_v) if needed < inf else inf
    rows.append(Row(group, "capacitance for it", "mF", (1e3 * capacitance,), "2 P t / (V^2 - Vmin^2)", store))
    rows.append(_hold_up_there(lift, needed))
    return rows


def _hold_up_there(lift: Lift, needed: float) -> Row:
    """What the logic's own capacitor, or where there is none the bulk capacitor, gives; worried below ``needed`` [s]."""
    logic, full, store = lift.logic, lift.supply.open_voltage_v, "stored energy of a capacitor"
    own = logic.hold_up_mf is not None
    capacitance = lift.supply.capacitance_mf if logic.hold_up_mf is None else logic.hold_up_mf
    full = max(full - logic.feed_drop_v, logic.least_v) if own else full
    given = hold_up.hold_up_time(capacitance * 1e-3, logic.power_w, full, logic.least_v)
    name = "the logic's own capacitor" if own else "the bulk capacitor"
    has = Row("hold-up", f"hold-up of {name}", "s", (given,), "C (V^2 - Vmin^2) / (2 P), motors off at once", store)
    return warned(
        has,
        lambda time: time < needed,
        (f"{name} does not keep" if given > 0.0 else "without a bulk capacitor nothing keeps")
        + " the logic alive through the longest coast: counts are lost at a power failure",
        "Raise logic.hold_up_mf, or brake at power failure."
        if own
        else "Put the capacitance of the row above behind a diode, brake at power failure, or mark the position uncertain on wake.",
    )
