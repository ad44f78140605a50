"""Homing with two approaches: zero, repeatability, debris on a stop, tilt budget, flown on the whole machine."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from rehearsals import PERFECT_COUNTS, rehearsal

from scenarios.build import build_rig
from scenarios.files import load_scenario
from scenarios.rig import Happening
from scenarios.runner import fly, fly_rig
from sync.modes import Mode, Reason

LEFT, RIGHT = 0, 1
HOME = ("move", [{"home": True}])
TWICE = (("move", [{"home": True}, {"to_mm": 40.0}, {"home": True}, {"to_mm": 40.0}, {"home": True}]), ("end_s", 90.0))
LIFTS = ["worktop/home", "roof/home", "showcase/home"]


def flown(name: str, *sets: tuple[str, Any], perfect: bool = True) -> Any:
    """Record of a shipped rehearsal at its end, with changes; perfect counts unless said."""
    return fly(load_scenario(rehearsal(name), (*(PERFECT_COUNTS if perfect else ()), *sets)), trace=False).rig[0]


def reasons(rig: Any) -> list[tuple[int, Reason]]:
    """Leg and reason of every fault in the log."""
    return [(int(one["leg"]), Reason(int(one["value"]))) for one in rig["log"][: rig["events"]] if one["what"] == Happening.REASON]


def soft_debris(name: str, leg: int, thickness: float, cleared_us: int) -> Any:
    """A homing whose first approach meets something ``thickness`` [m] high on one stop; it is gone by ``cleared_us``."""
    rig = build_rig(load_scenario(rehearsal(name), (*PERFECT_COUNTS, HOME)))
    stop = rig["world"]["legs"][0, leg]
    stop["stop_low"] += thickness
    fly_rig(rig, None, cleared_us // 1000)
    stop["stop_low"] -= thickness
    fly_rig(rig)
    return rig[0]


def hard_debris(leg: int, thickness: float) -> Any:
    """Home, raise, and home again onto something ``thickness`` [m] high that has fallen on one stop."""
    moves = ("move", [{"home": True}, {"to_mm": 20.0}, {"home": True}])
    rig = build_rig(load_scenario(rehearsal("worktop/home"), (*PERFECT_COUNTS, moves, ("end_s", 40.0))))
    while rig["moves"][0] < 2:
        fly_rig(rig, None, int(rig["ticks"][0]) + 100)
    fly_rig(rig, None, int(rig["ticks"][0]) + 500)
    rig["world"]["legs"][0, leg]["stop_low"] += thickness
    fly_rig(rig)
    return rig[0]


def test_homing_finds_both_stops_for_all_their_spread_and_zeroes_there() -> None:
    rig = flown("worktop/home", HOME)
    world, move = rig["world"], rig["move"][0]
    heights = 1e3 * world["legs"]["travel"][:2]
    print("heights at the stops", heights)

    assert (rig["memory"]["mode"], rig["memory"]["referenced"]) == (Mode.READY, 1)
    assert rig["memory"]["legs"]["counts"][:2].tolist() == [0, 0]
    # Each stands at its own stop (0 and 0.3 mm), pressed in by what 3 A and the weight give on 1,000 N/mm.
    assert np.all(heights < [0.0, 0.3])
    assert np.all(heights > [-1.1, -0.8])
    assert heights[RIGHT] - heights[LEFT] == pytest.approx(0.3, abs=0.05)
    assert 1e3 * move["after_coast"] == pytest.approx(0.3, abs=0.05)


def test_each_leg_meets_its_stop_twice_and_the_second_contact_is_the_softer_one() -> None:
    rig = flown("worktop/home", HOME)
    contacts = [int(one["leg"]) for one in rig["log"][: rig["events"]] if one["what"] == Happening.STALLED]
    repeat = rig["memory"]["legs"]["again"][:2]
    print("second contact above the first:", repeat, "counts")

    assert sorted(contacts) == [LEFT, LEFT, RIGHT, RIGHT]
    # slower, so the rotor winds the stop up less: some counts higher, well inside the 0.5 mm (10 counts) allowed
    assert np.all((repeat > 0) & (repeat < 10))


@pytest.mark.parametrize("perfect", [True, False])
@pytest.mark.parametrize("name", LIFTS)
def test_three_homings_stop_at_the_same_height_and_the_offsets_of_the_settings_fit(name: str, perfect: bool) -> None:
    rig = flown(name, *TWICE, perfect=perfect)
    n = int(rig["world"]["n_legs"])
    moves = rig["move"][:5]
    homings = 1e3 * moves["legs"]["height"][::2, :n]
    spread = np.ptp(homings, axis=0)
    error = homings - 1e3 * moves["legs"]["believed"][::2, :n]
    print(name, "spread of three homings", spread, "mm; true minus counted height", error[0])

    assert rig["memory"]["mode"] == Mode.READY
    # planning value of the domain: sd 0.05 to 0.2 mm
    assert np.all(spread < 0.05)
    assert np.all(np.abs(error) < 0.06)


def test_homing_gives_up_when_a_leg_runs_on_beyond_the_budget() -> None:
    rig = flown("worktop/home", ("start.heights_mm", {"left": 20.0, "right": 32.0}), HOME)

    assert (rig["memory"]["mode"], rig["memory"]["reason"]) == (Mode.FAULTED, Reason.HOMING_BUDGET)
    assert rig["memory"]["referenced"] == 0
    # 12 mm were left when the first leg met its stop; 5 mm of budget, and what it took to see the stall
    assert 4.0 < 1e3 * rig["world"]["legs"]["travel"][RIGHT] < 7.0


def test_homing_within_the_budget_levels_unequal_starts_already_in_the_back_off() -> None:
    rig = build_rig(load_scenario(rehearsal("worktop/home"), (("start.heights_mm", {"left": 20.0, "right": 24.0}), HOME, *PERFECT_COUNTS)))
    while rig["memory"]["homing"][0] < 3:
        fly_rig(rig, None, int(rig["ticks"][0]) + 10)
    between = 1e3 * rig["world"]["deck"]["level_error"][0]
    fly_rig(rig)

    assert (rig["memory"]["mode"][0], rig["memory"]["referenced"][0]) == (Mode.READY, 1)
    assert between < 0.3


@pytest.mark.parametrize("leg", [LEFT, RIGHT])
def test_debris_that_gives_way_between_the_contacts_is_found_and_its_leg_named(leg: int) -> None:
    rig = soft_debris("worktop/home", leg, 2e-3, 3_000_000)
    print("second less first contact", rig["memory"]["legs"]["again"][:2], "counts")

    assert rig["memory"]["mode"] == Mode.FAULTED
    assert reasons(rig) == [(leg, Reason.DEBRIS)]
    assert rig["memory"]["referenced"] == 0
    assert rig["outputs"]["legs"]["mode"][:2].tolist() == [0, 0]


@pytest.mark.parametrize("leg", [LEFT, RIGHT])
def test_hard_debris_on_the_stop_of_a_lift_that_knew_its_place_is_found_and_its_leg_named(leg: int) -> None:
    rig = hard_debris(leg, 3e-3)

    assert reasons(rig) == [(leg, Reason.DEBRIS)]
    assert rig["memory"]["referenced"] == 0


def test_a_clean_stop_met_again_is_no_debris() -> None:
    rig = hard_debris(LEFT, 0.0)

    assert (rig["memory"]["mode"], rig["memory"]["reason"]) == (Mode.READY, Reason.NONE)


# obstacles on the way down


def home_onto(*sets: tuple[str, Any], known: bool = True, **where: Any) -> Any:
    """Home onto something of 75 N/mm, 30 mm above the lowest height; before that home and raise, if the height is to be known."""
    obstacle = {"what": "obstacle", "side": "below", "height_mm": 30.0, "stiffness_n_per_mm": 75.0, "at_s": 12.0 if known else 0.1, **where}
    moves = [{"home": True}, {"to_mm": 120.0}, {"home": True}] if known else [{"home": True}]
    start = () if known else (("start.heights_mm", {"left": 80.0, "right": 80.0}),)
    return flown("worktop/home", ("move", moves), ("end_s", 60.0), ("fault", [obstacle]), *start, *sets)


@pytest.mark.parametrize("where", [{"leg": "left"}, {"leg": "right"}, {"at_mm": [0.0, 0.0]}], ids=["left", "right", "middle"])
def test_from_a_known_height_a_homing_is_guarded_as_any_lowering_until_the_stop_may_be_near(where: dict[str, Any]) -> None:
    """Measured: 260 N under a leg, 488 N under the middle; a plain lowering at full speed has 490 N."""
    rig = home_onto(**where)
    print(f"{where}: {rig['world']['contact'][0]['peak']:.0f} N")

    assert (rig["memory"]["mode"], rig["memory"]["referenced"], rig["memory"]["reason"]) == (Mode.READY, 1, Reason.PINCH_LOWERING)
    assert rig["world"]["contact"][0]["peak"] < 540.0
    # the deck has gone back and let go
    assert rig["world"]["contact"][0]["force"] == 0.0
    assert 1e3 * rig["world"]["deck"]["level_error"] < 0.6


def test_without_a_pinch_guard_the_contact_itself_tells_that_the_stop_cannot_be_there() -> None:
    rig = home_onto(("settings.pinch", None), leg="left")

    assert reasons(rig) == [(LEFT, Reason.DEBRIS)]
    # the other leg does not run on by the homing budget of 5 mm
    assert 1e3 * rig["world"]["deck"]["level_error"] < 4.0


def test_from_an_unknown_height_an_obstacle_under_one_leg_is_found_by_the_budget_of_the_others_alone() -> None:
    """Nothing tells it from a stop: the README warns of it."""
    rig = home_onto(known=False, leg="left")

    assert (rig["memory"]["mode"], rig["memory"]["reason"]) == (Mode.FAULTED, Reason.HOMING_BUDGET)
    assert rig["memory"]["referenced"] == 0


@pytest.mark.parametrize("name", LIFTS)
def test_clean_homings_from_a_known_height_trip_no_guard(name: str) -> None:
    volt, soft = (12.6, 0.25) if name.startswith("roof") else (24.0, 0.5)
    dips = [
        {"what": "supply", "at_s": float(time), "open_voltage_v": share * volt}
        for time, share in ((14, 0.85), (17, 1.0), (20, 0.9), (20.05, 1.0), (23, 1.1), (26, 1.0), (29, 0.8), (32, 1.0), (35, 0.9))
    ]
    cold = tuple((f"start.{key}", -10.0) for key in ("ambient_c", "winding_c", "case_c"))
    for sets in (
        (),
        cold,
        (("start.winding_c", 80.0),),
        (("lift.supply.resistance_ohm", soft),),
        (("fault", dips),),
        (("payload.mass_kg", 0.0),),
    ):
        rig = flown(name, *TWICE, *sets, perfect=False)
        assert int(rig["moves"]) == 5
        assert int(rig["memory"]["pinch"]["trips"]) == 0, sets
        assert (rig["memory"]["mode"], rig["memory"]["reason"]) == (Mode.READY, Reason.NONE), sets
