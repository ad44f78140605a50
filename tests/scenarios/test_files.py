"""Lift, settings and scenario files: what they mean, and what they say when they are wrong."""

from __future__ import annotations

from pathlib import Path

import pytest

from scenarios.errors import InputError
from scenarios.files import load_lift, load_scenario
from scenarios.files.schema import schema

ROOT = Path(__file__).resolve().parents[2]
WORKTOP = ROOT / "examples" / "worktop"
RAISE = WORKTOP / "raise-uneven.toml"
LIFTS = {path.parent.name: path for path in sorted(ROOT.glob("examples/*/*.toml")) if path.stem == path.parent.name}
SCENARIOS = sorted(
    path for path in ROOT.glob("examples/*/*.toml") if path.stem not in (*LIFTS, "settings", "tuning", "campaign", "service")
)


def complaints(path: Path, *sets: str) -> list[str]:
    with pytest.raises(InputError) as caught:
        load_scenario(path, sets)
    return caught.value.messages


@pytest.fixture
def workshop(tmp_path: Path) -> Path:
    """A copy of the worktop that a test may spoil."""
    for name in ("worktop.toml", "settings.toml", "raise-uneven.toml"):
        (tmp_path / name).write_text((WORKTOP / name).read_text(encoding="utf-8"), encoding="utf-8")
    return tmp_path


def spoil(path: Path, old: str, new: str) -> int:
    """Replace a text that stands once in a file; returns its line."""
    text = path.read_text(encoding="utf-8")
    assert text.count(old) == 1
    path.write_text(text.replace(old, new), encoding="utf-8")
    return text[: text.index(old)].count("\n") + 1


@pytest.mark.parametrize("path", SCENARIOS, ids=lambda path: f"{path.parent.name}-{path.stem}")
def test_every_shipped_rehearsal_is_valid_and_says_why_it_exists(path: Path) -> None:
    scenario = load_scenario(path)

    assert scenario.about
    assert path.read_text(encoding="utf-8").startswith("# ")
    assert any(limit.own for limit in scenario.limits)


def test_a_leg_takes_what_all_share_and_changes_single_keys() -> None:
    lift = load_lift(LIFTS["roof"])
    by_name = {leg.name: leg for leg in lift.leg}

    assert by_name["rear-right"].spindle.friction == 0.14
    assert by_name["rear-right"].spindle.static_friction == by_name["rear-left"].spindle.static_friction == 0.17
    assert by_name["front-right"].motor.torque_constant_mn_m_per_a == 20.9


def test_a_limit_of_the_scenario_replaces_that_of_the_lift() -> None:
    limits = {limit.name: limit for limit in load_scenario(WORKTOP / "lost-counts.toml").limits}

    assert (limits["level_after_coast_mm"].limit, limits["level_after_coast_mm"].own) == (1.0, True)
    assert (limits["winding_c"].limit, limits["winding_c"].own) == (120.0, False)
    assert limits["winding_c"].unit == "degC"


def test_a_wrong_value_is_told_with_file_line_key_range_and_likely_unit(workshop: Path) -> None:
    line = spoil(workshop / "worktop.toml", 'thread = "Tr 14x4"', "pitch_diameter_mm = 12.0\nlead_mm = 0.004")

    assert complaints(workshop / "raise-uneven.toml") == [
        f"{workshop / 'worktop.toml'}:{line + 1}: every_leg.spindle.lead_mm = 0.004: must be 0.5 to 50 mm (is this in m?)"
    ]


def test_errors_of_all_three_files_come_at_once(workshop: Path) -> None:
    lift = spoil(workshop / "worktop.toml", "inductance_mh = 1.0", "inductance_mh = 0.001")
    settings = spoil(workshop / "settings.toml", "kc_per_mm = 0.05", "kc_per_m = 0.05")
    own = spoil(workshop / "raise-uneven.toml", "to_mm = 470.0", 'to_mm = "470"')

    assert sorted(complaints(workshop / "raise-uneven.toml")) == sorted(
        [
            f"{workshop / 'worktop.toml'}:{lift}: every_leg.motor.inductance_mh = 0.001: must be 0.01 to 50 mH (is this in H?)",
            f'{workshop / "settings.toml"}:{settings}: levelling.kc_per_m: unknown key; did you mean "kc_per_mm"?',
            f'{workshop / "raise-uneven.toml"}:{own}: move[1].to_mm = "470": must be a number (without quotes)',
        ]
    )


