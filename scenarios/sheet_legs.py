"""Columns of the drive sheet: legs that are alike share one, each with its load cases at the voltage they leave the supply."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import inf
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq

from plant.closed_form.start import Source
from plant.closed_form.statics import rigid_shares
from scenarios.build import build_world
from scenarios.sheet_leg import Case, LegDrive, leg_drive

if TYPE_CHECKING:
    from scenarios.files.lift import Lift

__all__ = ["CASES", "EMPTY", "FULL_DOWN", "FULL_UP", "LIGHT_DOWN", "LIGHT_UP", "Column", "leg_columns", "supply_source"]

EMPTY = "empty nut"
LIGHT_UP = "raising, light"
FULL_UP = "raising, full"
LIGHT_DOWN = "lowering, light"
FULL_DOWN = "lowering, full"
CASES = {EMPTY: ("", 0), LIGHT_UP: ("light", 1), FULL_UP: ("full", 1), LIGHT_DOWN: ("light", -1), FULL_DOWN: ("full", -1)}
"""Load and direction of every case."""


@dataclass(frozen=True)
class Column:
    """Legs that are alike: names, drive, masses on the nut [kg] with the light and the rated payload, load cases, open voltage [V]."""

    names: tuple[str, ...]
    label: str
    drive: LegDrive
    masses: dict[str, float]
    cases: dict[str, Case]
    open_voltage: float


def supply_source(lift: Lift) -> Source:
    """The lift's supply in SI units."""
    supply = lift.supply
    limit = inf if supply.current_limit_a is None else supply.current_limit_a
    return Source(supply.open_voltage_v, supply.resistance_ohm, limit, supply.capacitance_mf * 1e-3)


def leg_columns(lift: Lift) -> list[Column]:
    """Columns of a lift, in the order of their first legs."""
    world = build_world(lift)[0]
    drives = [leg_drive(world["legs"][q]) for q in range(len(lift.leg))]
    masses = {"light": _masses(lift, lift.deck.light_payload_kg, drives), "full": _masses(lift, lift.deck.rated_payload_kg, drives)}
    groups: dict[tuple[LegDrive, float, float], list[int]] = {}
    for q, drive in enumerate(drives):
        key = (replace(drive, stroke=0.0), round(float(masses["light"][q]), 6), round(float(masses["full"][q]), 6))
        groups.setdefault(key, []).append(q)
    bare = [_column(lift, group, drives, masses, len(groups) == 1) for group in groups.values()]
    source = supply_source(lift)
    voltages = {name: _voltage(source, bare, name) for name in CASES}
    return [replace(column, cases={name: _case(column, name, voltages[name]) for name in CASES}) for column in bare]


def _masses(lift: Lift, payload: float, drives: Sequence[LegDrive]) -> NDArray[np.float64]:
    """Mass on each nut [kg], shape (N,)."""
    deck = lift.deck
    places = [(leg.at_mm[0] * 1e-3, leg.at_mm[1] * 1e-3) for leg in lift.leg]
    centre = (deck.centre_mm[0] * 1e-3, deck.centre_mm[1] * 1e-3)
    shares = rigid_shares(places, deck.mass_kg + payload, centre)
    return np.asarray(shares + np.array([drive.moving_mass for drive in drives]), dtype=np.float64)


def _column(lift: Lift, group: list[int], drives: Sequence[LegDrive], masses: dict[str, NDArray[np.float64]], alone: bool) -> Column:
    names = tuple(lift.leg[q].name for q in group)
    label = "each leg" if alone and len(names) > 1 else ", ".join(names)
    return Column(
        names, label, drives[group[0]], {key: float(value[group[0]]) for key, value in masses.items()}, {}, lift.supply.open_voltage_v
    )


def _case(column: Column, name: str, voltage: float) -> Case:
    load, direction = CASES[name]
    return Case(column.drive, column.masses[load] if load else 0.0, direction, voltage)


def _voltage(source: Source, columns: Sequence[Column], name: str) -> float:
    """Supply voltage [V] with every leg running in this case: where the source gives just what the motors take."""

    def gap(voltage: float) -> float:
        taken = sum(len(column.names) * _case(column, name, voltage).point.current for column in columns)
        return source.current(voltage) - taken

    if source.resistance == 0.0 or gap(source.voltage) >= 0.0:
        return source.voltage
    low = 0.02 * source.voltage
    return float(brentq(gap, low, source.voltage, xtol=1e-9)) if gap(low) > 0.0 else low
