"""The parts of a tuning, each alone: files, corners, judgement, rules, written settings, header."""

from __future__ import annotations

import re
import tomllib
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from rehearsals import EXAMPLES, SHIPPED

from scenarios.errors import InputError
from scenarios.files import load_lift, load_settings
from scenarios.files.tuning import Corners
from scenarios.tuning.binding import Bound
from scenarios.tuning.corners import corner_list
from scenarios.tuning.flight import NOMINAL, Outcome
from scenarios.tuning.header import fixed_point, header_text
from scenarios.tuning.judging import Cell, judge_settings
from scenarios.tuning.linear import CornerFigures, Linear
from scenarios.tuning.plan import Plan, load_plan, setting_keys, with_settings
from scenarios.tuning.rules import first_guess
from scenarios.tuning.settings_file import free_path, settings_text

TUNING = EXAMPLES / "worktop" / "tuning.toml"
SETTINGS = EXAMPLES / "worktop" / "settings.toml"
QUIET = Outcome(0.1, 0.05, 0.02, 0.05, 0.1, 10.0, 2, 8.0, 20.0, 0.1, 0, "")
GOOD = CornerFigures(gain=10.0, sensitivity=1.3, corners=8)


@pytest.fixture(scope="module")
def plan() -> Plan:
    return load_plan(TUNING)


def written(tmp_path: Path, text: str) -> Path:
    """A tuning file of its own on the worktop's rehearsals."""
    path = tmp_path / "tuning.toml"
    head = f'kind = "tuning"\nname = "t"\nrehearsals = ["{EXAMPLES}/worktop/raise.toml"]\n'
    path.write_text(head + text, encoding="utf-8")
    return path


def test_the_shipped_tuning_names_rehearsals_of_one_lift_with_perfect_counts(plan: Plan) -> None:
    names = {scenario.path.name for scenario in plan.rehearsals}

    assert names == {"raise.toml", "lower.toml", "raise-uneven.toml", "lower-uneven.toml", "load-moved.toml"}
    assert all(leg.detector.run_double == 0.0 for scenario in plan.rehearsals for leg in scenario.lift.leg)
    assert (plan.targets.peak_mm, plan.targets.corner_peak_mm, plan.targets.gain_margin) == (0.20, 0.35, 3.0)


@pytest.mark.parametrize("path", SHIPPED, ids=lambda path: f"{path.parent.name}/{path.stem}")
def test_every_shipped_scenario_can_be_tuned_alone_without_what_it_sets_itself(path: Path) -> None:
    plan = load_plan(path)

    assert len(plan.rehearsals) == 1
    assert plan.corners
    assert not {f"settings.{key}" for key in plan.search} & set(plan.rehearsals[0].file.set)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ('[search]\n"levelling.kc_per_m" = [0.1, 0.2]', 'did you mean "levelling.kc_per_mm"'),
        ('[search]\n"levelling.kc_per_mm" = [0.2, 0.1]', "the first must be below the second"),
        ('[search]\n"levelling.kc_per_mm" = [0.1, 50.0]', "50: must be less than or equal to 5"),
        ('[search]\n"timing.guard_tick_ms" = [1.0, 2.0]', "is no number of the settings file that can be tuned"),
        ("[targets]\npeak_mm = 0.0", r"targets.peak_mm = 0.0: must be 0.001 to 100 mm"),
        ("[corners]\nsupply = [0.1]", r"corners.supply\[1\] = 0.1: must be 0.2 to 3"),
        ("[corner]\nsupply = [0.9]", 'unknown key; did you mean "corners"'),
    ],
)
def test_a_wrong_tuning_file_is_refused_by_key(tmp_path: Path, text: str, message: str) -> None:
    with pytest.raises(InputError, match=message):
        load_plan(written(tmp_path, text))


def test_corners_are_taken_one_at_a_time_or_all_together() -> None:
    lift = load_lift(EXAMPLES / "worktop" / "worktop.toml")
    each = corner_list(lift, Corners())
    every = corner_list(lift, Corners(combine="all"))

    assert len(each) == 5 * 2
    assert len(every) == 2**5
    # both frictions of the left leg: 0.13 x 0.85 x 0.9, of the right one 0.13 x 0.85
    changes = dict(every[0].changes)
    assert changes["lift.leg.left.spindle.friction"] == pytest.approx(0.13 * 0.85 * 0.9)
    assert changes["lift.leg.right.spindle.friction"] == pytest.approx(0.13 * 0.85)


def judged(plan: Plan, outcome: Outcome, corner: Outcome | None = None, margins: CornerFigures = GOOD) -> dict[str, bool]:
    cells = [Cell("raise", NOMINAL.name, outcome)] + ([Cell("raise", "supply 90%", corner)] if corner else [])
    found = judge_settings(plan, {}, cells, margins, {"raise": 10.0})
    return {check.name: check.ok for check in found.checks} | {"all": found.ok}


def test_each_target_is_judged_on_its_own(plan: Plan) -> None:
    assert all(judged(plan, QUIET, QUIET).values())
    for name, outcome, margins in (
        ("level error while moving", replace(QUIET, peak=0.201), GOOD),
        ("level error after the coast", replace(QUIET, after=0.201), GOOD),
        ("travel time", replace(QUIET, time=10.51), GOOD),
        ("duty headroom", replace(QUIET, headroom=0.02), GOOD),
        ("gain margin, corners", QUIET, replace(GOOD, gain=2.9)),
        ("sensitivity peak, corners", QUIET, replace(GOOD, sensitivity=1.51)),
    ):
        found = judged(plan, outcome, QUIET, margins)
        assert [key for key, ok in found.items() if not ok] == [name, "all"]
    assert not judged(plan, QUIET, replace(QUIET, peak=0.36))["level error while moving, corners"]