@pytest.mark.parametrize(
    ("file", "old", "new", "told"),
    [
        ("worktop.toml", 'name = "right"', 'name = "left"', 'leg name "left" is used twice'),
        ("worktop.toml", "at_mm = [600.0, 0.0]", "at_mm = [-600.0, 0.0]", "stand at one place"),
        ("worktop.toml", "segments = 12", "segments = 65", "must be 3 to 64"),
        ("worktop.toml", "segments = 12\npoles = 2", "segments = 63\npoles = 4", "252 commutations per revolution"),
        ("worktop.toml", "capacitance_mf = 2.2", "capacitance_mf = 0.0", "current_limit_a needs capacitance_mf"),
        ("worktop.toml", "capacitance_mf = 2.2", "capacitance_mf = 0.00001", "us or more (is this in F?)"),
        ("worktop.toml", "high_mm = 500.0", "high_mm = 50000.0", "high_mm = 50000.0: must be 5 to 10000 mm (is this in um?)"),
        ("worktop.toml", "overlap_loss = 0.3", "overlap_loss = 0.9", "leaves no overlap"),
        ("worktop.toml", 'kind = "spikes"', 'kind = "spike"', 'did you mean "spikes"?'),
        ("worktop.toml", "static_friction = 0.17", "static_friction = 0.07", "must not be below friction = 0.13"),
        ("worktop.toml", "rated_payload_kg = 90.0", "rated_payload_kg = nan", "must be 0 to 20000 kg"),
        ("worktop.toml", 'kind = "lift"', 'kind = "settings"', 'must be "lift": this is a settings file'),
        ("settings.toml", "guard_tick_ms = 1.0", "guard_tick_ms = 3.0", "must divide tick_ms = 10"),
        ("settings.toml", "gate_off_counts = 2", "gate_off_counts = 9", "must be below gate_on_counts = 8"),
        ("settings.toml", "stall_current_a = 2.2", "stall_current_a = 3.2", "must be below current_limit_a = 3"),
        ("settings.toml", "left = -0.86, right = -0.60", "left = -0.86, rihgt = -0.60", 'did you mean "right"?'),
        ("settings.toml", "slow_duty = 0.4", "slow_duty = 0.9", "must not exceed base_duty = 0.88"),
        ("raise-uneven.toml", "height_mm = 20.0", "height_mm = 600.0", "between the stops of leg left"),
        ("raise-uneven.toml", "height_mm = 20.0", "heights_mm = { left = 20.0 }", "start.heights_mm.right: is missing"),
        ("raise-uneven.toml", "to_mm = 470.0", "to_mm = 470.0\nhome = true", "exactly one of to_mm, press, home"),
        ("raise-uneven.toml", "to_mm = 470.0", 'press = "up"', "press and for_s belong together"),
        ("raise-uneven.toml", "level_moving_mm = 2.0", "level_mooving_mm = 2.0", 'did you mean "level_moving_mm"?'),
        ("raise-uneven.toml", 'lift = "worktop.toml"', 'lift = "worktp.toml"', 'no such file; did you mean "worktop.toml"?'),
        ("raise-uneven.toml", "seed = 1", "seed = 1\nsub_step_us = 30", "must be 5, 10, 20, 25, 50 or 100"),
        ("raise-uneven.toml", "[payload]", "[payload]\nmass = 3", 'payload.mass: unknown key; did you mean "mass_kg"?'),
    ],
)
def test_a_slip_is_named(workshop: Path, file: str, old: str, new: str, told: str) -> None:
    line = spoil(workshop / file, old, new)
    found = complaints(workshop / "raise-uneven.toml")

    assert any(told in message for message in found), found
    assert all(message.startswith(str(workshop)) for message in found)
    assert line > 0


@pytest.mark.parametrize(
    ("fault", "told"),
    [
        ('what = "lose-count"\nat_s = 1.0', 'did you mean "lose-counts"?'),
        ('what = "lose-counts"\nleg = "left"\nat_s = 1.0', "fault[1].counts: is missing (How many)"),
        ('what = "lose-counts"\nleg = "lefd"\nat_s = 1.0\ncounts = 3', 'there is no such leg; did you mean "left"?'),
        ('what = "supply"\nopen_voltage_v = 12', "exactly one of at_s, at_mm_above, at_mm_below"),
        ('what = "payload"\nat_s = 1.0\nmass_kg = 5000000.0', "must be 0 to 20000 kg (is this in g?)"),
        ('what = "payload"\nat_s = 1.0\nmass_kg = 5.0\ncount = 3', "fault[1].count: unknown key"),
        ("at_s = 1.0", "fault[1].what: is missing"),
    ],
)
def test_a_wrong_fault_is_named(workshop: Path, fault: str, told: str) -> None:
    path = workshop / "raise-uneven.toml"
    path.write_text(path.read_text(encoding="utf-8") + f"\n[[fault]]\n{fault}\n", encoding="utf-8")
    found = complaints(path)

    assert len(found) == 1
    assert told in found[0]
    assert str(path) in found[0]


