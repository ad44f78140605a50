"""From files to records: the only place where units change."""

from __future__ import annotations

from math import floor, pi
from pathlib import Path

import numpy as np
import pytest

from scenarios.build import assemble, assumptions, build_world, derivations
from scenarios.build_lift import leg_key, pitch_pattern
from scenarios.build_settings import told_constants
from scenarios.files import load_lift, load_scenario
from scenarios.rig import Action, Trigger
from sync.modes import Command, Mode

ROOT = Path(__file__).resolve().parents[2]
DATA = ROOT / "tests" / "data"
WORKTOP = ROOT / "examples" / "worktop"


def test_parameter_set_a_arrives_in_si() -> None:
    leg = build_world(load_lift(DATA / "one-leg-a.toml"))[0]["legs"][0]
    motor, spindle = leg["motor"], leg["spindle"]

    assert (motor["resistance"], motor["inductance"], motor["torque_constant"]) == pytest.approx((0.9, 1e-3, 0.055))
    assert (motor["inertia"], motor["coulomb"], motor["viscous"]) == pytest.approx((4.5e-5, 0.030, 4.0e-5))
    assert (spindle["lead"], spindle["mean_radius"], spindle["inertia"]) == pytest.approx((4e-3, 6e-3, 1.5e-5))
    assert spindle["travel_per_radian"] == pytest.approx(97.94e-6, rel=1e-4)
    assert motor["commutations"] == 12


@pytest.mark.parametrize(("lift", "commutations", "per_mm"), [("one-leg-a", 12, 19.5), ("one-leg-b", 10, 37.5)])
def test_the_firmware_is_told_the_counts_of_the_lift_unless_the_settings_say_otherwise(lift: str, commutations: int, per_mm: float) -> None:
    nominal = load_scenario(DATA / "one-leg.toml", [("lift", f"{lift}.toml")])
    told = load_scenario(DATA / "one-leg.toml", [("lift", f"{lift}.toml"), ("settings.drive.counts_per_mm", 20.0)])
    (first,), (second,) = told_constants(nominal.settings, nominal.lift), told_constants(told.settings, told.lift)

    assert first.counts_per_revolution == commutations
    assert first.counts_per_metre == pytest.approx(per_mm * 1e3)
    assert second.counts_per_metre == pytest.approx(20e3)
    assert "counts_per_metre" in first.derived
    assert "counts_per_metre" not in second.derived


def test_told_constants_become_count_rates() -> None:
    rig = assemble(load_scenario(DATA / "one-leg.toml"))[0]
    told = rig["settings"]["legs"][0]
    # 30 kg: half of the rated 60; J = 4.5e-5 + 1.5e-5/6.5^2 + 30 (97.94e-6)^2
    inertia = 4.5e-5 + 1.5e-5 / 6.5**2 + 30.0 * (4e-3 / (2 * pi * 6.5)) ** 2

    assert told["pull"] == pytest.approx(0.055 / inertia * 12 / (2 * pi))
    assert told["drag_rate"] == pytest.approx(4.0e-5 / inertia)
    # 0.055 V s/rad over 12/(2 pi) counts/rad
    assert told["emf"] == pytest.approx(0.055 * 2 * pi / 12)
    assert (told["resistance"], told["brush_drop"]) == pytest.approx((0.9, 0.9))
    assert told["drag"] == pytest.approx(0.030 / inertia * 12 / (2 * pi))


def test_a_referenced_controller_believes_the_true_height_within_one_count() -> None:
    rig = assemble(load_scenario(WORKTOP / "raise-uneven.toml"))[0]

    for q in range(2):
        told, known = rig["settings"]["legs"][q], rig["memory"]["legs"][q]
        believed = (known["counts"] + 0.5) / told["counts_per_metre"] + told["home_offset"]
        assert abs(believed - 0.020) <= 0.5 / told["counts_per_metre"] + 1e-12
        assert known["counts"] == floor((0.020 - told["home_offset"]) * 19500.0)
    assert rig["memory"]["mode"] == Mode.READY


def test_an_unreferenced_start_leaves_the_counts_at_zero() -> None:
    rig = assemble(load_scenario(WORKTOP / "home.toml"))[0]

    assert rig["memory"]["mode"] == Mode.UNREFERENCED
    assert rig["memory"]["legs"]["counts"][:2].tolist() == [0, 0]
    assert rig["world"]["legs"]["travel"][:2] == pytest.approx([0.020, 0.021])


def test_moves_and_faults_become_rows_with_the_moves_first() -> None:
    rig = assemble(load_scenario(WORKTOP / "lost-counts.toml"))[0]
    go, lose = rig["script"][0], rig["script"][1]

    assert rig["rows"] == 2
    assert (go["trigger"], go["at"], go["action"], go["move"]) == (Trigger.READY, 500_000, Action.COMMAND, 1)
    assert go["values"][:2].tolist() == [Command.GO, 0.32]
    assert (lose["trigger"], lose["action"], lose["leg"], lose["move"]) == (Trigger.ABOVE, Action.LOSE_COUNTS, 0, 0)
    assert lose["at"] == pytest.approx(0.170)
    assert lose["values"][0] == 25


def test_a_press_is_followed_by_its_release() -> None:
    rows = assemble(load_scenario(WORKTOP / "hold-to-run.toml"))[0]["script"]

    assert [int(value) for value in rows["values"][:4, 0]] == [Command.PRESS_UP, Command.RELEASE, Command.PRESS_DOWN, Command.RELEASE]
    assert rows["move"][:5].tolist() == [1, 0, 1, 0, 0]
    assert (rows[1]["trigger"], rows[1]["at"]) == (Trigger.AFTER, 4_000_000)