def test_an_unstable_loop_has_no_gain_margin_and_a_faulted_flight_fails(plan: Plan) -> None:
    unstable = judged(plan, QUIET, None, replace(GOOD, stable=False))

    assert not unstable["gain margin, corners"]
    assert not judged(plan, replace(QUIET, reason="tilt"))["all"]
    assert not judged(plan, replace(QUIET, broken=("level_moving_mm",)))["all"]


def test_a_law_without_a_linear_loop_is_judged_without_margins(plan: Plan) -> None:
    assert "gain margin, corners" not in judged(plan, QUIET, None, CornerFigures(why="gating switches"))


def test_the_first_guess_is_the_gain_without_overshoot_and_real_slow_poles(plan: Plan) -> None:
    guess = first_guess(plan, Linear(plan))
    told = {rule.key: rule for rule in guess.rules}
    kc, ki = guess.values["levelling.kc_per_mm"], guess.values["levelling.ki_per_mm_s"]

    # set A, by hand: Kv 42.7 mm/s, tau_m 13 ms bare rotor, Td 2.5 + 0.1 + 0.8 ms: Kc = 1/(8 x 42.7 x 0.0164) = 0.179 per mm
    assert kc == pytest.approx(0.179, rel=0.10)
    assert ki == pytest.approx(0.5 * kc**2 * 42.7, rel=0.05)
    assert guess.values["timing.tick_ms"] == 5.0
    assert "no overshoot" in told["levelling.kc_per_mm"].binds
    assert "tau_m" in told["levelling.kc_per_mm"].formula


def test_a_tight_sensitivity_binds_the_first_guess(plan: Plan) -> None:
    tight = replace(plan, targets=plan.targets.model_copy(update={"sensitivity": 1.15}))
    linear = Linear(tight)
    guess = first_guess(tight, linear)

    assert guess.values["levelling.kc_per_mm"] < 0.12
    assert linear.figures(with_settings(plan.settings, guess.values)).sensitivity == pytest.approx(1.15, abs=0.03)
    assert "sensitivity 1.15" in next(rule.binds for rule in guess.rules if rule.key == "levelling.kc_per_mm")


def test_the_written_settings_are_the_old_ones_but_for_the_tuned_values(plan: Plan, tmp_path: Path) -> None:
    values = {"levelling.kc_per_mm": 0.2854, "speed.slow_ramp_ms": 232.3, "timing.tick_ms": 5.0}
    bounds = [Bound(key, 1.0, value, "a", "b") for key, value in values.items()]
    path = tmp_path / "new.toml"
    path.write_text(settings_text(SETTINGS, values, bounds, ["a heading"], "a source"), encoding="utf-8")
    old, new = load_settings(SETTINGS), load_settings(path)

    assert new.model_copy(update={"sources": {}}) == with_settings(old, values).model_copy(update={"sources": {}})
    assert new.sources == old.sources | dict.fromkeys(values, "a source")
    # every line of a value says why it is so
    bare = [line for line in path.read_text(encoding="utf-8").split("[sources]")[0].splitlines() if "=" in line and "#" not in line]
    assert bare == ['kind = "settings"']


def test_a_tuned_file_never_takes_a_name_that_is_taken(tmp_path: Path) -> None:
    settings = tmp_path / "settings.toml"
    names = []
    for _ in range(3):
        path = free_path(settings)
        path.touch()
        names.append(path.name)

    assert names == ["settings-tuned.toml", "settings-tuned-2.toml", "settings-tuned-3.toml"]


@given(st.floats(-1e6, 1e6).filter(lambda value: value == 0.0 or abs(value) > 1e-6))
def test_a_fixed_point_number_is_within_half_a_step_and_fills_its_word(value: float) -> None:
    fixed = fixed_point(value)

    assert -(2**15) <= fixed.digits < 2**15
    assert abs(fixed.error) <= 0.5 / 2.0**fixed.fraction
    assert value == 0.0 or abs(fixed.digits) >= 2**14 - 1
    assert fixed.digits / 2.0**fixed.fraction - value == pytest.approx(fixed.error, abs=1e-18)


def test_the_header_holds_every_number_of_the_settings_with_its_rounding_error() -> None:
    settings, lift = load_settings(SETTINGS), load_lift(EXAMPLES / "worktop" / "worktop.toml")
    text = header_text(settings, lift, "for a test")
    row = re.compile(r"#define LEVELRIG_(\w+) \((-?\d+)\) /\* (\S+?)(?:, [^;]+)?; Q(-?\d+)\.(-?\d+); rounding error (\S+)")
    found = {name: (int(digits) / 2.0 ** int(n), float(value), float(error)) for name, digits, value, _, n, error in row.findall(text)}

    for key, value in setting_keys(settings).items():
        name = key.replace(".", "_").upper()
        if isinstance(value, float):
            stored, told, error = found[name]
            assert told == pytest.approx(value, rel=1e-9)
            assert stored - value == pytest.approx(error, rel=0.05, abs=1e-12)
        else:
            assert re.search(rf"#define LEVELRIG_{name} {value} ", text)
    assert "#define LEVELRIG_LEVELLING_LAW 1 /* cross-coupling */" in text
    assert text.count("#ifndef") == text.count("#endif") == 1


def test_the_tuning_schema_knows_the_shipped_file() -> None:
    from scenarios.files.schema import schema

    assert set(tomllib.loads(TUNING.read_text(encoding="utf-8"))) <= set(schema("tuning")["properties"])
