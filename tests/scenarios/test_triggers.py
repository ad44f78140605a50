"""When faults come and go: each trigger at the instant that its condition says, and its end."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from rehearsals import rehearsal

from scenarios.errors import InputError
from scenarios.files import load_scenario
from scenarios.happenings import tell_events
from scenarios.rig import Action
from scenarios.runner import fly

SUPPLY = {"what": "supply", "open_voltage_v": 23.0}
SHORT = [("move.1.to_mm", 60.0), ("move.1.name", "lift-it")]


def flown(*faults: dict[str, Any], **changes: Any) -> Any:
    return fly(load_scenario(rehearsal("worktop/raise"), [*SHORT, ("fault", list(faults)), *changes.items()]))


def rows(flight: Any) -> dict[int, float]:
    """Instant [s] at which each row that fired did so, faults only."""
    script = flight.rig["script"][0][: int(flight.rig["rows"][0])]
    return {k: float(row["fired_us"]) * 1e-6 for k, row in enumerate(script) if row["fired"] and row["action"] != Action.COMMAND}


def column(flight: Any, name: str) -> np.ndarray[Any, Any]:
    return np.asarray(flight.trace[:, flight.columns.index(name)])


def test_a_fault_at_a_mode_comes_at_the_first_tick_in_it_and_after_its_delay() -> None:
    flight = flown({**SUPPLY, "at_mode": "settling"}, {**SUPPLY, "at_mode": "settling", "after_s": 0.0123})
    settling = next(event.t_s for event in tell_events(flight.rig[0], ("left", "right"))[0] if event.text.startswith("settling"))
    first, second = rows(flight).values()

    # the mode is logged at the end of the tick in which the controller chose it
    assert first == pytest.approx(settling, abs=1.1e-3)
    assert second - first == pytest.approx(0.0123, abs=1e-9)


def test_a_fault_at_the_nth_commutation_comes_in_the_sub_step_of_that_commutation() -> None:
    flight = flown({"what": "power-off", "leg": "left", "at_commutation": 300, "off": "coast"})

    assert flight.rig["world"]["legs"]["bridge"]["off_commuted"][0, 0] == 300


def test_a_fault_at_the_height_of_one_leg_looks_at_that_leg_alone() -> None:
    uneven = ("start.heights_mm", {"left": 20.0, "right": 20.4})
    sets = [*SHORT, ("start", {"heights_mm": {"left": 20.0, "right": 20.4}}), ("settings.levelling.law", "none")]
    faults = [{**SUPPLY, "at_mm_above": 40.0, "height_of": name} for name in ("left", "right")] + [{**SUPPLY, "at_mm_above": 40.0}]
    left, right, mean = rows(fly(load_scenario(rehearsal("worktop/raise"), [*sets, ("fault", faults)]))).values()

    assert uneven[1]["right"] > uneven[1]["left"]
    assert right < mean < left


@pytest.mark.parametrize("leg", [{}, {"leg": "right"}])
def test_a_fault_during_the_coast_comes_when_the_power_is_cut(leg: dict[str, str]) -> None:
    flight = flown({"what": "lose-counts", "counts": 3, "during": "coast", **leg})
    off = flight.rig["world"]["legs"]["bridge"]["off_us"][0, :2]
    (instant,) = rows(flight).values()

    assert instant == pytest.approx(1e-6 * (off[1] if leg else off.min()), abs=1.1e-4)


def test_a_fault_after_another_one_waits_for_it_and_a_condition_is_looked_at_only_from_then_on() -> None:
    flight = flown(
        {**SUPPLY, "on": "sag", "after_s": 0.1},
        {**SUPPLY, "name": "sag", "on": "lift-it", "after_s": 0.5},
        {**SUPPLY, "on": "sag", "at_mm_above": 20.0},
    )
    later, sag, above = rows(flight).values()

    assert sag == pytest.approx(1.0, abs=1e-3)
    assert later - sag == pytest.approx(0.1, abs=1e-9)
    assert 0.0 <= above - sag <= 1e-4


def test_what_ends_becomes_what_it_was_and_is_told() -> None:
    lasting = [
        {"what": "supply", "open_voltage_v": 18.0, "at_s": 1.0, "for_s": 0.2},
        {"what": "payload", "mass_kg": 20.0, "at_s": 1.0, "for_s": 0.2},
        {"what": "thread-friction", "factor": 2.0, "at_s": 1.0, "for_s": 0.2},
        {"what": "guide-friction", "leg": "right", "friction_n": 300.0, "at_s": 1.0, "for_s": 0.2},
    ]
    for fault in lasting:
        flight, clean = flown(fault), flown()
        words = [event.text for event in tell_events(flight.rig[0], ("left", "right"))[0] if event.text.startswith("over: ")]
        for part in (("supply", "open_voltage"), ("deck", "payload")):
            assert flight.rig["world"][part[0]][part[1]] == clean.rig["world"][part[0]][part[1]]
        for part in ("guide_friction", "spindle"):
            names = flight.rig["world"]["legs"][part].dtype.names
            now, was = (one.rig["world"]["legs"][part][0, :2] for one in (flight, clean))
            assert np.array_equal(now, was) if names is None else now["friction"] == pytest.approx(was["friction"], rel=1e-12)
        short = min(len(flight.trace), len(clean.trace))
        changed = np.nonzero(column(flight, "left.current_a")[:short] != column(clean, "left.current_a")[:short])[0]

        assert words
        assert column(flight, "time_s")[changed[0]] == pytest.approx(1.0, abs=0.021)


def test_an_order_in_the_coast_of_the_one_before_comes_while_the_legs_turn() -> None:
    moves = [{"press": "up", "for_s": 1.0}, {"press": "down", "for_s": 1.0, "in_coast_s": 0.02}]
    flight = fly(load_scenario(rehearsal("worktop/raise"), [("move", moves)]))
    script = flight.rig["script"][0]
    off = flight.rig["move"]["legs"]["off_us"][0, 0, :2].min()

    assert script["fired_us"][2] - off == pytest.approx(20_000, abs=200)


def test_a_jabbed_key_is_pressed_as_often_and_as_fast_as_the_file_says() -> None:
    jab = [{"jab": "up", "times": 4, "held_s": 0.1, "every_s": 0.25}]
    fired = fly(load_scenario(rehearsal("worktop/raise"), [("move", jab)])).rig["script"]["fired_us"][0, :8]

    assert np.diff(fired).tolist() == pytest.approx([100_000, 150_000] * 3 + [100_000], abs=1100)


WRONG = [
    ({**SUPPLY}, "must hold exactly one of at_s, at_mm_above, at_mm_below, at_mode, at_commutation, during, or on (holds none)"),
    ({**SUPPLY, "at_s": 1.0, "at_mode": "moving"}, "holds at_s, at_mode"),
    ({**SUPPLY, "at_s": 1.0, "after_s": 0.5}, "after_s: add it to at_s"),
    ({**SUPPLY, "at_mode": "movin"}, 'did you mean "moving"?'),
    ({**SUPPLY, "at_commutation": 5}, "at_commutation needs leg"),
    ({**SUPPLY, "at_s": 1.0, "height_of": "left"}, "height_of needs at_mm_above or at_mm_below"),
    ({**SUPPLY, "at_mm_above": 1.0, "height_of": "lefd"}, 'there is no such leg; did you mean "left"?'),
    ({**SUPPLY, "on": "lift"}, 'no move or fault has this name; did you mean "lift-it"?'),
    ({**SUPPLY, "name": "a", "on": "a"}, "waits for itself and never comes"),
    ({**SUPPLY, "name": "lift-it", "at_s": 1.0}, "is used twice"),
    ({**SUPPLY, "at_s": 1.0, "for_s": 0.0}, "must be 0.0001 to 36000 s"),
]


@pytest.mark.parametrize(("fault", "told"), WRONG, ids=[told[:30] for _, told in WRONG])
def test_a_wrong_trigger_is_named_with_its_remedy(fault: dict[str, Any], told: str) -> None:
    with pytest.raises(InputError) as caught:
        load_scenario(rehearsal("worktop/raise"), [*SHORT, ("fault", [fault])])

    assert told in str(caught.value)


def test_more_steps_than_a_script_holds_are_refused() -> None:
    jabs = [{"jab": "up", "times": 20, "held_s": 0.1, "every_s": 0.25}] * 8
    with pytest.raises(InputError, match="moves and faults make 320 steps, at most 250 fit"):
        load_scenario(rehearsal("worktop/raise"), [("move", jabs)])
