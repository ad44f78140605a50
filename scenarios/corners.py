"""Corners of a loop: every combination of load on each leg, supply, temperature, friction, tick and direction.

Plants do not depend on the gains, so they are made once (``corner_plants``) and any number of laws judged on them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import product
from typing import Any

import numpy as np

from plant.closed_form.statics import rigid_shares
from scenarios.build import build_rig
from scenarios.files.lift import Lift
from scenarios.files.scenario import Scenario
from scenarios.loop_model import basis_of, law_of, plant_of
from scenarios.operating_point import Condition, NoSteadyMotionError
from sync.design.loop import LinearLaw, Loop, margins
from sync.design.margins import Margins
from sync.design.sampled import SampledPlant

__all__ = ["Corner", "CornerMargins", "CornerPlants", "Span", "corner_margins", "corner_plants", "judge", "load_cases", "told", "worst"]

_ALL_LOADS = 4
"""Up to so many legs every combination of light and full is taken; beyond, all alike and each leg alone against the others."""


@dataclass(frozen=True)
class Span:
    """Range of each cause; the defaults are planning values, common practice without a source.

    Attributes
    ----------
    supply : tuple of float
        Shares of the open-circuit voltage [-].
    winding, case : tuple of float
        Cold and hot, taken together [deg C].
    friction : tuple of float
        Factors on the thread friction [-].
    tick : tuple of float
        Factors on the control tick [-]: a late one counts for all.
    directions : tuple of int
        1 up, -1 down.
    """

    supply: tuple[float, ...] = (0.85, 1.1)
    winding: tuple[float, ...] = (0.0, 100.0)
    case: tuple[float, ...] = (0.0, 60.0)
    friction: tuple[float, ...] = (0.75, 1.25)
    tick: tuple[float, ...] = (1.0, 1.1)
    directions: tuple[int, ...] = (1, -1)


@dataclass(frozen=True)
class Corner:
    """A corner in words and numbers; ``plant`` is missing where there is no steady motion, ``why`` then says so."""

    name: str
    condition: Condition
    plant: SampledPlant | None
    why: str = ""


@dataclass(frozen=True)
class CornerPlants:
    """Corners of a scenario, and the names of its relative modes."""

    corners: tuple[Corner, ...]
    modes: tuple[str, ...]


@dataclass(frozen=True)
class CornerMargins:
    """Margins at one corner; None where there is no steady motion (``why``)."""

    name: str
    condition: Condition
    margins: Margins | None
    why: str = ""


def load_cases(lift: Lift) -> list[tuple[float, ...]]:
    """Mass on each leg [kg]: every leg light or full (up to four legs), else all alike and each alone against the others.

    Light and full are the leg's even share of the deck with the light and the rated payload.
    """
    places = [(leg.at_mm[0] * 1e-3, leg.at_mm[1] * 1e-3) for leg in lift.leg]
    centre = (lift.deck.centre_mm[0] * 1e-3, lift.deck.centre_mm[1] * 1e-3)
    light, full = (
        rigid_shares(places, lift.deck.mass_kg + load, centre) for load in (lift.deck.light_payload_kg, lift.deck.rated_payload_kg)
    )
    n = len(places)
    if n <= _ALL_LOADS:
        patterns = list(product((0, 1), repeat=n))
    else:
        alone = np.eye(n, dtype=int)
        patterns = [(0,) * n, (1,) * n, *map(tuple, alone.tolist()), *map(tuple, (1 - alone).tolist())]
    found = [tuple(float(full[q] if heavy else light[q]) for q, heavy in enumerate(pattern)) for pattern in patterns]
    return list(dict.fromkeys(found))


def told(condition: Condition) -> str:
    """A corner in words."""
    loads = "" if condition.loads is None else ", ".join(f"{load:.0f}" for load in condition.loads) + " kg, "
    hot = "" if condition.winding is None else f", winding {condition.winding:.0f} C"
    way = "raising" if condition.direction > 0 else "lowering"
    return f"{way}, {loads}supply {condition.supply:.0%}{hot}, friction {condition.friction:.0%}, tick {condition.tick:.0%}"


def _conditions(lift: Lift, span: Span) -> list[Condition]:
    heats = list(zip(span.winding, span.case, strict=True))
    axes = product(span.directions, load_cases(lift), span.supply, heats, span.friction, span.tick)
    return [Condition(way, supply, *heat, friction, loads, tick) for way, loads, supply, heat, friction, tick in axes]


def _corner(world: Any, settings: Any, condition: Condition) -> Corner:
    try:
        return Corner(told(condition), condition, plant_of(world, settings, condition))
    except NoSteadyMotionError as error:
        return Corner(told(condition), condition, None, str(error))


def corner_plants(scenario: Scenario, span: Span | None = None) -> CornerPlants:
    """Sampled plants of every corner of a scenario.

    Parameters
    ----------
    scenario
        Lift, settings (tick, delay, base duty) and temperatures.
    span
        Ranges; left out: the defaults.
    """
    rig = build_rig(scenario)[0]
    world, settings = rig["world"], rig["settings"]
    conditions = _conditions(scenario.lift, Span() if span is None else span)
    return CornerPlants(tuple(_corner(world, settings, condition) for condition in conditions), basis_of(world).names)


def judge(plants: CornerPlants, law: LinearLaw) -> list[CornerMargins]:
    """Margins of a law at every corner, in their order."""
    found = []
    for corner in plants.corners:
        here = None if corner.plant is None else margins(Loop(corner.plant, law, plants.modes))
        found.append(CornerMargins(corner.name, corner.condition, here, corner.why))
    return found


def corner_margins(scenario: Scenario, span: Span | None = None) -> list[CornerMargins]:
    """Margins of the scenario's own law at every corner.

    Raises
    ------
    ValueError
        If the law has no linear loop.
    """
    rig = build_rig(scenario)[0]
    return judge(corner_plants(scenario, span), law_of(rig["settings"], basis_of(rig["world"])))


def worst(found: Sequence[CornerMargins]) -> CornerMargins:
    """Corner with the largest sensitivity peak; an unstable one before all others, the least gain margin first.

    Raises
    ------
    ValueError
        If no corner could be judged.
    """
    judged = [corner for corner in found if corner.margins is not None]
    if not judged:
        raise ValueError("no corner moves steadily, so none has margins: " + (found[0].why if found else "there are none"))

    def badness(corner: CornerMargins) -> tuple[bool, float]:
        assert corner.margins is not None
        return (not corner.margins.stable, corner.margins.sensitivity if corner.margins.stable else -corner.margins.gain)

    return max(judged, key=badness)