def test_a_change_reaches_lift_settings_and_scenario() -> None:
    sets = ["lift.leg.right.spindle.friction=0.14", "lift.leg.gear.ratio=7", "settings.levelling.law=gating", "move.1.to_mm=300", "seed=7"]
    scenario = load_scenario(RAISE, sets)

    assert [leg.spindle.friction for leg in scenario.lift.leg] == [0.13, 0.14]
    assert [leg.gear.ratio for leg in scenario.lift.leg] == [7, 7]
    assert scenario.settings.levelling.law == "gating"
    assert scenario.file.move[0].to_mm == 300
    assert scenario.seed == 7
    assert scenario.sets[0] == ("lift.leg.right.spindle.friction", 0.14)


def test_a_change_for_every_leg_wins_over_a_leg_of_its_own() -> None:
    lift = load_lift(LIFTS["roof"], ["leg.spindle.friction=0.12"])

    assert {leg.spindle.friction for leg in lift.leg} == {0.12}


def test_changes_on_the_command_line_come_after_those_of_the_file() -> None:
    key = "lift.deck.tilt_stiffness_x_kn_m_per_rad"

    assert load_scenario(RAISE).lift.deck.tilt_stiffness_x_kn_m_per_rad == 0.0
    assert load_scenario(RAISE, [(key, 5.0)]).lift.deck.tilt_stiffness_x_kn_m_per_rad == 5.0


def test_another_lift_can_be_named_on_the_command_line(workshop: Path) -> None:
    (workshop / "other.toml").write_text((workshop / "worktop.toml").read_text(encoding="utf-8").replace('"worktop"', '"other"'))

    assert load_scenario(workshop / "raise-uneven.toml", ["lift=other.toml"]).lift.name == "other"


@pytest.mark.parametrize(
    ("change", "told"),
    [
        ("lift.leg.lft.motor.inductance_mh=1", 'there is no leg "lft"; did you mean "left"?'),
        ("lift.leg.left.motr.inductance_mh=1", "--set lift.leg.left.motr.inductance_mh: "),
        ("settings.levelling.kc_per_m=0.1", 'levelling.kc_per_m: unknown key; did you mean "kc_per_mm"?'),
        ("move.2.to_mm=100", 'there is no move "2": must be 1 to 1'),
        ("lift.deck.mass_kg=", "must be KEY=VALUE"),
        ("lift.deck.mass_kg", "must be KEY=VALUE"),
        ("name=a b c", "needs quotes"),
        ("seed=-1", "--set seed: seed = -1"),
        ("kind=lift", "cannot be changed"),
        ("lift.name.x=1", "name is a value, not a table"),
        ("nonsense=1", "nonsense: unknown key"),
    ],
)
def test_a_wrong_change_is_named(change: str, told: str) -> None:
    found = complaints(RAISE, change)

    assert len(found) == 1
    assert told in found[0]


def test_contradicting_catalogue_figures_are_refused_by_name() -> None:
    with pytest.raises(InputError) as caught:
        load_lift(LIFTS["showcase"], ["every_leg.motor.catalogue.stall_torque_mn_m=430"])

    (message, *_) = caught.value.messages
    assert "stall torque over stall current (torque constant)" in message
    assert "the no-load speed (back-EMF constant)" in message
    assert "at most 5% is accepted" in message


def test_binary_junk_a_folder_and_broken_toml_are_refused(tmp_path: Path) -> None:
    junk, broken, deep = tmp_path / "junk.toml", tmp_path / "broken.toml", tmp_path / "deep.toml"
    junk.write_bytes(bytes(range(256)))
    broken.write_text("kind = \n")
    deep.write_text("a" + ".a" * 3000 + " = 1\n")

    assert complaints(junk) == [f"{junk}: is not a text file in UTF-8"]
    assert complaints(tmp_path) == [f"{tmp_path}: is a folder; name the file in it"]
    assert "broken.toml: is not valid TOML" in complaints(broken)[0]
    assert "line 1" in complaints(broken)[0]
    assert "nested more than" in complaints(deep)[0]


def test_schemas_know_every_key_of_the_shipped_files() -> None:
    made = schema("lift")
    tables = made["$defs"]

    assert "every_leg" in made["properties"]
    assert "required" not in tables["EveryLeg"]
    assert tables["Spindle"]["properties"]["lead_mm"]["description"]
    assert set(schema("scenario")["properties"]) >= {"lift", "settings", "move", "fault", "set", "limits"}
    assert "kc_per_mm" in schema("settings")["$defs"]["Levelling"]["properties"]
