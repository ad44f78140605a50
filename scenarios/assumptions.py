"""Every number of a rehearsal that has no source, and what was derived where a file is silent."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from pydantic import BaseModel

from scenarios.build_motor import motor_constants
from scenarios.build_settings import told_constants
from scenarios.build_trust import ALLOWANCE, TESTS_PER_LEG, drift_limit
from scenarios.files.fields import PLANNING
from scenarios.files.leg import SIGNAL_PARTS
from scenarios.files.lift import Lift
from scenarios.files.limits import LimitValue
from scenarios.files.rates import Rates
from scenarios.files.scenario import Scenario
from scenarios.files.slips import unit_of

__all__ = ["UNSTATED", "Assumption", "assumptions", "derivations"]

UNSTATED = "given, no source stated"


@dataclass(frozen=True)
class Assumption:
    """One number: its key (with ``lift.`` or ``settings.`` before it), value, unit, and what is known of its source."""

    key: str
    value: float
    unit: str
    source: str


def assumptions(scenario: Scenario) -> list[Assumption]:
    """Numbers without a source: defaults where a file is silent, and values given without a word in ``[sources]``.

    Parameters
    ----------
    scenario
        The scenario with its lift and settings.

    Returns
    -------
    list of Assumption
        Lift, settings, scenario, in the order of the files.  A value that all legs share is listed once.
    """
    listed = _lift(scenario.lift)
    listed += [_prefixed("settings", one) for one in _table(scenario.settings, "", scenario.settings.sources)]
    listed += [one for one in _table(scenario.file, "", {}) if one.key.startswith(("limits.", "sub_step"))]
    return listed


def _prefixed(file: str, one: Assumption) -> Assumption:
    return Assumption(f"{file}.{one.key}", one.value, one.unit, one.source)


def _lift(lift: Lift) -> list[Assumption]:
    """Numbers of a lift file; a leg's key is ``leg.spindle.friction`` if all legs agree, else ``leg.NAME.spindle.friction``."""
    shared: dict[tuple[str, float], list[Assumption]] = {}
    for leg in lift.leg:
        for one in _table(leg, f"leg.{leg.name}.", lift.sources):
            tail = one.key.removeprefix(f"leg.{leg.name}.")
            if tail.startswith(SIGNAL_PARTS):
                continue  # a rehearsal counts by rates and reads none of them
            shared.setdefault((tail, one.value), []).append(one)
    legs: list[Assumption] = []
    for (tail, value), ones in shared.items():
        if len(ones) == len(lift.leg):
            legs.append(Assumption(f"leg.{tail}", value, ones[0].unit, ones[0].source))
        else:
            legs += ones
    others = [one for one in _table(lift, "", lift.sources) if not one.key.startswith("leg.")]
    return [_prefixed("lift", one) for one in legs + others]


def _table(table: BaseModel, before: str, sources: dict[str, str]) -> Iterator[Assumption]:
    """Numbers of a table and of the tables in it that have no source."""
    if isinstance(table, LimitValue):
        if not table.source:
            key = before.rstrip(".")
            yield Assumption(key, table.value, unit_of(key), UNSTATED)
        return
    for name, field in type(table).model_fields.items():
        value = getattr(table, name)
        if isinstance(value, BaseModel) and not isinstance(value, Rates):  # rates say themselves what they were found on
            yield from _table(value, f"{before}{name}.", sources)
        elif isinstance(value, int | float) and not isinstance(value, bool):
            if name not in table.model_fields_set:
                yield Assumption(before + name, float(value), unit_of(name), _default_source(field.json_schema_extra))
            elif not _stated(before + name, sources):
                yield Assumption(before + name, float(value), unit_of(name), UNSTATED)


def _default_source(extra: object) -> str:
    return "default: " + str(extra.get("default_source", PLANNING) if isinstance(extra, dict) else PLANNING)


def _stated(key: str, sources: dict[str, str]) -> bool:
    """Whether ``[sources]`` names the key or a table that holds it; ``every_leg.motor`` holds ``leg.NAME.motor``."""
    keys = [key]
    pieces = key.split(".")
    if pieces[0] == "leg":
        keys.append(".".join(["every_leg", *pieces[2:]]))
    return any(one == source or one.startswith(source + ".") for one in keys for source in sources)


def derivations(scenario: Scenario) -> list[str]:
    """Sentences on what was derived: motor constants from a catalogue, drive constants the firmware is not told, limits of its tests."""
    notes: list[str] = []
    for leg in scenario.lift.leg:
        notes += [f"leg {leg.name}: {note}" for note in motor_constants(leg.motor).notes]
    for leg, told in zip(scenario.lift.leg, told_constants(scenario.settings, scenario.lift), strict=True):
        if told.derived:
            names = ", ".join(name.replace("_", " ") for name in told.derived)
            notes.append(f"leg {leg.name}: the firmware is told the lift file's nominal {names}")
    if scenario.settings.trust.watch:
        legs = len(scenario.lift.leg)
        notes.append(
            f"drift tests: CUSUM with k {ALLOWANCE:g} and h {drift_limit(scenario.settings, legs):.2f} standard deviations, from "
            f"{TESTS_PER_LEG * legs} residuals a move and {scenario.settings.trust.false_alarms:g} false alarms in 1,000 moves"
        )
    return notes
