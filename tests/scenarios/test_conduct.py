"""What the controller does beside moving: stops, retreats, stillness when faulted, counts made up; and the limits on them."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from flights import leg, move, summary
from numpy.typing import NDArray
from rehearsals import EXAMPLES, UNGUARDED

from plant.kernel import kernel
from scenarios.conduct import watch_conduct, watch_deck
from scenarios.errors import InputError
from scenarios.files import load_scenario
from scenarios.limits import LIMITS, LimitEntry
from scenarios.result import Result, result_of
from scenarios.result_conduct import read_conduct
from scenarios.rig import Action, records, rig_dtype
from scenarios.runner import Flight, fly
from scenarios.summary import Conduct, Event, Extreme
from scenarios.verdict import judge
from scenarios.wiring import stored_energy
from sync.modes import Command, Mode

RAISE = EXAMPLES / "worktop" / "raise.toml"
HELD = EXAMPLES / "worktop" / "hold-to-run.toml"
STUCK = {"what": "guide-friction", "leg": "left", "at_mm_above": 100.0, "friction_n": 20000.0}


def flown(path: Path, **changes: Any) -> tuple[Flight, Result]:
    """A shipped rehearsal with other keys of its file, and what became of it."""
    limits = changes.pop("limits", {})
    scenario = load_scenario(path, [*changes.items(), *((f"limits.{name}", value) for name, value in limits.items())])
    flight = fly(scenario)
    return flight, result_of(flight, float(stored_energy(flight.rig)), scenario.limits, str(path))


def test_a_stop_is_measured_from_the_release_to_rest() -> None:
    flight, result = flown(HELD)
    rig = flight.rig[0]
    time = flight.trace[:, flight.columns.index("time_s")]
    released = [
        float(row["fired_us"]) / 1e6
        for row in rig["script"][: int(rig["rows"])]
        if row["action"] == Action.COMMAND and row["values"][0] == Command.RELEASE
    ]
    ends = [one.end_s for one in result.summary.moves]
    ways = []
    for name in ("left", "right"):
        height = 1e3 * flight.trace[:, flight.columns.index(f"{name}.height_m")]
        ways += [abs(np.interp(end, time, height) - np.interp(at, time, height)) for at, end in zip(released, ends, strict=True)]
    stop = result.summary.conduct.stop_mm

    assert stop is not None
    assert stop.value == pytest.approx(max(ways), abs=0.05)  # a row of the trace every 10 ms
    assert stop.at_s == pytest.approx(released[1], abs=1e-3)  # down coasts further than up
    assert result.summary.conduct.stop_s is not None
    assert 0.3 < result.summary.conduct.stop_s.value < 1.0


def test_a_blocked_leg_is_reported_stays_unpowered_and_still_and_that_may_be_asked_for() -> None:
    limits = {
        "must_report": ["stall"],
        "ends_as": "faulted",
        "faulted_powered_s": 0.0,
        "faulted_motion_mm": 0.001,
        "stall_insertions": 0.0,
        "stop_mm": 5.0,
        "false_trips": 0.0,
    }
    result = flown(RAISE, fault=[STUCK], limits=limits, **dict(UNGUARDED))[1]
    judged = {one.name: one for one in result.verdict.limits}

    assert [name for name in limits if judged[name].ok is not True] == []
    assert (judged["must_report"].told, judged["ends_as"].told) == ("stall", "faulted")
    assert result.verdict.gaps == ()


def test_a_guard_that_nobody_expects_leaves_the_verdict_incomplete() -> None:
    result = flown(RAISE, fault=[STUCK], limits={"target_error_mm": 1000.0})[1]

    assert result.verdict.word != "pass"
    assert "the controller ended faulted" in result.verdict.gaps


def test_a_report_that_does_not_come_breaks_its_limit() -> None:
    result = flown(RAISE, limits={"must_report": ["stall"], "ends_as": "faulted"})[1]
    broken = [one for one in result.verdict.limits if one.ok is False]

    assert result.verdict.word == "fail"
    assert [(one.name, one.wanted, one.told) for one in broken] == [
        ("must_report", "stall", "no stall; reported: nothing else"),
        ("ends_as", "faulted", "ready"),
    ]


def test_a_guard_that_acts_without_a_fault_is_a_false_trip() -> None:
    changes = {"settings.guards.tilt_limit_mm": 1.0, "settings.levelling.law": "none", "payload.at_mm": [-300.0, 0.0]}
    result = flown(RAISE, **changes, limits={"false_trips": 0.0, "must_report": ["tilt"]})[1]
    trips = next(one for one in result.verdict.limits if one.name == "false_trips")

    assert (trips.value, trips.ok) == (1.0, False)


@pytest.mark.parametrize(
    ("limits", "message"),
    [
        ({"must_report": ["stal"]}, 'did you mean "stall"?'),
        ({"must_report": ["stall", "stall"]}, "names a report twice"),
        ({"ends_as": "moving"}, "ends_as"),
    ],
)
def test_words_that_can_never_come_are_refused(limits: dict[str, Any], message: str) -> None:
    with pytest.raises(InputError, match=message.replace("?", r"\?")):
        load_scenario(RAISE, [(f"limits.{name}", value) for name, value in limits.items()])


@kernel
def _watch(rig: Any) -> None:
    watch_conduct(rig)


@kernel
def _deck(rig: Any) -> None:
    watch_deck(rig, 0, float(rig.world.time_us))


class Hand:
    """A rig whose modes and travels are set by hand, 1 ms a tick, 1 mm of lift a radian."""

    def __init__(self) -> None:
        self.rig: NDArray[np.void] = np.zeros(1, rig_dtype(2, 2))
        world = self.rig["world"][0]
        world["n_legs"], world["sub_step"], world["steps_per_tick"] = 2, 1e-4, 10
        world["legs"]["spindle"]["travel_per_radian"] = 1e-3
        self.mode(Mode.MOVING)
        self.rig["conduct"]["mode_before"] = Mode.MOVING

    def mode(self, mode: Mode) -> None:
        self.rig["memory"]["mode"] = mode

    def run(self, speeds: tuple[float, float], ticks: int) -> None:
        """Go on at ``speeds`` [m/s]."""
        world = self.rig["world"][0]
        for _ in range(ticks):
            for q in range(2):
                world["legs"][q]["motor"]["speed"] = 1e3 * speeds[q]
                world["legs"][q]["travel"] += 1e-3 * speeds[q]
            world["time_us"] += 1000
            _watch(records(self.rig)[0])

    @property
    def conduct(self) -> Conduct:
        return read_conduct(self.rig[0], ("left", "right"))


def test_a_retreat_is_measured_from_the_furthest_point_of_the_leg_that_went_back_least() -> None:
    hand = Hand()
    hand.run((0.03, 0.03), 100)
    hand.mode(Mode.RETREATING)
    hand.run((0.03, 0.02), 50)  # goes on 1.5 mm and 1.0 mm
    hand.run((-0.03, -0.02), 500)
    hand.mode(Mode.READY)
    hand.run((0.0, 0.0), 10)

    assert hand.conduct.stop_mm == Extreme(pytest.approx(1.5), pytest.approx(0.1), "left")
    assert hand.conduct.stop_s == Extreme(pytest.approx(0.05), pytest.approx(0.1), "left")
    assert hand.conduct.retreat_mm == Extreme(pytest.approx(10.0), pytest.approx(0.651), "right")


def test_power_and_motion_are_seen_while_faulted_but_not_what_coasts_out() -> None:
    hand = Hand()
    hand.run((0.03, 0.03), 10)
    hand.mode(Mode.FAULTED)
    hand.run((0.02, 0.02), 20)
    hand.run((0.0, 0.0), 5)
    quiet = hand.conduct
    hand.rig["world"][0]["legs"][1]["bridge"]["mode"] = 1
    hand.run((0.0, -0.01), 30)

    assert (quiet.powered_s, quiet.crept_mm) == (0.0, Extreme(0.0, None, "left"))
    assert hand.conduct.powered_s == pytest.approx(0.03)
    assert hand.conduct.crept_mm == Extreme(pytest.approx(0.3), pytest.approx(0.065), "right")


def test_a_count_made_up_on_a_leg_that_does_not_turn_is_seen_and_one_while_it_turns_is_not() -> None:
    hand = Hand()
    hand.rig["memory"][0]["legs"][0]["inserted"] = 3
    hand.run((0.03, 0.03), 2)
    turning = hand.conduct.made_up
    hand.rig["memory"][0]["legs"][1]["inserted"] = 2
    hand.run((0.03, 0.0), 2)

    assert turning is None
    assert hand.conduct.made_up == Extreme(2.0, pytest.approx(0.003), "right")


def test_a_stop_that_has_not_ended_is_no_stop_within_its_limit() -> None:
    run = summary(conduct=Conduct(stop_mm=Extreme(1.0, 2.0, "left"), stopping=True))

    assert judge(run, [LimitEntry("stop_mm", 2.0, "mm"), LimitEntry("energy_residual", 1.0, "")], "a.toml").limits[0].ok is None


def test_tilts_about_both_axes_are_those_of_the_trace() -> None:
    flight, result = flown(EXAMPLES / "roof" / "open-loop.toml")
    run = result.summary
    moving = [one for one in run.moves if not one.is_homing]
    time = flight.trace[:, flight.columns.index("time_s")]
    rows = np.zeros(len(time), bool)
    for one in moving:
        assert one.last_off_s is not None
        rows |= (time >= one.start_s) & (time <= one.last_off_s)
    for found, column in ((run.conduct.tilt_about_x_deg, "tilt_y_rad"), (run.conduct.tilt_about_y_deg, "tilt_x_rad")):
        largest = np.degrees(np.arctan(np.abs(flight.trace[rows, flight.columns.index(column)]).max()))
        assert found is not None
        assert found.value == pytest.approx(float(largest), rel=0.01)


def test_the_way_beyond_the_target_is_counted_in_the_direction_of_the_move() -> None:
    up = move(direction=1, legs=(leg("left", target_error_mm=-0.7), leg("right", target_error_mm=0.2)))
    down = move(direction=-1, legs=(leg("left", target_error_mm=-0.5), leg("right", target_error_mm=0.2)))

    assert LIMITS["overshoot_mm"].find(summary(up)).value == 0.2
    assert LIMITS["overshoot_mm"].find(summary(up, down)).value == 0.5
    assert LIMITS["overshoot_mm"].find(summary(up, down)).leg == "left"


def test_homings_repeat_as_well_as_their_worst_leg() -> None:
    first = move(kind="home", goal_mm=None, legs=(leg("left", error_mm=0.1), leg("right", error_mm=0.3)))
    again = replace(first, legs=(leg("left", error_mm=0.15), leg("right", error_mm=-0.1)))
    found = LIMITS["homing_repeat_mm"].find(summary(first, again))

    assert (found.value, found.leg) == (pytest.approx(0.4), "right")
    assert LIMITS["homing_repeat_mm"].find(summary(first)).reason == "it takes two homings"


def test_a_trip_after_the_first_fault_is_none_that_nobody_wanted() -> None:
    event = Event(5.0, "reason", "left", "Blocked.", 3.0, "stall")

    assert LIMITS["false_trips"].find(summary(events=(event,), fault_s=4.0)).value == 0.0
    assert LIMITS["false_trips"].find(summary(events=(event,), fault_s=6.0)).value == 1.0
    assert LIMITS["false_trips"].find(summary(events=(event,))).leg == "left"


def test_a_full_log_judges_no_report() -> None:
    wanted = [LimitEntry("must_report", 0.0, "", wanted=("stall",)), LimitEntry("energy_residual", 1.0, "")]

    assert judge(summary(events_dropped=3), wanted, "a.toml").limits[0].ok is None


def test_a_level_error_counts_until_the_controller_asks_to_be_homed() -> None:
    hand = Hand()
    for error, ask in ((1e-3, 0), (3e-3, 0), (9e-3, 31), (2e-3, 0)):
        hand.rig["world"][0]["deck"]["level_error"] = error
        hand.rig["memory"]["ask"] = ask
        hand.rig["world"]["time_us"] += 1000
        _deck(records(hand.rig)[0])

    assert hand.conduct.unflagged_mm == Extreme(pytest.approx(3.0), pytest.approx(0.002))


def test_the_logic_is_judged_where_it_has_a_hold_up_of_its_own() -> None:
    fed = {"lift.logic.hold_up_mf": 2.0, "limits.logic_min_v": 8.0, "limits.logic_down_s": 0.0}
    cut = {"what": "power-fail", "at_s": 4.0, "for_s": 60.0}
    good = {one.name: one for one in flown(RAISE, **fed)[1].verdict.limits}
    bad = {one.name: one for one in flown(RAISE, **fed, fault=[cut], end_s=40.0)[1].verdict.limits}

    assert LIMITS["logic_min_v"].find(summary()).reason.endswith("logic.hold_up_mf is left out")
    assert (good["logic_min_v"].ok, good["logic_down_s"].ok) == (True, True)
    assert (bad["logic_min_v"].ok, bad["logic_down_s"].ok) == (False, False)
    assert bad["logic_down_s"].value > 10.0


def test_the_push_against_an_end_stop_is_that_of_its_stiffness_and_depth() -> None:
    """Homing drives both legs onto their stops of 1000 N/mm; what is scored is at least what the trace shows every 10 ms."""
    flight, result = flown(EXAMPLES / "worktop" / "home.toml", limits={"end_stop_n": 2000.0})
    stops = flight.rig[0]["world"]["legs"][:2]
    depths = [
        float((stop["stop_low"] - flight.trace[:, flight.columns.index(f"{name}.height_m")]).max())
        for name, stop in zip(("left", "right"), stops, strict=True)
    ]
    force = next(one for one in result.verdict.limits if one.name == "end_stop_n")

    assert force.ok is True
    assert force.value == pytest.approx(1e6 * max(depths), rel=0.15)
    assert force.leg == ("left", "right")[int(np.argmax(depths))]
    assert LIMITS["end_stop_n"].find(summary()).reason == "no end stop was met"
