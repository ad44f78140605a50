"""Rows of the drive sheet about the spindle as a column and the pressure on its nut."""

from __future__ import annotations

from collections.abc import Sequence
from math import inf
from typing import TYPE_CHECKING

from plant.closed_form import spindle_strength
from plant.threads import trapezoidal_thread
from scenarios.sheet import Row
from scenarios.sheet_legs import FULL_UP, Column
from scenarios.sheet_rows import Alarm, Quantity, leg_rows
from scenarios.sheet_thrust import limited_thrust

if TYPE_CHECKING:
    from scenarios.files.leg import Spindle
    from scenarios.files.lift import Lift, Structure

__all__ = ["strength_rows"]

BUCKLING_MARGIN = 3.0
"""Least margins (planning values)."""
BLOCKED_MARGIN = 1.5
YIELD_STRESS = 350e6
"""Yield stress taken for the spindle [Pa]: planning value for unhardened steel, of weight only where it is stubby."""

COLUMN = "column formulas of machine design textbooks, from memory; yield stress 350 MPa: planning value"
NUT = "common machine-design practice"
STIFFER = "Take a larger thread, a shorter free length, better held ends or a lower current limit."


def strength_rows(lift: Lift, columns: Sequence[Column]) -> list[Row]:
    """Buckling of the spindle and pressure on the nut; nothing if the lift file has no structure table."""
    structure = lift.structure
    if structure is None:
        return []
    spindles = {leg.name: leg.spindle for leg in lift.leg}

    def critical(column: Column) -> float:
        core = _core(spindles[column.names[0]])
        return spindle_strength.critical_load(structure.free_length_mm * 1e-3, core, structure.end_fixity, YIELD_STRESS)

    def pressure(column: Column) -> float:
        nut = structure.nut_length_mm * 1e-3
        return 1e-6 * spindle_strength.nut_pressure(_full(column), column.drive.screw.mean_diameter, nut)

    quantities: tuple[Quantity, ...] = (
        ("critical load of the spindle", "N", critical, "Euler pi^2 C E A / (L/k)^2, Johnson where stubby; core diameter", COLUMN),
        ("buckling margin, full load", "1", lambda c: _margin(critical(c), _full(c)), "critical load over nut force", COLUMN),
        (
            "buckling margin, blocked at the current limit",
            "1",
            lambda c: _margin(critical(c), limited_thrust(c)),
            "critical load over thrust at the limit",
            COLUMN,
        ),
        ("nut pressure, full load", "MPa", pressure, "F / (pi d2 H1 z), H1 = P/2, z = length / P", NUT),
        (
            "nut pressure margin, full load",
            "1",
            lambda c: _margin(structure.allowed_nut_pressure_mpa, pressure(c)),
            "allowed pressure over pressure",
            NUT,
        ),
    )
    return leg_rows("strength", columns, quantities, _alarms(structure))


def _alarms(structure: Structure) -> dict[str, Alarm]:
    allowed = structure.allowed_nut_pressure_mpa
    return {
        "buckling margin, full load": (
            lambda value: value < BUCKLING_MARGIN,
            f"less than {BUCKLING_MARGIN:g} times the full load buckles the spindle",
            STIFFER,
        ),
        "buckling margin, blocked at the current limit": (
            lambda value: value < BLOCKED_MARGIN,
            f"a leg blocked at the current limit comes within {BLOCKED_MARGIN:g} times of buckling",
            STIFFER,
        ),
        "nut pressure, full load": (
            lambda value: value > allowed,
            f"the nut is pressed above structure.allowed_nut_pressure_mpa = {allowed:g}",
            "Take a longer nut, a larger thread or a harder nut material.",
        ),
    }


def _full(column: Column) -> float:
    return column.cases[FULL_UP].force


def _margin(load: float, force: float) -> float:
    return load / force if force > 0.0 else inf


def _core(spindle: Spindle) -> float:
    """Core diameter [m]; of a thread given by dimensions, that of a single-start trapezoidal thread without crest clearance."""
    if spindle.thread is not None:
        return trapezoidal_thread(spindle.thread).core_diameter
    assert spindle.pitch_diameter_mm is not None
    assert spindle.lead_mm is not None
    return max(0.3 * spindle.pitch_diameter_mm, spindle.pitch_diameter_mm - 0.5 * spindle.lead_mm) * 1e-3
