"""What the controller does about orders, ends, stops, lost and false pulses: flown on the whole machine."""

from __future__ import annotations

from collections.abc import Generator
from typing import Any

import numpy as np
import pytest
import simpy
from rehearsals import PERFECT_COUNTS, UNGUARDED, rehearsal

from scenarios.build import build_rig
from scenarios.files import load_scenario
from scenarios.rig import Happening
from scenarios.runner import fly, fly_rig
from scenarios.world import World
from sync.modes import Command, Mode, Reason

LEFT, RIGHT = 0, 1
UNEVEN = (("payload.mass_kg", 60.0), ("payload.at_mm", [-300.0, 0.0]), ("lift.deck.tilt_stiffness_x_kn_m_per_rad", 0.0))
FAST = ("settings.speed.slow_down_mm", 0.0)
PER_MM = 19.5


def flown(name: str, *sets: tuple[str, Any], perfect: bool = True) -> Any:
    """Record of a shipped rehearsal at its end, with changes; perfect counts unless said."""
    return fly(load_scenario(rehearsal(name), (*(PERFECT_COUNTS if perfect else ()), *sets)), trace=False).rig[0]


def lost(rig: Any) -> list[int]:
    """Counts by which each leg believes itself short of what its motor has turned since the start, at rest after one move up."""
    legs = rig["world"]["legs"][:2]
    told = rig["settings"]["legs"][:2]
    start = np.floor((0.020 - told["home_offset"]) * told["counts_per_metre"]).astype(int)
    return [int(legs["motor"]["commuted"][q] - (rig["memory"]["legs"]["counts"][q] - start[q])) for q in (LEFT, RIGHT)]


def happened(rig: Any, what: Happening) -> list[tuple[int, float]]:
    """Leg and value of every event of a kind."""
    return [(int(event["leg"]), float(event["value"])) for event in rig["log"][: rig["events"]] if event["what"] == what]


def refusals(orders: list[tuple[float, Command, float]], *sets: tuple[str, Any]) -> tuple[list[Reason], Mode]:
    """Reasons of the refusals when orders come at their times [s], and the mode at the end."""
    rig = build_rig(load_scenario(rehearsal("worktop/raise"), (("end_s", 3.0), *PERFECT_COUNTS, *sets)))
    rig["rows"], rig["settle_us"] = 0, 1 << 40
    world = World(rig)

    def operator() -> Generator[simpy.Event, Any, None]:
        for at, command, target in orders:
            yield world.env.timeout(round(at * 1e6) - world.env.now)
            world.order(command, target)

    world.env.process(operator())
    world.run()
    reasons = [Reason(int(value)) for _, value in happened(rig[0], Happening.REFUSED)]
    return reasons, Mode(int(rig["memory"]["mode"][0]))


def test_an_order_to_go_is_refused_while_the_position_is_unknown() -> None:
    assert refusals([(0.1, Command.GO, 0.1)], ("start.referenced", False)) == ([Reason.NOT_REFERENCED], Mode.UNREFERENCED)


def test_a_second_order_is_refused_while_the_first_is_carried_out() -> None:
    orders = [(0.1, Command.GO, 0.3), (1.0, Command.GO, 0.1), (1.5, Command.HOME, 0.0)]

    assert refusals(orders) == ([Reason.BUSY, Reason.BUSY], Mode.MOVING)


@pytest.mark.parametrize("target", [0.004, 0.491])
def test_a_target_outside_the_travel_is_refused(target: float) -> None:
    assert refusals([(0.1, Command.GO, target)]) == ([Reason.OUT_OF_TRAVEL], Mode.READY)


def test_after_a_fault_only_clear_and_home_lead_back() -> None:
    orders = [(0.1, Command.GO, 0.3), (1.2, Command.GO, 0.1), (1.4, Command.CLEAR, 0.0), (1.6, Command.GO, 0.1), (1.8, Command.HOME, 0.0)]
    reasons, mode = refusals(orders, ("settings.guards.move_timeout_s", 1.0), ("end_s", 2.5))

    assert reasons == [Reason.STOPPED, Reason.NOT_REFERENCED]
    assert mode is Mode.HOMING


