"""What operators do with a key: reverse in the coast, press the other key in a move, jab. Counts must not go the wrong way."""

from __future__ import annotations

import json
from functools import lru_cache
from typing import Any

import numpy as np
import pytest
from rehearsals import PERFECT_COUNTS, rehearsal

from scenarios.build import build_rig
from scenarios.files import load_scenario
from scenarios.rig import Happening
from scenarios.runner import fly
from sync.modes import Command, Mode


@lru_cache
def _flown(name: str, moves: str) -> dict[str, Any]:
    scenario = load_scenario(rehearsal(name), [*PERFECT_COUNTS, ("move", json.loads(moves))])
    begun, rig = build_rig(scenario)[0], fly(scenario).rig[0]
    start = {"start_place": begun["world"]["legs"]["motor"]["place"][:2], "start_counts": begun["memory"]["legs"]["counts"][:2]}
    return {**{name: rig[name] for name in rig.dtype.names}, **start}


def flown(*moves: dict[str, Any], name: str = "worktop/raise") -> Any:
    """Record of a rehearsal with these orders and perfect counting."""
    return _flown(name, json.dumps(moves))


def refusals(rig: Any) -> int:
    return int(np.sum(rig["log"][: rig["events"]]["what"] == Happening.REFUSED))


def miscounted(rig: Any) -> list[int]:
    """Counts by which each leg believes itself off what its motor has turned since the start; play and sag are no miscounts."""
    place = rig["world"]["legs"]["motor"]["place"][:2] - rig["start_place"]
    counts = rig["memory"]["legs"]["counts"][:2] - rig["start_counts"]
    return [int(off) for off in counts - place]


def modes(rig: Any) -> list[Mode]:
    log = rig["log"][: rig["events"]]
    return [Mode(int(event["value"])) for event in log if event["what"] == Happening.MODE]


REVERSALS = {
    "in the coast": ({"press": "up", "for_s": 1.0}, {"press": "down", "for_s": 0.8, "in_coast_s": 0.01}),
    "while the first key is held": ({"press": "up", "for_s": 1.5}, {"press": "down", "for_s": 0.8, "at_s": 1.4}),
    "an order to go in the coast": ({"press": "up", "for_s": 1.0}, {"to_mm": 25.0, "in_coast_s": 0.01}),
}


@pytest.mark.parametrize("moves", REVERSALS.values(), ids=REVERSALS)
def test_a_reversal_waits_until_it_is_quiet_and_no_count_goes_the_wrong_way(moves: tuple[dict[str, Any], ...]) -> None:
    rig = flown(*moves)
    up, down = rig["move"][0], rig["move"][1]

    assert refusals(rig) == 0
    assert modes(rig)[:2] == [Mode.MOVING, Mode.SETTLING]
    assert int(rig["moves"]) == 2
    assert (int(up["direction"]), int(down["direction"])) == (1, -1)
    # the second one begins when the first one is quiet: nothing turned for the firmware's quiet time of 100 ms
    assert down["start_us"] - up["legs"]["still_us"][:2].max() > 80_000
    assert miscounted(rig) == [0, 0]
    assert np.all(down["legs"]["height"][:2] < up["legs"]["height"][:2] - 5e-3)


def test_lowering_reversed_in_its_long_coast_loses_no_count_either() -> None:
    rig = flown({"press": "down", "for_s": 1.0}, {"press": "up", "for_s": 0.8, "in_coast_s": 0.1}, name="worktop/lower")

    assert refusals(rig) == 0
    assert int(rig["moves"]) == 2
    assert miscounted(rig) == [0, 0]


def test_a_press_that_is_let_go_before_its_turn_moves_nothing() -> None:
    rig = flown({"press": "up", "for_s": 1.0}, {"press": "down", "for_s": 0.02, "in_coast_s": 0.0})

    assert refusals(rig) == 0
    assert int(rig["moves"]) == 1
    assert modes(rig) == [Mode.MOVING, Mode.SETTLING, Mode.READY]


def test_pressing_the_same_key_again_while_it_is_held_changes_nothing() -> None:
    again = flown({"press": "up", "for_s": 1.0}, {"press": "up", "for_s": 1.0, "at_s": 0.9})
    once = flown({"press": "up", "for_s": 1.0})

    assert refusals(again) == 0
    assert int(again["moves"]) == 1
    assert np.array_equal(again["world"]["legs"]["travel"], once["world"]["legs"]["travel"])


# jabbed fast, presses wait for the quiet: some are let go before their turn, the others are cut short
@pytest.mark.parametrize(("every_s", "least"), [(0.15, 0.0203), (0.3, 0.021), (0.5, 0.021)])
def test_a_jabbed_key_moves_the_lift_a_little_each_time_level_and_well_counted(every_s: float, least: float) -> None:
    rig = flown({"jab": "up", "times": 12, "held_s": 0.1, "every_s": every_s})
    travel = rig["world"]["legs"]["travel"][:2]
    print(f"every {every_s} s: {int(rig['moves'])} moves, to", np.round(1e3 * travel, 2), "mm")

    assert refusals(rig) == 0
    assert rig["memory"]["mode"] == Mode.READY
    assert 2 <= int(rig["moves"]) <= 12
    assert np.all(travel > least)
    assert abs(float(travel[0] - travel[1])) < 0.5e-3
    assert miscounted(rig) == [0, 0]


def test_jabbing_both_keys_in_turn_never_drives_against_a_turning_motor() -> None:
    keys = [{"press": ("up", "down")[k % 2], "for_s": 0.15, "at_s": 0.5 + 0.2 * k} for k in range(10)]
    rig = flown(*keys)
    commands = [int(move["command"]) for move in rig["move"][: rig["moves"]]]

    assert refusals(rig) == 0
    assert {Command.PRESS_UP, Command.PRESS_DOWN} >= {Command(command) for command in commands}
    assert miscounted(rig) == [0, 0]
