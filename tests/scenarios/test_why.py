"""Why a limit is broken, and margins against an earlier run."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest
from rehearsals import EXAMPLES, without_twin

from scenarios.causes import without_each_cause
from scenarios.cli import main
from scenarios.files import load_scenario
from scenarios.result import Result, result_of
from scenarios.runner import fly
from scenarios.why import explain
from scenarios.why_table import Why, WhyRow
from scenarios.wiring import stored_energy

LOST = EXAMPLES / "worktop" / "lost-counts.toml"
OPEN_LOOP = EXAMPLES / "worktop" / "open-loop.toml"
RAISE = EXAMPLES / "worktop" / "raise.toml"


def rehearse(*words: str | Path) -> int:
    with pytest.raises(SystemExit) as ended:
        main(["rehearse", *map(str, words)])
    return int(ended.value.code or 0)


def explained(path: Path, sets: tuple[tuple[str, object], ...] = ()) -> dict[str, Why]:
    """Why table of each broken limit, by its name."""
    scenario = load_scenario(path, sets)
    flight = fly(scenario)
    result: Result = result_of(flight, float(stored_energy(flight.rig)), scenario.limits, str(path))
    return {why.name: why for why in explain(scenario, result)}


def test_lost_counts_are_told_apart_from_every_other_cause() -> None:
    """25 counts of 19.5 a mm are 1.28 mm, and without them next to nothing is left."""
    why = explained(LOST)["level_after_coast_mm"]
    first = why.rows[0]

    assert first.cause == "fault 1: lose-counts, left"
    assert first.moved == pytest.approx(-25 / 19.5, abs=0.05)
    assert first.kept is True
    assert why.telling[0] == first
    assert all(abs(row.moved or 0.0) < 0.1 for row in why.telling[1:])


def test_without_a_law_the_load_beside_the_middle_is_the_cause() -> None:
    why = explained(OPEN_LOOP)["level_moving_mm"]

    assert why.rows[0].cause == "load offset"
    assert why.rows[0].kept is True
    assert {"miscounts", "measurement"} <= set(why.quiet)


def test_every_cause_that_a_scenario_has_is_tried_and_no_other() -> None:
    names = [name for name, _ in without_each_cause(load_scenario(LOST))]
    ideal = load_scenario(LOST, [("lift.sensing.ideal", True), ("settings.stopping.predict", False)])

    assert names == [
        "miscounts",
        "parameter spread",
        "stop spread",
        "supply",
        "friction step",
        "measurement",
        "coast prediction",
        "fault 1: lose-counts, left",
    ]
    assert [name for name, _ in without_each_cause(ideal)] == [name for name in names if name not in ("measurement", "coast prediction")]


def test_a_cause_left_out_leaves_all_else_as_it_was() -> None:
    scenario = load_scenario(LOST)
    others = dict(without_each_cause(scenario))

    assert others["supply"].lift.leg == scenario.lift.leg
    assert others["supply"].lift.supply.open_voltage_v == 24.0
    assert {leg.current_sensor.gain_error for leg in others["parameter spread"].lift.leg} == {0.0}
    assert {leg.stops.low_mm for leg in others["parameter spread"].lift.leg} == {0.0, 0.3}
    assert {leg.stops.low_mm for leg in others["stop spread"].lift.leg} == {0.15}
    assert others["fault 1: lose-counts, left"].file.fault == ()


def test_a_fault_is_left_out_with_those_that_only_come_after_it() -> None:
    faults = [
        {"what": "lose-counts", "name": "first", "leg": "left", "at_mm_above": 100.0, "counts": 5},
        {"what": "lose-counts", "leg": "right", "on": "first", "after_s": 1.0, "counts": 5},
    ]
    others = dict(without_each_cause(load_scenario(RAISE, [("fault", faults)])))

    assert others["fault 1: lose-counts, left"].file.fault == ()
    assert len(others["fault 2: lose-counts, right"].file.fault) == 1


def test_a_pass_asks_no_why() -> None:
    assert explained(RAISE) == {}


def test_the_why_table_stands_in_terminal_json_and_report(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    rehearse(LOST, "--json", tmp_path / "a.json", "--report", tmp_path / "out")
    out = capsys.readouterr().out
    found = json.loads((tmp_path / "a.json").read_text())[0]["why"]

    assert "why position_error_mm = 1." in out
    assert found[0]["rows"][0]["cause"] == "fault 1: lose-counts, left"
    assert "Why it is broken" in (tmp_path / "out" / "lost-counts.html").read_text()


def test_the_why_may_be_left_away(capsys: pytest.CaptureFixture[str]) -> None:
    rehearse(LOST, "--no-why")

    assert "why " not in capsys.readouterr().out


def test_what_moves_the_value_by_less_than_a_hundredth_of_the_limit_is_only_named() -> None:
    rows = (WhyRow("much", 1.0, -1.0, True), WhyRow("little", 1.99, -0.01, False), WhyRow("none", None, None, None, "refused"))
    why = Why("level_moving_mm", 2.0, 1.5, "mm", rows)

    assert [row.cause for row in why.telling] == ["much", "none"]
    assert why.quiet == ["little"]


@pytest.fixture
def lift(tmp_path: Path) -> Path:
    """A folder with the worktop and one raise, and beside it ``old.json`` of that."""
    home = tmp_path / "lift"
    home.mkdir()
    for name in ("worktop", "settings", "raise"):
        shutil.copy(EXAMPLES / "worktop" / f"{name}.toml", home)
    rehearse(home, "--quiet", "--json", tmp_path / "old.json")
    return home


def test_the_same_again_has_lost_no_margin(lift: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert rehearse(lift, "--against", lift.parent / "old.json") == 0
    assert "No margin shrank" in capsys.readouterr().out


def test_a_margin_that_shrank_is_listed_and_beyond_the_tolerance_ends_with_one(lift: Path, capsys: pytest.CaptureFixture[str]) -> None:
    slower = ("--set", "settings.speed.base_duty=0.8", "--against", lift.parent / "old.json")

    assert rehearse(lift, *slower, "--tolerance", "0.9") == 0
    assert rehearse(lift, *slower) == 1
    line = next(line for line in capsys.readouterr().out.splitlines() if "move_time_s" in line and "BEYOND" in line)
    assert line.split()[:2] == ["raise.toml", "move_time_s"]


def test_a_limit_that_is_no_longer_judged_has_lost_its_margin(lift: Path, tmp_path: Path) -> None:
    path = lift / "raise.toml"
    path.write_text(without_twin(path.read_text()).replace("target_error_mm = 1.5\n", ""))
    code = rehearse(path, "--quiet", "--against", lift.parent / "old.json", "--json", tmp_path / "new.json")
    lost = json.loads((tmp_path / "new.json").read_text())[0]["shrunk"]

    assert code == 1
    assert [(one["limit"], one["now"]) for one in lost] == [("target_error_mm", None)]


def test_files_flown_only_then_or_only_now_are_named(lift: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (lift / "raise.toml").rename(lift / "other.toml")
    rehearse(lift, "--against", lift.parent / "old.json")
    out = capsys.readouterr().out

    assert "not in the earlier run: " in out
    assert "only in the earlier run: " in out


@pytest.mark.parametrize("text", ["[]", "{}", "nothing", '[{"a": 1}]'])
def test_a_file_that_is_no_earlier_run_is_refused(lift: Path, text: str, capsys: pytest.CaptureFixture[str]) -> None:
    (lift / "x.json").write_text(text)

    assert rehearse(lift, "--against", lift / "x.json") == 2
    assert "--against" in capsys.readouterr().err