def test_a_released_key_brings_both_ends_to_the_same_height() -> None:
    told = flown("worktop/hold-to-run", *UNEVEN)
    blind = flown("worktop/hold-to-run", *UNEVEN, ("settings.stopping.predict", False))
    level, untold = (1e3 * rig["move"]["after_coast"][:2] for rig in (told, blind))
    print("after release up and down:", level, "without prediction:", untold)

    assert told["memory"]["mode"] == Mode.READY
    assert np.all(level < 0.25)
    assert np.all(untold > 0.5)


def test_a_released_key_stops_no_later_than_the_longest_coast() -> None:
    move = flown("worktop/hold-to-run", *UNEVEN)["move"][0]

    # The leg that coasts further is off at once; the other one runs on by the difference of the coasts, about 1 mm.
    assert 4.0 <= (move["first_off_us"] - move["start_us"]) * 1e-6 < 4.01
    assert 4.0 < (move["last_off_us"] - move["start_us"]) * 1e-6 < 4.15
    assert np.all(move["legs"]["height"][:2] < 0.24)


def test_the_tilt_guard_switches_everything_off_at_its_limit() -> None:
    rig = flown("worktop/open-loop", ("settings.guards.tilt_limit_mm", 5.0))

    assert rig["memory"]["mode"] == Mode.FAULTED
    assert rig["memory"]["reason"] == Reason.TILT
    assert rig["outputs"]["legs"]["mode"][:2].tolist() == [0, 0]
    # seen at the first call past the limit, a count at most
    assert rig["move"][0]["seen_peak"] == pytest.approx(5e-3, abs=2e-3 / PER_MM)


@pytest.mark.parametrize("perfect", [True, False])
def test_a_leg_at_its_end_stop_is_a_stall_and_gains_no_counts(perfect: bool) -> None:
    stop = ("lift.leg.stops.high_mm", 200.0)
    rig = flown("worktop/raise", stop, *UNGUARDED, perfect=perfect)
    stalled = happened(rig, Happening.STALLED)

    assert rig["memory"]["mode"] == Mode.FAULTED
    assert rig["memory"]["reason"] == Reason.STALL
    assert stalled != []
    assert rig["memory"]["legs"]["inserted"][:2].tolist() == [0, 0]
    if perfect:
        # pulses while the springs of the stops push back are counted up though the motor turns down: less than 1 mm
        assert np.all(np.abs(lost(rig)) < PER_MM)


def test_a_leg_without_pulses_at_low_current_is_a_broken_wire_and_not_a_stall() -> None:
    silent = ("fault", [{"what": "lose-counts", "leg": "right", "at_s": 3.0, "counts": 100000}])
    rig = flown("worktop/raise", silent, ("settings.guards.tilt_limit_mm", 100.0))

    assert rig["memory"]["reason"] == Reason.NO_PULSES
    # with the shipped limit the tilt as counted is the first to speak, a sixth of a second after the wire broke
    assert flown("worktop/raise", silent)["memory"]["reason"] == Reason.TILT
    assert happened(rig, Happening.STALLED) == [(RIGHT, 0.0)]
    assert rig["memory"]["legs"]["inserted"][:2].tolist() == [0, 0]


def test_a_move_that_takes_too_long_is_ended() -> None:
    rig = flown("worktop/raise", ("settings.guards.move_timeout_s", 2.0))

    assert (rig["memory"]["mode"], rig["memory"]["reason"]) == (Mode.FAULTED, Reason.TIMEOUT)


