"""The settings of the guards: every key acts, wrong ones are refused with a remedy, both clocks fly a pinch alike."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from rehearsals import PERFECT_COUNTS, bytes_of, rehearsal

from scenarios.build import build_rig
from scenarios.errors import InputError
from scenarios.files import load_scenario
from scenarios.runner import fly, fly_rig
from scenarios.trace import empty_trace

Sets = tuple[tuple[str, Any], ...]


def met(side: str, height: float, **more: Any) -> dict[str, Any]:
    where = {"what": "obstacle", "side": side, "leg": "left", "height_mm": height, "stiffness_n_per_mm": 75.0, "at_s": 0.1}
    return {**where, **more}


RAISE: Sets = (("fault", [met("above", 60.0)]), ("move", [{"to_mm": 120.0}]))
SLOWING: Sets = (("fault", [met("above", 60.0, stiffness_n_per_mm=500.0)]), ("move", [{"to_mm": 71.0}]))
LOWER: Sets = (("start.height_mm", 150.0), ("fault", [met("below", 100.0)]), ("move", [{"to_mm": 20.0}]))
MIDDLE: Sets = (*LOWER, ("fault", [{**met("below", 100.0), "leg": None, "at_mm": [0.0, 0.0]}]))
LIGHT: Sets = (*LOWER, ("payload.mass_kg", 30.0))
TWICE: Sets = (("move", [{"to_mm": 60.0}, {"to_mm": 120.0}]), ("fault", [met("above", 65.0, stiffness_n_per_mm=500.0)]))
CLEAN: Sets = (("move", [{"to_mm": 120.0}, {"to_mm": 20.0}, {"to_mm": 120.0}]), ("payload.at_mm", [-200.0, 0.0]))
HOT: Sets = (("start.winding_c", 89.9), ("start.case_c", 89.9), ("move", [{"to_mm": 120.0}]))
HOTTER: Sets = (
    ("start.winding_c", 89.0),
    ("start.case_c", 89.0),
    ("settings.warmth.limit_c", 89.5),
    ("settings.warmth.start_limit_c", 89.2),
)
HEAVY: Sets = (("payload.mass_kg", 130.0), ("move", [{"to_mm": 120.0}]))
WEAK: Sets = (("fault", [{"what": "supply", "at_s": 2.0, "open_voltage_v": 17.0}]), ("move", [{"to_mm": 120.0}]))
WALL: Sets = (*RAISE, ("settings.pinch", None), ("settings.guards.over_current_a", 6.3), ("settings.guards.over_current_ms", 5.0))
# key: the values to try, and where it shows
KEYS: dict[str, tuple[tuple[Any, ...], Sets]] = {
    "settings.pinch.rise_a": ((0.55,), RAISE),
    "settings.pinch.rise_most_a": ((0.51,), (*RAISE, ("settings.pinch.spreads", 20.0))),
    "settings.pinch.fall_a": ((0.22,), LOWER),
    "settings.pinch.fall_least_a": ((0.12,), LIGHT),
    "settings.pinch.loss_share": ((0.5,), LIGHT),
    "settings.pinch.spreads": ((20.0,), CLEAN),
    "settings.pinch.filter_ms": ((6.0,), RAISE),
    "settings.pinch.confirm_ms": ((11.5,), RAISE),
    "settings.pinch.common_ms": ((80.0,), MIDDLE),
    "settings.pinch.start_ms": ((250.0,), RAISE),
    "settings.pinch.start_extra_a": ((0.2,), TWICE),
    "settings.pinch.swing_share": ((0.6,), SLOWING),
    "settings.pinch.follow_a_per_s": ((0.04,), RAISE),
    "settings.pinch.learn_gain": ((0.25,), CLEAN),
    "settings.pinch.learn_most": ((0.0001,), CLEAN),
    "settings.pinch.reaction": (("coast",), RAISE),
    "settings.pinch.retreat_mm": ((27.0,), RAISE),
    "settings.pinch.retreat_duty": ((0.66,), RAISE),
    "settings.warmth.limit_c": ((89.45,), HOTTER),
    "settings.warmth.start_limit_c": ((89.5,), HOT),
    "settings.warmth.ambient_c": ((36.0,), CLEAN),
    "settings.guards.overload_kg": ((160.0,), HEAVY),
    "settings.guards.supply_low_v": ((15.0,), WEAK),
    "settings.guards.supply_low_ms": ((8.0,), WEAK),
    "settings.guards.over_current_a": ((5.7,), WALL),
    "settings.guards.over_current_ms": ((8.0,), WALL),
    "settings.speed.stagger_ms": ((10.0,), CLEAN),
}


def digest(sets: Sets) -> str:
    """Of everything a short rehearsal records and leaves in the guards' memory."""
    rig = build_rig(load_scenario(rehearsal("worktop/raise"), (*PERFECT_COUNTS, ("end_s", 12.0), *sets)))
    trace = empty_trace(rig)
    rows = fly_rig(rig, trace)
    memory = rig["memory"][0]
    return bytes_of(trace[:rows], rig["log"], rig["move"], memory["legs"]["pinch"], memory["legs"]["warmth"])


@pytest.mark.parametrize("key", list(KEYS))
def test_every_key_of_the_guards_acts(key: str) -> None:
    values, sets = KEYS[key]
    still = digest(sets)

    assert all(digest((*sets, (key, value))) != still for value in values)


@pytest.mark.parametrize(
    ("sets", "told"),
    [
        ((("settings.pinch.rise_most_a", 0.4),), "rise_most_a = 0.4 must not be below rise_a = 0.5"),
        ((("settings.pinch.fall_least_a", 0.3),), "fall_least_a = 0.3 must not exceed fall_a = 0.2"),
        ((("settings.pinch.common_ms", 5.0),), "common_ms = 5 must not be below confirm_ms = 10"),
        ((("settings.warmth.start_limit_c", 120.0),), "must stand in this order"),
        ((("settings.pinch.reaction", "stop"),), "reaction"),
        ((("settings.pinch.threshold_a", 1.0),), "threshold_a"),
    ],
)
def test_a_wrong_setting_is_refused_and_named(sets: Sets, told: str) -> None:
    with pytest.raises(InputError, match=told):
        load_scenario(rehearsal("worktop/raise"), sets)


@pytest.mark.parametrize("sets", [RAISE, LOWER], ids=["raising", "lowering"])
def test_both_clocks_fly_a_pinch_and_its_retreat_alike(sets: Sets) -> None:
    scenario = load_scenario(rehearsal("worktop/raise"), (("end_s", 6.0), *sets))
    flights = [fly(scenario, clock=clock) for clock in ("flat", "event")]

    assert int(flights[0].rig["memory"]["pinch"]["retreats"][0]) == 1
    assert bytes_of(flights[0].rig, flights[0].trace) == bytes_of(flights[1].rig, flights[1].trace)
    assert np.isfinite(flights[0].trace).all()
