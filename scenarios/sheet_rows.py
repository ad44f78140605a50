"""Rows of the drive sheet about counting and spindle, and how rows of legs are made from lists of quantities."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from math import degrees

from plant.closed_form import counts, power_screw
from scenarios.sheet import Row, warned
from scenarios.sheet_legs import Column

__all__ = ["TEXTBOOK", "Alarm", "Quantity", "counting_rows", "leg_rows", "spindle_rows"]

Quantity = tuple[str, str, Callable[[Column], float], str, str]
"""Name, unit, value of a column, formula, source."""
Alarm = tuple[Callable[[float], bool], str, str]
"""When a value is bad, the warning and the remedy."""

COARSE_COUNT = 200.0
"""Micrometres of lift per count above which a warning is given (planning value, as are the margins below)."""
REST_MARGIN = 1.0
MOTION_MARGIN = 2.0
LOW_MARGIN = 0.5
LOW_FRICTION = 0.8

TEXTBOOK = "power-screw equations of machine design textbooks"
RIPPLE = "Vazquez-Sanchez et al., Applied Sciences 7(1):14, 2017"
HELD = "atan of lowering torque over (F d2/2), collar included"


def leg_rows(group: str, columns: Sequence[Column], quantities: Sequence[Quantity], alarms: dict[str, Alarm]) -> list[Row]:
    """Rows of ``quantities``, one value per column, warned of by the alarm of the same name."""
    rows = []
    for name, unit, take, formula, source in quantities:
        row = Row(group, name, unit, tuple(take(column) for column in columns), formula, source)
        rows.append(warned(row, *alarms[name]) if name in alarms else row)
    return rows


def _per_metre(column: Column) -> float:
    return counts.counts_per_metre(column.drive.counts, column.drive.ratio, column.drive.screw.lead)


def _margin(column: Column, friction: float) -> float:
    return degrees(power_screw.locking_margin(replace(column.drive.screw, friction=friction)))


COUNTING: tuple[Quantity, ...] = (
    ("counts per motor revolution", "1", lambda c: float(c.drive.counts), "c = lcm(segments, poles)", RIPPLE),
    ("counts per mm", "1/mm", lambda c: 1e-3 * _per_metre(c), "c ratio / lead", "arithmetic"),
    ("lift per count", "um", lambda c: 1e6 / _per_metre(c), "lead / (c ratio)", "arithmetic"),
    ("counts per stroke", "1", lambda c: _per_metre(c) * c.drive.stroke, "between the end stops of the first leg named", "arithmetic"),
)

SPINDLE: tuple[Quantity, ...] = (
    ("lead angle", "deg", lambda c: degrees(power_screw.lead_angle(c.drive.screw)), "atan(l / (pi d2))", TEXTBOOK),
    (
        "friction where the thread lets go",
        "1",
        lambda c: power_screw.least_locking_friction(c.drive.screw),
        "l cos(a) / (pi d2), thread alone",
        TEXTBOOK,
    ),
    ("self-locking margin at rest", "deg", lambda c: _margin(c, c.drive.static_friction), HELD, TEXTBOOK),
    ("margin in motion", "deg", lambda c: _margin(c, c.drive.screw.friction), HELD, TEXTBOOK),
    (
        "margin at the low end of friction",
        "deg",
        lambda c: _margin(c, LOW_FRICTION * c.drive.screw.friction),
        f"the same at {LOW_FRICTION:g} times the running friction",
        TEXTBOOK + "; spread of friction: planning value",
    ),
    ("efficiency of the screw, raising", "%", lambda c: 100.0 * power_screw.efficiency(c.drive.screw), "F l / (2 pi T)", TEXTBOOK),
    (
        "efficiency of screw and gear",
        "%",
        lambda c: 100.0 * power_screw.efficiency(c.drive.screw) * c.drive.efficiency,
        "screw times gear",
        TEXTBOOK,
    ),
)

ALARMS: dict[str, Alarm] = {
    "lift per count": (
        lambda value: value > COARSE_COUNT,
        f"one count is more than {COARSE_COUNT:g} um of lift: the level cannot be held finer than a few counts",
        "Take a higher gear ratio, a finer lead or a motor with more (odd) segments.",
    ),
    "self-locking margin at rest": (
        lambda value: value < REST_MARGIN,
        f"less than {REST_MARGIN:g} degree of self-locking margin at rest: under vibration the load may creep down, uncounted",
        "Take a finer lead or a larger diameter, add a brake, or short the motors at rest.",
    ),
    "margin in motion": (
        lambda value: value < MOTION_MARGIN,
        f"less than {MOTION_MARGIN:g} degrees of margin in motion: lowering runs almost free and coasts long",
        "Take a finer lead, or brake when lowering; do not rely on friction to stop.",
    ),
    "margin at the low end of friction": (
        lambda value: value < LOW_MARGIN,
        "with friction at its low end (wear, other grease, heat) the moving load drives the spindle or nearly so",
        "Plan the stop with braking and rehearse with thread friction at 0.8 of its value; a finer lead removes the cause.",
    ),
}


def counting_rows(columns: Sequence[Column]) -> list[Row]:
    """Counts per revolution, per mm and per stroke."""
    return leg_rows("counting", columns, COUNTING, ALARMS)


def spindle_rows(columns: Sequence[Column]) -> list[Row]:
    """Angles, self-locking margins and efficiencies of the spindle."""
    return leg_rows("spindle", columns, SPINDLE, ALARMS)
