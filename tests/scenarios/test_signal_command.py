"""``levelrig signal``: lift and scenario, JSON, exit codes, and what it finds on the three shipped motors."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner
from rehearsals import EXAMPLES

from scenarios.cli import cli
from scenarios.errors import InputError
from scenarios.files import load_lift
from scenarios.signal_phases import Phase
from scenarios.signal_study import study_lift

WORKTOP = str(EXAMPLES / "worktop" / "worktop.toml")


def told(*words: str) -> Any:
    done = CliRunner().invoke(cli, ["signal", *words, "--json", "-"], catch_exceptions=False)

    assert done.exit_code == 0, done.output
    return json.loads(done.output)


@pytest.mark.parametrize("name", ["worktop", "roof", "showcase"])
def test_on_every_shipped_motor_spikes_outlive_ripple_in_the_coast_and_err_at_its_end(name: str) -> None:
    study = told(str(EXAMPLES / name / f"{name}.toml"), "--moves", "2")

    assert [(case["condition"], case["move"]) for case in study["cases"]] == [
        ("new", "up"),
        ("new", "down"),
        ("worn", "up"),
        ("worn", "down"),
        ("new", "down, reversed, braked"),
        ("worn", "down, reversed, braked"),
    ]
    for case in study["cases"][:4]:
        spikes, ripple = case["detectors"]["spikes"], case["detectors"]["ripple"]
        coast = ripple["phases"]["coast"]

        assert coast["missed"] == coast["true"] > 20
        assert abs(spikes["net_per_move"]) < abs(ripple["net_per_move"])
        if case["condition"] == "new":
            assert spikes["phases"]["run"]["missed"] == spikes["phases"]["run"]["false"] == 0
            assert -6.0 < spikes["net_per_move"] <= 0.0
            assert spikes["phases"]["coast"]["missed"] + spikes["phases"]["load step"]["missed"] == 0


@pytest.mark.parametrize("name", ["worktop", "roof", "showcase"])
def test_the_bench_moves_score_all_eight_phases_and_no_spark_is_heard_of_a_shorted_motor(name: str) -> None:
    lift = load_lift(EXAMPLES / name / f"{name}.toml")
    study = study_lift(lift, lift.names[0], range(1))
    seen = {phase.word for case in study.told for phase, part in case.scores["spikes"].phases.items() if part.true > 0}
    turned = study.turned[0]
    braking, reversal = (turned.scores["spikes"].phases[phase] for phase in (Phase.BRAKING, Phase.REVERSAL))
    print({name: one.phases for name, one in turned.scores.items()})

    assert seen >= {"edge", "start", "run", "load step", "coast", "tail", "braking", "reversal"}
    assert braking.missed == braking.true >= 5
    # reversed in mid-turn the sparks are large, and each is heard, whichever way the rotor turns
    assert reversal.missed <= 0.2 * reversal.true
    # the reversal does not show in what a usual move costs
    assert study.turned[0].move not in {case.move for case in study.cases}


def test_a_scenario_is_flown_as_it_stands() -> None:
    study = told(str(EXAMPLES / "worktop" / "raise.toml"), "--moves", "1", "--leg", "right", "--set", "end_s=1.5")

    assert study["leg"] == "right"
    assert [case["move"] for case in study["cases"]] == ["raise, full load"] * 2
    assert study["cases"][0]["detectors"]["spikes"]["true"] > 300


def test_the_table_names_every_detector_and_where_it_errs() -> None:
    done = CliRunner().invoke(cli, ["signal", WORKTOP, "--moves", "1"], catch_exceptions=False)

    assert done.exit_code == 0
    # two directions and a reversal, new and worn, and a row among the ways of counting
    assert done.output.count("\n  spikes") == 7
    assert done.output.count("\n  ripple") == 7
    assert "    ripple: " in done.output
    assert done.output.count("    shape check: ") == 6
    assert " too soon, " in done.output
    assert "coast" in done.output
    assert max(len(line) for line in done.output.splitlines()) <= 130


def test_the_same_call_says_the_same_and_another_seed_something_else() -> None:
    words = (WORKTOP, "--moves", "1", "--set", "lift.every_leg.commutator.double=0.05")

    assert told(*words) == told(*words)
    assert told(*words) != told(*words, "--seed", "7")


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (("nowhere.toml",), "no such file"),
        ((WORKTOP, "--leg", "middle"), "left, right"),
        ((WORKTOP, "--set", "lift.every_leg.wires.cable_m=300"), "0.05 to 30"),
        ((WORKTOP, "--set", "lift.every_leg.spike_detector.lowpass_khz=5"), "lowpass_khz"),
        ((str(EXAMPLES / "worktop" / "settings.toml"),), "settings file"),
        ((WORKTOP, "--json", "no/such/folder.json"), "does not exist"),
    ],
)
def test_wrong_input_is_told_with_its_remedy(words: tuple[str, ...], message: str) -> None:
    with pytest.raises(InputError) as error:
        CliRunner().invoke(cli, ["signal", *words], catch_exceptions=False)

    assert message in str(error.value)


def test_json_is_written_whole(tmp_path: Path) -> None:
    target = tmp_path / "scores.json"
    done = CliRunner().invoke(cli, ["signal", WORKTOP, "--moves", "1", "--json", str(target), "--quiet"], catch_exceptions=False)

    assert done.exit_code == 0
    assert done.output == ""
    assert json.loads(target.read_text())["lift"] == "worktop"
    assert list(tmp_path.iterdir()) == [target]


@pytest.mark.slow
def test_the_report_shows_wires_scores_maps_and_parts_and_is_the_same_twice(tmp_path: Path) -> None:
    words = ["signal", WORKTOP, "--moves", "1", "--quiet", "--report"]
    for name in ("one", "two"):
        CliRunner().invoke(cli, [*words, str(tmp_path / name)], catch_exceptions=False)
    page = (tmp_path / "one" / "signal.html").read_text()

    assert page.replace("/one", "/two") == (tmp_path / "two" / "signal.html").read_text()
    for heading in ("One commutation", "Start", "Power-off", "End of the coast", "Scores", "Maps", "Parts", "Worst corners"):
        assert heading in page
    assert page.count("<svg") == 7
    assert "http" not in page.replace("http://www.w3.org", "")
    assert (tmp_path / "one" / "signal-start.png").stat().st_size > 10_000


@pytest.mark.slow
@pytest.mark.parametrize("name", ["worktop", "roof", "showcase"])
def test_the_setting_of_a_shipped_lift_lies_in_the_working_window_new_and_worn(name: str, tmp_path: Path) -> None:
    """Threshold against lockout, new and worn, and the corner frequencies."""
    CliRunner().invoke(cli, ["signal", str(EXAMPLES / name / f"{name}.toml"), "--quiet", "--report", str(tmp_path)], catch_exceptions=False)
    page = (tmp_path / "signal.html").read_text()

    assert page.count("The setting in force lies on the plateau") == 3
    assert "lies outside" not in page


def test_the_dump_of_pulses_can_be_read_back(tmp_path: Path) -> None:
    from vcd.reader import TokenKind, tokenize

    target = tmp_path / "pulses.vcd"
    CliRunner().invoke(cli, ["signal", WORKTOP, "--moves", "1", "--quiet", "--vcd", str(target)], catch_exceptions=False)
    with target.open("rb") as file:
        tokens = list(tokenize(file))
    names = {token.var.id_code: token.var.reference for token in tokens if token.kind is TokenKind.VAR}
    rises = [
        names[token.scalar_change.id_code] for token in tokens if token.kind is TokenKind.CHANGE_SCALAR and token.scalar_change.value == "1"
    ]

    assert set(names.values()) == {"bridge", "true", "spikes", "shape", "ripple"}
    assert rises.count("true") > 500
    assert abs(rises.count("spikes") - rises.count("true")) < 6
