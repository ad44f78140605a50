"""Rows of the drive sheet that need nothing but a leg: counting, spindle, thrust and pinch, dynamics."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from math import degrees

from plant.closed_form import counts, electrical, gear, pinch, power_screw
from plant.closed_form.motor import Motor, brush_voltage, electrical_time_constant, mechanical_time_constant, stall_point
from scenarios.sheet import Row, warned
from scenarios.sheet_leg import GRAVITY
from scenarios.sheet_legs import FULL_UP, Column

__all__ = ["counting_rows", "dynamics_rows", "spindle_rows", "thrust_rows"]

COARSE_COUNT = 0.2e-3
REST_MARGIN = 1.0
MOTION_MARGIN = 2.0
LOW_MARGIN = 0.5
LOW_FRICTION = 0.8
PINCH_EXAMPLE = 150.0
TEXTBOOK = "power-screw equations of machine design textbooks"
BALANCE = "balance of forces"
RIPPLE = "Vazquez-Sanchez et al., Applied Sciences 7(1):14, 2017"


def _each(columns: Sequence[Column], take: Callable[[Column], float]) -> tuple[float, ...]:
    return tuple(take(column) for column in columns)


def counting_rows(columns: Sequence[Column]) -> list[Row]:
    """Counts per revolution, per mm and per stroke."""
    group = "counting"

    def per_metre(column: Column) -> float:
        return counts.counts_per_metre(column.drive.counts, column.drive.ratio, column.drive.screw.lead)

    quantum = Row(group, "lift per count", "um", _each(columns, lambda c: 1e6 / per_metre(c)), "lead / (c ratio)", "arithmetic")
    return [
        Row(group, "counts per motor revolution", "1", _each(columns, lambda c: float(c.drive.counts)), "c = lcm(segments, poles)", RIPPLE),
        Row(group, "counts per mm", "1/mm", _each(columns, lambda c: 1e-3 * per_metre(c)), "c ratio / lead", "arithmetic"),
        warned(
            quantum,
            lambda value: value > COARSE_COUNT * 1e6,
            f"one count is more than {COARSE_COUNT * 1e3:g} mm of lift: the level cannot be held finer than a few counts",
            "Take a higher gear ratio, a finer lead or a motor with more (odd) segments.",
        ),
        Row(
            group,
            "counts per stroke",
            "1",
            _each(columns, lambda c: per_metre(c) * c.drive.stroke),
            "between the end stops of the first leg named",
            "arithmetic",
        ),
    ]


def spindle_rows(columns: Sequence[Column]) -> list[Row]:
    """Angles, self-locking margins and efficiencies of the spindle."""
    group = "spindle"

    def margin(column: Column, friction: float) -> float:
        return degrees(power_screw.locking_margin(replace(column.drive.screw, friction=friction)))

    held = "atan of lowering torque over (F d2/2), collar included"
    rest = Row(group, "self-locking margin at rest", "deg", _each(columns, lambda c: margin(c, c.drive.static_friction)), held, TEXTBOOK)
    motion = Row(group, "margin in motion", "deg", _each(columns, lambda c: margin(c, c.drive.screw.friction)), held, TEXTBOOK)
    low = Row(
        group,
        "margin at the low end of friction",
        "deg",
        _each(columns, lambda c: margin(c, LOW_FRICTION * c.drive.screw.friction)),
        f"the same at {LOW_FRICTION:g} times the running friction",
        TEXTBOOK + "; spread of friction: planning value",
    )
    return [
        Row(
            group,
            "lead angle",
            "deg",
            _each(columns, lambda c: degrees(power_screw.lead_angle(c.drive.screw))),
            "atan(l / (pi d2))",
            TEXTBOOK,
        ),
        Row(
            group,
            "friction where the thread lets go",
            "1",
            _each(columns, lambda c: power_screw.least_locking_friction(c.drive.screw)),
            "l cos(a) / (pi d2), thread alone",
            TEXTBOOK,
        ),
        warned(
            rest,
            lambda value: value < REST_MARGIN,
            f"less than {REST_MARGIN:g} degree of self-locking margin at rest: under vibration the load may creep down, uncounted",
            "Take a finer lead or a larger diameter, add a brake, or short the motors at rest.",
        ),
        warned(
            motion,
            lambda value: value < MOTION_MARGIN,
            f"less than {MOTION_MARGIN:g} degrees of margin in motion: lowering runs almost free and coasts long",
            "Take a finer lead, or brake when lowering; do not rely on friction to stop.",
        ),
        warned(
            low,
            lambda value: value < LOW_MARGIN,
            "with friction at its low end (wear, other grease, heat) the moving load drives the spindle or nearly so",
            "Plan the stop with braking and rehearse with thread friction at 0.8 of its value; a finer lead removes the cause.",
        ),
        Row(
            group,
            "efficiency of the screw, raising",
            "%",
            _each(columns, lambda c: 100.0 * power_screw.efficiency(c.drive.screw)),
            "F l / (2 pi T)",
            TEXTBOOK,
        ),
        Row(
            group,
            "efficiency of screw and gear",
            "%",
            _each(columns, lambda c: 100.0 * power_screw.efficiency(c.drive.screw) * c.drive.efficiency),
            "screw times gear",
            TEXTBOOK,
        ),
    ]


def thrust_rows(columns: Sequence[Column]) -> list[Row]:
    """Thrust free and at the current limit, and what it leaves for something caught; steady forces only."""
    group = "thrust and pinch"

    def stall(column: Column) -> float:
        return _thrust(column, stall_point(column.open_voltage, column.drive.motor).current)

    def caught(column: Column) -> float:
        return pinch.contact_thrust(_limited(column), column.masses["light"] * GRAVITY, column.drive.guide_friction)

    pinched = Row(
        group, "steady pinch force, raising", "N", _each(columns, caught), "thrust at the limit - light load - guide friction", BALANCE
    )
    law = "F = (K I - Tc) / c_F"
    return [
        Row(
            group,
            "thrust per ampere",
            "N/A",
            _each(columns, lambda c: c.drive.motor.torque_constant / c.drive.torque_per_newton),
            "K / c_F",
            TEXTBOOK,
        ),
        Row(group, "stall thrust without limit", "N", _each(columns, stall), law + ", I = stall current at the open voltage", TEXTBOOK),
        Row(group, "thrust at the current limit", "N", _each(columns, _limited), law + ", I = bridge limit", TEXTBOOK),
        warned(
            pinched,
            lambda value: value > PINCH_EXAMPLE,
            f"the current limit alone lets {PINCH_EXAMPLE:g} N be exceeded (an example: trade summaries quote EN 12453 for gates "
            "after 0.75 s); the peak on contact is higher still, because the rotor's energy comes on top",
            "Take the limit from your risk assessment; lower current limit and speed, react to a current step, add an edge sensor.",
        ),
        Row(
            group,
            "force on what is under the deck, lowering",
            "N",
            _each(columns, lambda c: c.masses["full"] * GRAVITY + (_limited(c) if c.drive.captive else 0.0)),
            "full load on the leg, and a captive nut pulls with its thrust at the limit",
            BALANCE,
        ),
    ]


def _thrust(column: Column, current: float) -> float:
    drive = column.drive
    return pinch.drive_thrust(current, drive.motor.torque_constant, drive.motor.coulomb, drive.torque_per_newton)


def _limited(column: Column) -> float:
    free = stall_point(column.open_voltage, column.drive.motor).current
    return _thrust(column, min(free, column.drive.current_limit))


def dynamics_rows(columns: Sequence[Column]) -> list[Row]:
    """Reflected mass, time constants, width of the flyback."""
    group = "dynamics"

    def turning(column: Column) -> Motor:
        return replace(column.drive.motor, inertia=column.drive.inertia(column.masses["full"]))

    def flyback(column: Column) -> float:
        case, motor = column.cases[FULL_UP], column.drive.motor
        emf = motor.torque_constant * case.point.speed
        opposing = case.voltage + 2.0 * column.drive.diode_drop + emf + brush_voltage(case.point.current, motor)
        return electrical.decay_time(case.point.current, motor.inductance, column.drive.winding_resistance, opposing)

    return [
        Row(
            group,
            "inertia at the motor, full load",
            "g cm2",
            _each(columns, lambda c: 1e7 * turning(c).inertia),
            "J + Js/i^2 + m rx^2",
            "kinematics",
        ),
        Row(
            group,
            "mass of the rotor as felt at the nut",
            "kg",
            _each(columns, lambda c: gear.mass_at_nut(c.drive.motor.inertia, c.drive.travel)),
            "J / rx^2, rx = l / (2 pi i)",
            "kinematics",
        ),
        Row(
            group,
            "electrical time constant",
            "ms",
            _each(columns, lambda c: 1e3 * electrical_time_constant(c.drive.motor)),
            "L / R",
            "standard",
        ),
        Row(
            group,
            "mechanical time constant",
            "ms",
            _each(columns, lambda c: 1e3 * mechanical_time_constant(turning(c))),
            "J R / (K^2 + b R)",
            "standard",
        ),
        Row(
            group,
            "decay of current at power-off, full load",
            "us",
            _each(columns, lambda c: 1e6 * flyback(c)),
            "(L/R) ln(1 + i R / V), V = supply + 2 diodes + EMF + brushes",
            "L di/dt = -R i - V",
        ),
    ]