@pytest.mark.parametrize(("off", "action"), [("coast", Action.POWER_OFF), ("brake", Action.BRAKE)])
def test_a_bypass_drives_and_then_opens_or_shorts(off: str, action: Action) -> None:
    rows = assemble(load_scenario(DATA / "one-leg.toml", [("move.1.off", off), ("move.1.drive_duty", -1.0)]))[0]["script"]

    assert (rows[0]["action"], rows[0]["values"][0], rows[0]["move"]) == (Action.POWER_ON, -1.0, 1)
    assert (rows[1]["action"], rows[1]["trigger"], rows[1]["at"]) == (action, Trigger.AFTER, 3_000_000)


def test_every_kind_of_fault_has_its_row() -> None:
    faults = [
        {"what": "lose-counts", "leg": "right", "at_s": 1.0, "counts": 4},
        {"what": "extra-counts", "leg": "left", "at_s": 1.5, "counts": 5, "spacing_us": 250},
        {"what": "payload", "at_mm_above": 60.0, "mass_kg": 45.0, "at_mm": [100.0, 20.0]},
        {"what": "thread-friction", "leg": "right", "at_s": 2.0, "factor": 1.2},
        {"what": "guide-friction", "at_mm_below": 10.0, "friction_n": 80.0},
        {"what": "supply", "at_s": 3.0, "open_voltage_v": 20.0},
        {"what": "power-off", "at_s": 4.0, "off": "brake"},
    ]
    rows = assemble(load_scenario(WORKTOP / "raise.toml", [("fault", faults)]))[0]["script"][1:8]

    assert rows["action"].tolist() == [
        Action.LOSE_COUNTS,
        Action.EXTRA_COUNTS,
        Action.PAYLOAD,
        Action.FRICTION,
        Action.GUIDE,
        Action.SUPPLY,
        Action.BRAKE,
    ]
    assert rows["leg"].tolist() == [1, 0, -1, 1, -1, -1, -1]
    assert rows["values"][1, :2] == pytest.approx([5, 250e-6])
    assert rows["values"][2, :3] == pytest.approx([45.0, 0.1, 0.02])
    assert rows["trigger"].tolist() == [Trigger.TIME, Trigger.TIME, Trigger.ABOVE, Trigger.TIME, Trigger.BELOW, Trigger.TIME, Trigger.TIME]


def test_the_key_of_a_leg_comes_from_its_name_alone() -> None:
    first, second = build_world(load_lift(WORKTOP / "worktop.toml"))[0]["legs"]["key"][:2]

    assert (first, second) == (leg_key("left"), leg_key("right"))
    assert leg_key("left") == 0x83117FE5BEB11A36  # b2sum -l 64 of the name, bytes from the low end
    assert first != second


@pytest.mark.parametrize("commutations", [4, 10, 12, 14, 44, 64])
def test_the_pitch_pattern_has_no_mean_and_the_stated_size(commutations: int) -> None:
    pattern = pitch_pattern(commutations, 0.02)

    assert abs(pattern.sum()) < 1e-12
    assert np.sqrt(np.mean(pattern**2)) == pytest.approx(0.02)
    assert len(set(pattern.round(9).tolist())) == commutations


def test_two_builds_are_the_same_bytes_and_another_seed_differs_in_the_seed_alone() -> None:
    scenario = load_scenario(WORKTOP / "raise.toml")
    first, second, other = assemble(scenario), assemble(scenario), assemble(scenario, seed=2)

    assert first.tobytes() == second.tobytes()
    assert other["world"]["seed"] == 2
    other["world"]["seed"] = scenario.seed
    assert other.tobytes() == first.tobytes()


def test_learnt_factors_are_told_to_the_controller() -> None:
    rig = assemble(load_scenario(WORKTOP / "raise.toml", [("settings.learnt.right.coast_down", 1.3)]))[0]

    assert rig["memory"]["legs"]["factor"][:2].tolist() == [[1.0, 1.0], [1.0, 1.3]]


def test_what_has_no_source_is_listed_once_for_all_legs() -> None:
    listed = {one.key: one for one in assumptions(load_scenario(WORKTOP / "raise.toml"))}

    assert listed["lift.leg.detector.run_miss"].source == "default: planning value, no source"
    assert listed["limits.move_time_s"].source == "given, no source stated"
    assert listed["limits.move_time_s"].unit == "s"
    assert not any(key.startswith("lift.leg.motor") for key in listed)  # [sources] covers every_leg


def test_a_value_of_one_leg_without_a_source_is_listed_under_its_name() -> None:
    scenario = load_scenario(WORKTOP / "raise.toml", [("lift.sources", {}), ("lift.leg.right.spindle.friction", 0.15)])
    listed = {one.key: one.value for one in assumptions(scenario)}

    assert listed["lift.leg.right.spindle.friction"] == 0.15
    assert listed["lift.leg.left.spindle.friction"] == 0.13
    assert listed["lift.leg.motor.resistance_ohm"] == 0.9


def test_derivations_tell_what_came_from_a_catalogue() -> None:
    notes = derivations(load_scenario(ROOT / "examples" / "showcase" / "raise.toml"))

    assert any(note.startswith("leg back: resistance 2.453 ohm") for note in notes)
    assert any("the firmware is told the lift file's nominal" in note for note in notes)
