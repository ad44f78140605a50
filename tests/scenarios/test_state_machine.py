"""Random sequences of orders and faults never lead the controller to what it must never do, and each of these claims can fail.

Fast suite: some sequences for each lift, always the same ones.  ``-m slow`` flies a thousand, and

    pytest -m slow tests/scenarios/test_state_machine.py --hypothesis-profile=thorough

7,000 for each of the three lifts, other ones every time (``--hypothesis-seed=N`` repeats a run).
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from invariants import INVARIANTS, broken
from sequences import LIFTS, Sequence, Step, prepared, sequences
from watching import Spoiler, Watched, fly_watched

from scenarios.rig import Action, Happening
from sync.modes import Command, Mode, Reason

CALM = (HealthCheck.too_slow, HealthCheck.data_too_large, HealthCheck.large_base_example)
SLOW = max(settings().max_examples, 350)
"""Sequences for each lift under -m slow; the profile "thorough" raises it."""

UP = Step(100, Action.COMMAND, (float(Command.PRESS_UP), 0.0))
BLOCK = Step(200, Action.OBSTACLE, (0.0, 0.0, 0.03, 7.5e4, 1.0, 1.0))
JAM = Step(900, Action.JAM, (20000.0,), 0)
JAM_ALL = Step(900, Action.JAM, (20000.0,))
STIFF, EASY = Step(100, Action.FRICTION, (1.75,), 0), Step(10, Action.FRICTION, (0.75,), 1)
DOWN, LONG_AFTER = Step(100, Action.COMMAND, (float(Command.PRESS_DOWN), 0.0)), Step(2000, Action.CLOCK_RATE, (0.0,))


def reasons_of(watched: Watched) -> set[int]:
    """Reasons of the faults and retreats of a flight."""
    rig = watched.rig[0]
    log = rig["log"][: min(int(rig["events"]), len(rig["log"]))]
    return {int(value) for value in log["value"][log["what"] == Happening.REASON]}


def test_no_sequence_of_orders_and_faults_breaks_an_invariant() -> None:
    modes: set[int] = set()
    reasons: set[int] = set()

    @settings(max_examples=40, suppress_health_check=CALM)
    @given(st.data())
    def hold(data: st.DataObject) -> None:
        for lift in LIFTS:
            sequence = data.draw(sequences(lift))
            watched = fly_watched(prepared(sequence))
            modes.update(int(mode) for mode in np.unique(watched.whole("mode")))
            reasons.update(reasons_of(watched))

            assert broken(watched, sequence) == {}

    hold()

    # the sequences come everywhere, or the claim is worth little
    assert modes == {int(mode) for mode in Mode}
    assert {Reason.TILT, Reason.PINCH_RAISING} <= reasons
    assert reasons & {Reason.STALL, Reason.NO_PULSES}


@pytest.mark.slow
@pytest.mark.parametrize("lift", LIFTS)
def test_no_long_run_of_sequences_breaks_an_invariant(lift: str) -> None:
    @settings(max_examples=SLOW, suppress_health_check=CALM)
    @given(sequences(lift, most=14))
    def hold(sequence: Sequence) -> None:
        assert broken(fly_watched(prepared(sequence)), sequence) == {}

    hold()


def flown(*steps: Step, lift: str = "worktop", variant: str = "reverse", spoil: Spoiler | None = None) -> tuple[Watched, Sequence]:
    """A sequence written by hand."""
    sequence = Sequence(lift, variant, steps)
    return fly_watched(prepared(sequence), spoil), sequence


def drive(rig: Any, leg: int, duty: float) -> None:
    """Command a leg to be driven, whatever the controller said."""
    rig["outputs"]["legs"]["mode"][0, leg] = 1
    rig["outputs"]["legs"]["duty"][0, leg] = duty


def one_leg_stays_on_when_faulted(rig: Any) -> None:
    if rig["memory"]["mode"][0] == Mode.FAULTED:
        drive(rig, 1, 0.5)


def a_pinch_stops_one_leg_only(rig: Any) -> None:
    if rig["memory"]["mode"][0] == Mode.RETREATING:
        drive(rig, 1, 0.8)


def the_stall_guard_begins_anew_at_each_call(rig: Any) -> None:
    rig["settings"]["pinch"]["on"] = 0
    rig["memory"]["legs"]["on_us"] = rig["inputs"]["time_us"][0]


def a_silent_leg_gets_counts_made_up(rig: Any) -> None:
    legs = rig["memory"]["legs"]
    silent = (legs["on"] == 1) & (rig["inputs"]["time_us"][0] - legs["pulse_us"] > 50_000.0) & (legs["pulse_us"] > 0.0)
    legs["inserted"] += silent
    legs["counts"] += silent


def a_fault_lets_one_leg_go_on_for_three_ticks(rig: Any) -> None:
    memory = rig["memory"]
    if memory["mode"][0] == Mode.FAULTED and rig["inputs"]["time_us"][0] - memory["since_us"][0] < 3000.0:
        drive(rig, 1, 0.8 * memory["direction"][0])


def the_tilt_limit_is_forgotten(rig: Any) -> None:
    rig["settings"]["tilt_limit"] = 1.0


def one_leg_is_believed_where_the_other_is(rig: Any) -> None:
    rig["memory"]["legs"]["counts"][0, 0] = rig["memory"]["legs"]["counts"][0, 1]


def a_division_by_zero_is_learnt(rig: Any) -> None:
    if rig["inputs"]["time_us"][0] > 500_000:
        rig["memory"]["legs"]["factor"][0, 0, 1] = np.nan


@pytest.mark.parametrize(
    ("claim", "spoil", "steps"),
    [
        ("unpowered_when_faulted", one_leg_stays_on_when_faulted, (UP, JAM)),
        ("off_the_obstacle", a_pinch_stops_one_leg_only, (UP, BLOCK)),
        ("no_push_without_end", the_stall_guard_begins_anew_at_each_call, (UP, JAM_ALL)),
        ("nothing_inserted_at_a_stall", a_silent_leg_gets_counts_made_up, (UP, JAM_ALL)),
        ("all_stop_together", a_fault_lets_one_leg_go_on_for_three_ticks, (UP, JAM)),
        ("believed_tilt_is_kept", the_tilt_limit_is_forgotten, (STIFF, EASY, DOWN, LONG_AFTER)),
        ("true_tilt_is_bounded", one_leg_is_believed_where_the_other_is, (STIFF, EASY, DOWN, LONG_AFTER)),
        ("memory_stays_finite", a_division_by_zero_is_learnt, (UP,)),
    ],
)
def test_each_invariant_catches_the_controller_that_breaks_it(claim: str, spoil: Spoiler, steps: tuple[Step, ...]) -> None:
    sound = broken(*flown(*steps, variant="unlevelled"))
    spoilt = broken(*flown(*steps, variant="unlevelled", spoil=spoil))

    assert claim in INVARIANTS
    assert sound == {}
    assert claim in spoilt


@pytest.mark.parametrize("leg", [1, 2, 3])
def test_a_leg_that_stands_gated_off_gets_no_counts_made_up_of_its_neighbours(leg: int) -> None:
    lean = Step(50, Action.LEAN, (0.21, -0.225, 300.0 if leg < 3 else 60.0))
    talk = Step(400, Action.CROSSTALK, (0.7, -1.0), leg)
    watched, sequence = flown(UP, lean, talk, lift="roof", variant="gating")
    told = watched.each("told_mode")[:, leg]

    # the law switches the leg off, and on again; while it stands it hears most of what its neighbours do
    assert np.any(np.diff(told) == -1)
    assert watched.each("extra")[-1, leg] > 20
    assert INVARIANTS["nothing_inserted_at_a_stall"](watched, sequence) == ""


def test_a_leg_that_stands_for_want_of_voltage_gets_no_counts_made_up_of_interference() -> None:
    noise = Step(800, Action.INTERFERENCE, (801.0, 0.0), 0)
    away = Step(40, Action.SUPPLY, (3.0,))
    sequence = Sequence("worktop", "reverse", (UP, noise, away))
    rig = prepared(sequence)
    # the guards that would end the move at once
    rig["settings"]["pinch"]["on"] = 0
    rig["settings"]["supply_low"] = 0.0
    watched = fly_watched(rig)
    stands = watched.each("speed_m_s")[:, 0] == 0.0
    powered = (watched.each("told_mode")[:, 0] == 1) & (watched.whole("time_s") > 1.0)

    assert np.sum(stands & powered) > 200
    assert INVARIANTS["nothing_inserted_at_a_stall"](watched, sequence) == ""


def test_a_leg_that_is_held_by_a_bridge_against_its_order_gets_no_counts_made_up_of_interference() -> None:
    noise, held = Step(1, Action.INTERFERENCE, (281.0, 1.0), 0), Step(1, Action.BRIDGE_STUCK, (2.0, -0.1), 0)
    watched, _ = flown(Step(1, Action.COMMAND, (float(Command.PRESS_UP), 0.0)), noise, held, lift="showcase")
    stands = (watched.each("speed_m_s")[:, 0] == 0.0) & (watched.each("told_mode")[:, 0] == 1)

    # it is sent the other way; the pulses come at about the speed of the order, the current flows against it
    assert np.sum(stands) > 300
    assert watched.each("extra")[-1, 0] > 50
    assert watched.each("inserted")[-1, 0] == 0


@pytest.mark.parametrize("lift", LIFTS)
def test_a_homing_that_drives_the_legs_apart_ends_at_the_tilt_limit(lift: str) -> None:
    # no levelling law, one stiff leg and one that runs easily, and a long way to the stops
    stiff, easy = Step(100, Action.FRICTION, (1.75,), 0), Step(10, Action.FRICTION, (0.75,), 1)
    home, long_after = Step(10, Action.COMMAND, (float(Command.HOME), 0.0)), Step(12000, Action.CLOCK_RATE, (0.0,))
    watched, sequence = flown(stiff, easy, home, long_after, lift=lift, variant="unlevelled")

    # the worktop's columns, parted, rack: its pinch guard, which watches a homing from a known height, feels that before
    assert reasons_of(watched) == {Reason.PINCH_LOWERING if lift == "worktop" else Reason.TILT}
    assert np.max(watched.whole("believed_error_m")[watched.whole("mode") == Mode.HOMING]) <= float(watched.told["tilt_limit"])
    assert broken(watched, sequence) == {}


@pytest.mark.parametrize(("lift", "after_ms"), [("worktop", 200), ("worktop", 900), ("roof", 900), ("showcase", 900)])
def test_a_homing_from_known_heights_is_held_to_the_tilt_limit_like_any_move(lift: str, after_ms: int) -> None:
    # a dip of the supply ends a move that parted the legs; the homing that follows parts them further
    stiff, easy = Step(100, Action.FRICTION, (1.75,), 0), Step(10, Action.FRICTION, (0.75,), 1)
    down, dip = Step(10, Action.COMMAND, (float(Command.PRESS_DOWN), 0.0)), Step(after_ms, Action.SUPPLY, (3.0,), -1, 200)
    home, long_after = Step(1500, Action.COMMAND, (float(Command.HOME), 0.0)), Step(12000, Action.CLOCK_RATE, (0.0,))
    sequence = Sequence(lift, "unlevelled", (stiff, easy, down, dip, home, long_after))
    rig = prepared(sequence)
    rig["settings"]["supply_low"], rig["settings"]["supply_low_time"] = 8.0, 0.005
    # a deck that racks takes load off a leg, which the pinch guard would see first
    rig["settings"]["pinch"]["on"] = 0
    watched = fly_watched(rig)
    believed, limit = watched.whole("believed_error_m"), float(watched.told["tilt_limit"])
    homing = watched.whole("mode") == Mode.HOMING
    print(f"{lift}: {1e3 * believed[homing][0]:.2f} mm apart as the homing begins, {1e3 * np.max(believed[homing]):.2f} mm at its end")

    # the coast may have parted them beyond the limit already; a rounding of two counts is no parting
    assert believed[homing][0] > 0.05 * limit
    assert reasons_of(watched) == {Reason.TILT, Reason.SUPPLY_LOW}
    assert np.max(believed[homing]) <= max(limit, believed[homing][0] + 2.0 / float(watched.told["legs"]["counts_per_metre"][0]))
    assert broken(watched, sequence) == {}


def test_a_hand_that_waited_for_the_motor_turns_its_way_and_does_not_take_back_what_the_motor_ran() -> None:
    hand, release = Step(41, Action.HAND, (-1.2e-3, 2e-3), 2), Step(699, Action.COMMAND, (float(Command.RELEASE), 0.0))
    watched, sequence = flown(UP, hand, release, LONG_AFTER, lift="showcase", variant="reverse")
    travel = 1e3 * watched.each("travel")
    off = int(np.flatnonzero(watched.each("bridge_mode")[:, 2] == 1)[-1])
    print(f"turned back by {travel[off, 2] - travel[-1, 2]:.3f} mm")

    # to what the leg still runs in a tick or two, before the hand has it
    assert travel[off, 2] - travel[-1, 2] == pytest.approx(1.2, abs=0.1)
    assert travel[-1, 2] > travel[0, 2] + 3.0
    assert broken(watched, sequence) == {}