@pytest.mark.parametrize("leg", [LEFT, RIGHT])
def test_a_single_miss_is_inserted(leg: int) -> None:
    rig = flown("worktop/raise", ("fault", [{"what": "lose-counts", "leg": ("left", "right")[leg], "at_s": 4.0, "counts": 1}]))

    assert rig["world"]["legs"]["detector"]["missed"][leg] == 1
    assert rig["memory"]["legs"]["inserted"][:2].tolist() == [1 - leg, leg]
    assert lost(rig) == [0, 0]


@pytest.mark.parametrize("counts", [2, 5, 25])
def test_a_burst_that_is_lost_is_not_made_up(counts: int) -> None:
    rig = flown("worktop/raise", ("fault", [{"what": "lose-counts", "leg": "left", "at_s": 4.0, "counts": counts}]))

    assert rig["memory"]["legs"]["inserted"][:2].tolist() == [0, 0]
    assert lost(rig) == [counts, 0]
    # the controller shows level, the deck is off by what was lost
    assert 1e3 * rig["world"]["deck"]["level_error"] == pytest.approx(counts / PER_MM, abs=0.15)


def test_doubles_are_rejected() -> None:
    rig = flown("worktop/raise", ("lift.leg.detector.run_double", 0.02))
    extra, rejected = rig["world"]["legs"]["detector"]["extra"][:2], rig["memory"]["legs"]["rejected"][:2]
    print("doubled", extra, "rejected", rejected, "lost", lost(rig))

    assert np.all(extra > 80)
    # the first five pulses after a start are not judged: a double among them stays
    assert np.all(np.abs(lost(rig)) <= 1)


@pytest.mark.parametrize("leg", [LEFT, RIGHT])
def test_a_single_false_pulse_costs_no_count_wherever_it_falls(leg: int) -> None:
    # a period lasts 1.7 ms
    for at in np.linspace(4.0, 4.002, 20):
        fault = {"what": "extra-counts", "leg": ("left", "right")[leg], "at_s": float(at), "counts": 1}
        rig = flown("worktop/raise", ("fault", [fault]))

        assert rig["world"]["legs"]["detector"]["extra"][leg] == 1
        assert lost(rig) == [0, 0]


def test_a_state_that_is_no_number_ends_the_rehearsal_and_names_the_leg() -> None:
    rig = build_rig(load_scenario(rehearsal("worktop/raise")))
    fly_rig(rig, None, 2000)
    assert rig["finished"][0] == 0
    rig["world"]["legs"]["motor"]["current"][0, RIGHT] = np.nan
    fly_rig(rig)

    assert rig["ticks"][0] == 2001
    assert rig["world"]["diverged"][0] == RIGHT + 1


def deaf(rig: Any) -> tuple[Any, Any]:
    """Commutations of the last coast, and those missed in the whole move, per leg."""
    score = rig["move"][0]["legs"][:2]
    return np.abs(score["still_commuted"] - score["off_commuted"]), score["missed"]


def test_voltage_spikes_are_heard_through_the_coast() -> None:
    coast, missed = deaf(flown("worktop/raise", FAST))

    assert np.all(coast > 10)
    assert missed.tolist() == [0, 0]


def test_current_ripple_is_not_heard_once_the_motor_coasts() -> None:
    rig = flown("worktop/raise", FAST, ("lift.leg.detector.kind", "ripple"))
    coast, missed = deaf(rig)

    assert np.all(coast > 10)
    # the current dies within a fraction of a commutation; what the soft start is too weak for is missed as well
    assert np.all(missed >= coast - 1)
    assert np.all(np.array(lost(rig)) >= coast - 1)


def test_a_hall_type_reference_misses_nothing() -> None:
    rig = flown(
        "worktop/raise", ("lift.leg.detector.kind", "hall"), ("lift.leg.detector.run_miss", 0.2), ("lift.leg.detector.tail_rpm", 900)
    )

    assert rig["move"][0]["legs"]["missed"][:2].tolist() == [0, 0]
    assert lost(rig) == [0, 0]


