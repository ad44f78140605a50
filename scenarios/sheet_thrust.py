"""Rows of the drive sheet about force and motion: thrust and steady pinch, reflected mass, time constants."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from plant.closed_form import electrical, gear, pinch
from plant.closed_form.motor import Motor, brush_voltage, electrical_time_constant, mechanical_time_constant, stall_point
from scenarios.sheet import Row
from scenarios.sheet_leg import GRAVITY
from scenarios.sheet_legs import FULL_UP, Column
from scenarios.sheet_rows import TEXTBOOK, Alarm, Quantity, leg_rows

__all__ = ["dynamics_rows", "limited_thrust", "thrust_rows"]

PINCH_EXAMPLE = 150.0
"""N; an example to compare with, not a limit: trade summaries quote it from EN 12453 for powered gates after 0.75 s."""
BALANCE = "balance of forces"
THRUST = "F = (K I - Tc) / c_F, "


def limited_thrust(column: Column) -> float:
    """Thrust at the nut [N] of a blocked leg whose bridge holds its current limit."""
    return _thrust(column, min(_stall_current(column), column.drive.current_limit))


def _stall_current(column: Column) -> float:
    return stall_point(column.open_voltage, column.drive.motor).current


def _thrust(column: Column, current: float) -> float:
    drive = column.drive
    return pinch.drive_thrust(current, drive.motor.torque_constant, drive.motor.coulomb, drive.torque_per_newton)


def _caught_above(column: Column) -> float:
    return pinch.contact_thrust(limited_thrust(column), column.masses["light"] * GRAVITY, column.drive.guide_friction)


def _caught_below(column: Column) -> float:
    return column.masses["full"] * GRAVITY + (limited_thrust(column) if column.drive.captive else 0.0)


def _turning(column: Column) -> Motor:
    return replace(column.drive.motor, inertia=column.drive.inertia(column.masses["full"]))


def _decay(column: Column) -> float:
    """Time [s] in which the running current dies after all switches, or all but one, have opened."""
    case, drive = column.cases[FULL_UP], column.drive
    diodes = drive.diode_drop if drive.freewheel else case.voltage + 2.0 * drive.diode_drop
    opposing = diodes + drive.motor.torque_constant * case.point.speed + brush_voltage(case.point.current, drive.motor)
    return electrical.decay_time(case.point.current, drive.motor.inductance, drive.winding_resistance, opposing)


THRUSTS: tuple[Quantity, ...] = (
    ("thrust per ampere", "N/A", lambda c: c.drive.motor.torque_constant / c.drive.torque_per_newton, "K / c_F", TEXTBOOK),
    (
        "stall thrust without limit",
        "N",
        lambda c: _thrust(c, _stall_current(c)),
        THRUST + "I = stall current at the open voltage",
        TEXTBOOK,
    ),
    ("thrust at the current limit", "N", limited_thrust, THRUST + "I = bridge limit", TEXTBOOK),
    ("steady pinch force, raising", "N", _caught_above, "thrust at the limit - light load - guide friction", BALANCE),
    (
        "force on what is under the deck, lowering",
        "N",
        _caught_below,
        "full load on the leg, and a captive nut pulls with its thrust at the limit",
        BALANCE,
    ),
)

DYNAMICS: tuple[Quantity, ...] = (
    ("inertia at the motor, full load", "g cm2", lambda c: 1e7 * _turning(c).inertia, "J + Js/i^2 + m rx^2", "kinematics"),
    (
        "mass of the rotor as felt at the nut",
        "kg",
        lambda c: gear.mass_at_nut(c.drive.motor.inertia, c.drive.travel),
        "J / rx^2, rx = l / (2 pi i)",
        "kinematics",
    ),
    ("electrical time constant", "ms", lambda c: 1e3 * electrical_time_constant(c.drive.motor), "L / R", "motor equations, standard"),
    (
        "mechanical time constant",
        "ms",
        lambda c: 1e3 * mechanical_time_constant(_turning(c)),
        "J R / (K^2 + b R)",
        "motor equations, standard",
    ),
    (
        "decay of current at power-off, full load",
        "us",
        lambda c: 1e6 * _decay(c),
        "(L/R) ln(1 + i R / V), V = EMF + brushes + what the diodes oppose",
        "motor equations, standard",
    ),
)

ALARMS: dict[str, Alarm] = {
    "steady pinch force, raising": (
        lambda value: value > PINCH_EXAMPLE,
        f"the current limit alone lets {PINCH_EXAMPLE:g} N be exceeded (an example: trade summaries quote EN 12453 for gates "
        "after 0.75 s); the peak on contact is higher still, because the rotor's energy comes on top",
        "Take the limit from your risk assessment; lower current limit and speed, react to a current step, add an edge sensor.",
    )
}


def thrust_rows(columns: Sequence[Column]) -> list[Row]:
    """Thrust free and at the current limit, and what it leaves for something caught; steady forces only."""
    return leg_rows("thrust and pinch", columns, THRUSTS, ALARMS)


def dynamics_rows(columns: Sequence[Column]) -> list[Row]:
    """Reflected mass, time constants, decay of the current."""
    return leg_rows("dynamics", columns, DYNAMICS, ALARMS)
