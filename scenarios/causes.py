"""Causes of errors in a rehearsal, each as the same scenario without it: for telling which cause a broken limit goes back to.

Leaving a cause out means: every commutation is heard (miscounts); deck and payload stand over the middle of the legs (load
offset); what differs between legs becomes the mean of all (parameter spread, stop spread); the supply is stiff (supply);
break-away friction is as running friction (friction step); the controller sees true currents and voltages (measurement);
power is cut at the target, not before it (coast prediction); one fault less.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import Any

from pydantic import BaseModel

from scenarios.files.faults import Fault
from scenarios.files.leg import Leg
from scenarios.files.lift import Lift
from scenarios.files.scenario import Scenario

__all__ = ["without_each_cause"]

_PERFECT = {
    "edge_false_on": 0.0,
    "edge_false_off": 0.0,
    "start_miss_mean": 0.0,
    "start_miss_sd": 0.0,
    "run_miss": 0.0,
    "run_false": 0.0,
    "run_double": 0.0,
    "tail_rpm": 0.0,
    "flyback_us": 0.0,
    "quiet_current_a": 0.0,
}
_OWN = ("name", "at_mm", "stops")
"""Keys of a leg that are its own by intent, not by spread."""


def _changed(table: Any, **values: Any) -> Any:
    return table.model_copy(update=values)


def _with_legs(scenario: Scenario, legs: list[Leg]) -> Scenario:
    return replace(scenario, lift=_changed(scenario.lift, leg=tuple(legs)))


def _heard(scenario: Scenario) -> Scenario:
    return _with_legs(scenario, [_changed(leg, detector=_changed(leg.detector, **_PERFECT)) for leg in scenario.lift.leg])


def _centred(scenario: Scenario) -> Scenario:
    """Deck and payload over the mean of the legs' places, from the start."""
    legs = scenario.lift.leg
    middle = tuple(sum(leg.at_mm[axis] for leg in legs) / len(legs) for axis in (0, 1))
    lift = _changed(scenario.lift, deck=_changed(scenario.lift.deck, centre_mm=middle))
    return replace(scenario, lift=lift, file=_changed(scenario.file, payload=_changed(scenario.file.payload, at_mm=middle)))


def _mean(values: list[Any]) -> Any:
    """Mean of what several legs hold at one place: of numbers their mean, of tables one of means, of all else the first."""
    first = values[0]
    if isinstance(first, BaseModel) and all(type(value) is type(first) for value in values):
        return _changed(first, **{key: _mean([getattr(value, key) for value in values]) for key in type(first).model_fields})
    if isinstance(first, float) and all(isinstance(value, float) for value in values):
        return first if len(set(values)) == 1 else sum(values) / len(values)
    return first


def _alike(scenario: Scenario) -> Scenario:
    legs = list(scenario.lift.leg)
    parts = {key: _mean([getattr(leg, key) for leg in legs]) for key in Leg.model_fields if key not in _OWN}
    return _with_legs(scenario, [_changed(leg, **parts) for leg in legs])


def _same_stops(scenario: Scenario) -> Scenario:
    legs = list(scenario.lift.leg)
    stops = _mean([leg.stops for leg in legs])
    return _with_legs(scenario, [_changed(leg, stops=stops) for leg in legs])


def _stiff(scenario: Scenario) -> Scenario:
    supply = _changed(scenario.lift.supply, resistance_ohm=0.0, current_limit_a=None, capacitance_mf=0.0)
    return replace(scenario, lift=_changed(scenario.lift, supply=supply))


def _slick(scenario: Scenario) -> Scenario:
    legs = [
        _changed(
            leg,
            motor=_changed(leg.motor, static_drag_ratio=1.0),
            spindle=_changed(leg.spindle, static_friction=leg.spindle.friction),
        )
        for leg in scenario.lift.leg
    ]
    return _with_legs(scenario, legs)


def _measured(scenario: Scenario) -> Scenario:
    lift: Lift = _changed(scenario.lift, sensing=_changed(scenario.lift.sensing, ideal=True))
    return replace(scenario, lift=lift)


def _unpredicted(scenario: Scenario) -> Scenario:
    return replace(scenario, settings=_changed(scenario.settings, stopping=_changed(scenario.settings.stopping, predict=False)))


_CAUSES = (
    ("miscounts", _heard),
    ("load offset", _centred),
    ("parameter spread", _alike),
    ("stop spread", _same_stops),
    ("supply", _stiff),
    ("friction step", _slick),
    ("measurement", _measured),
    ("coast prediction", _unpredicted),
)


def _followers(faults: tuple[Fault, ...], name: str | None) -> set[int]:
    """Faults that come only after the one of this name, and what follows from those."""
    if name is None:
        return set()
    found = {i for i, fault in enumerate(faults) if fault.on == name}
    return found.union(*(_followers(faults, faults[i].name) for i in found))


def _without_fault(scenario: Scenario, number: int) -> Scenario:
    faults = scenario.file.fault
    gone = {number} | _followers(faults, faults[number].name)
    return replace(scenario, file=_changed(scenario.file, fault=tuple(fault for i, fault in enumerate(faults) if i not in gone)))


def without_each_cause(scenario: Scenario) -> Iterator[tuple[str, Scenario]]:
    """Name of each cause that the scenario has, and the scenario without it.

    Parameters
    ----------
    scenario
        A checked scenario.
    """
    for name, leave_out in _CAUSES:
        other = leave_out(scenario)
        if other != scenario:
            yield name, other
    for i, fault in enumerate(scenario.file.fault):
        leg = f", {fault.leg}" if fault.leg else ""
        yield f"fault {i + 1}: {fault.what}{leg}", _without_fault(scenario, i)