def test_a_braked_stop_is_short_and_voltage_spikes_do_not_hear_it() -> None:
    open_, shorted = flown("worktop/raise", FAST), flown("worktop/raise", FAST, ("settings.stopping.off_state_up", "brake"))
    ways = []
    for rig in (open_, shorted):
        score = rig["move"][0]["legs"][:2]
        ways.append(1e3 * (score["still_travel"] - score["off_travel"]))
    braked, missed = deaf(shorted)
    print("coast", ways[0], "brake", ways[1], "mm; commutations of the brake", braked, "missed", missed)

    # 60 kg a leg: 1.34 mm coasting and 0.354 mm braked from full speed, less from the base duty
    assert np.all(ways[0] > 3.0 * ways[1])
    assert np.all(braked >= 3)
    assert missed.tolist() == braked.tolist()
    assert lost(shorted) == missed.tolist()


def test_an_overhauling_deck_falls_whether_its_gear_has_play_or_not() -> None:
    # A thread and a drag that hold nothing, 60 kg a column: once up, the deck must not hang on the play of its gears.
    loose = tuple(
        (f"lift.every_leg.{key}", value)
        for key, value in (
            ("spindle.friction", 0.05),
            ("spindle.static_friction", 0.05),
            ("motor.coulomb_drag_mn_m", 1.0),
            ("gear.efficiency", 0.95),
        )
    )
    heights = []
    for play in (0.0, 1.0):
        rig = flown("worktop/raise", *loose, ("lift.every_leg.gear.play_deg", play), ("payload.mass_kg", 90.0), ("end_s", 25.0))
        heights.append(rig["world"]["legs"]["travel"][:2])

    assert np.all(np.array(heights) < 0.1)


def test_a_refused_order_neither_ends_the_move_nor_counts_as_one() -> None:
    rig = build_rig(load_scenario(rehearsal("worktop/raise"), PERFECT_COUNTS))
    row = rig["script"][0, 1]
    row["trigger"], row["at"], row["action"], row["leg"], row["move"] = 0, 3e6, 0, -1, 1
    row["values"][:2] = Command.GO, 0.03
    rig["rows"] = 2
    fly_rig(rig)
    one = rig[0]

    assert [Reason(int(value)) for _, value in happened(one, Happening.REFUSED)] == [Reason.BUSY]
    assert int(one["moves"]) == 1
    assert one["move"][0]["legs"]["height"][:2] == pytest.approx(0.32, abs=5e-4)
    assert float(one["move"][0]["end_us"]) > 10e6


def test_every_second_pulse_rejected_is_seen_and_given_back() -> None:
    # Seed 1 of this rehearsal: rear-left starts its last homing expecting twice the true period, and would hold on to it.
    moves = [{"home": True}, {"to_mm": 40.0}, {"home": True}, {"to_mm": 40.0}, {"home": True}]
    rig = flown("roof/home", ("move", moves), ("end_s", 90.0), perfect=False)
    known = rig["memory"]["legs"][:4]
    off = known["residual"] + known["again"]
    print("rejected", known["rejected"], "counts off at the stop", off)

    assert rig["memory"]["mode"] == Mode.READY
    # about 1,500 counts a leg and stroke: half of them were taken for doubles before
    assert np.all(np.abs(off) < 30)


def test_two_false_pulses_of_the_switching_edge_do_not_make_it_believe_in_a_huge_speed() -> None:
    # They came 0.2 ms apart and stood for 5,000 counts/s: the leg was cut for a target 60 mm away, and the tilt guard spoke.
    extra = {"what": "extra-counts", "leg": "right", "at_s": 0.5012, "counts": 2, "spacing_us": 200.0}
    rig = flown("worktop/raise", ("fault", [extra]))

    assert rig["memory"]["mode"] == Mode.READY
    assert 1e3 * rig["world"]["legs"]["height"][:2] == pytest.approx(320.0, abs=0.6)
