"""A move of a service run again: the worst by itself, any by its number, with its trace and the numbers of the campaign's row."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from campaigns import flown_folder, service_plan

from scenarios.campaign.answers import answers_of
from scenarios.campaign.folder import Folder, row_of
from scenarios.campaign.lines import answer_lines, replay_line
from scenarios.campaign.plan import Plan, load_plan
from scenarios.campaign.replay import replayed
from scenarios.campaign.report import report_files
from scenarios.campaign.rows import column_names
from scenarios.campaign.service_clock import fly_stretch
from scenarios.campaign.service_replay import Stretch, find_stretch, stretch_lines
from scenarios.cli import main
from scenarios.result import as_json, result_of
from scenarios.wiring import stored_energy

WEARING = """moves = 60
life_moves = 50
worn_double = 0.03
worn_friction = 1.3"""
DEAF = '\n[[fault]]\nwhat = "dead-channel"\nleg = "right"\nat_s = 1.0\n\n[limits]'
DURATIONS = ("coast_s", "logic_down_s", "late_after_s", "last_after_s", "wall_s", "pressed_s", "powered_s")


@pytest.fixture(scope="module")
def worn(tmp_path_factory: pytest.TempPathFactory) -> tuple[Plan, Folder]:
    home = tmp_path_factory.mktemp("replay")
    plan = service_plan(home, WEARING)
    return plan, flown_folder(plan, home / "out")


def cells(plan: Plan, folder: Folder, run: int) -> dict[str, float]:
    row = row_of(folder.path, run)
    assert row is not None
    return dict(zip(column_names(plan), map(float, row), strict=True))


def flown(folder: Folder, run: int, move: int | None = None, clock: str = "flat") -> tuple[Stretch, Any, list[str]]:
    plan, scenario = replayed(folder.path, run)
    stretch = find_stretch(plan, scenario, run, move)
    flight = fly_stretch(stretch.scenario, stretch.begun, clock)
    result = result_of(flight, float(stored_energy(flight.rig)), stretch.scenario.limits, "again")
    return stretch, result, stretch_lines(folder.path, plan, run, stretch, result)


def test_the_worst_move_is_found_and_every_column_of_the_row_is_met(worn: tuple[Plan, Folder]) -> None:
    plan, folder = worn
    for run in (0, 1):
        stretch, result, lines = flown(folder, run)
        row = cells(plan, folder, run)
        shares = {one.name: one.margin / one.limit for one in result.verdict.limits if one.margin is not None and one.limit}

        assert lines[1:] == [f"Run {run}: every column has the value of the campaign's row, to the last digit."]
        assert min(shares.values()) == row["margin_share"]
        closest = min(shares, key=lambda name: shares[name])
        assert f"moves {stretch.first} and {stretch.first + 1} of 60: the least margin of the run, of {closest}" in lines[0]
        assert row[f"{closest}.move"] == stretch.first
        assert next(one.value for one in result.verdict.limits if one.name == closest) == row[closest]


def test_a_move_that_is_asked_for_is_flown_with_the_value_that_the_row_has_of_it(worn: tuple[Plan, Folder]) -> None:
    """Both moves of a cycle lead to it; where a limit was worst, its value is the row's."""
    plan, folder = worn
    row = cells(plan, folder, 0)
    first = int(row["position_error_mm.move"])
    for move in (first, first + 1):
        stretch, result, lines = flown(folder, 0, move)

        assert stretch.first == first
        assert next(one.value for one in result.verdict.limits if one.name == "position_error_mm") == row["position_error_mm"]
        assert "no move of it is worse by " in lines[1]
        assert "position_error_mm" in lines[1]
        assert stretch.row is None


def times(held: Any) -> Iterator[tuple[str, float]]:
    for key, value in held.items() if isinstance(held, dict) else enumerate(held) if isinstance(held, list) else ():
        if isinstance(value, int | float) and str(key).endswith("_s") and not str(key).endswith("mm_s") and key not in DURATIONS:
            yield str(key), value
        yield from times(value)


def test_its_budget_tells_what_earlier_moves_have_left(worn: tuple[Plan, Folder]) -> None:
    """The counts of the legs differ where the move begins; with that share the level error at rest is explained but for a count."""
    result = flown(worn[1], 0)[1]
    budget = result.budget
    assert budget is not None
    shares = {share.name: share.stopped_mm for share in budget.shares}
    print(shares, budget.stopped_seen_mm)

    assert shares["earlier moves"] > 0.05
    assert budget.stopped_seen_mm < budget.stopped_sum_mm


def test_its_times_run_from_where_it_began_and_its_energy_is_its_own(worn: tuple[Plan, Folder]) -> None:
    """Weeks into the life of the lift; the balance closes as it does in a rehearsal."""
    stretch, result, _ = flown(worn[1], 1, 51)
    told = as_json(result)
    found = list(times({key: told[key] for key in ("moves", "events", "conduct", "contacts", "simulated_s")}))

    assert float(stretch.begun["world"]["time_us"][0]) > 2e11
    assert 3.0 < result.summary.simulated_s < 8.0
    assert len(found) > 40
    assert [one for one in found if not 0.0 <= one[1] <= result.summary.simulated_s] == []
    assert result.tracks.time[[0, -1]] == pytest.approx([0.0, result.summary.simulated_s], abs=0.01)  # a row per control tick
    assert abs(result.summary.energy.residual) < 0.01
    assert result.summary.energy.in_j < 2000.0


@pytest.mark.slow
def test_both_clocks_fly_it_to_the_same_bytes(worn: tuple[Plan, Folder]) -> None:
    flat, event = (flown(worn[1], 0, 31, clock)[1] for clock in ("flat", "event"))

    assert flat.tracks.values.tobytes() == event.tracks.values.tobytes()
    assert flat.tracks.values.shape[0] > 300
    assert flat.verdict == event.verdict


def test_a_campaign_tells_the_worst_move_and_how_to_see_it(worn: tuple[Plan, Folder]) -> None:
    plan, folder = worn
    answers = answers_of(folder)
    told = "\n".join(answer_lines(answers))
    worst = answers.worst[0].run
    for one in answers.limits:
        assert one.worst_run is not None
        assert one.worst_move == cells(plan, folder, one.worst_run)[f"{one.name}.move"]
        assert f"{one.worst_run}  {one.worst_move:4d}" in told

    assert f"levelrig rehearse --from out --run {worst} --report DIR (--move N: another move)" in replay_line(answers, "out")
    assert 'data-head="move"' in report_files(folder, answers)["report.html"].decode()


def test_a_run_that_ends_early_is_flown_where_it_ends(tmp_path: Path) -> None:
    """A channel goes dead in the first cycle and stays so: the lift cannot be homed, which is what ends the run."""
    service_plan(tmp_path, "moves = 20")
    text = (tmp_path / "cycle.toml").read_text()
    (tmp_path / "cycle.toml").write_text(text.replace("\n[limits]", DEAF, 1))
    plan = load_plan(tmp_path / "service.toml")
    folder = flown_folder(plan, tmp_path / "out")
    stretch, result, lines = flown(folder, 0)

    row = cells(plan, folder, 0)
    answers = answers_of(folder)

    assert row["moves"] < 20
    assert row["outcome"] == 1.0 == float(any(row[f"{one.name}.ok"] == 0.0 for one in answers.limits))
    assert row["homings_per_day"] <= 20.0
    assert f"ended early, a number not finite or a fault that the homing did not clear: run 0 after {row['moves']:.0f} moves" in "\n".join(
        answer_lines(answers)
    )
    assert f"run 0 after {row['moves']:.0f} moves" in report_files(folder, answers)["report.html"].decode()
    assert "the least margin: --move 1" in lines[0]
    assert stretch.name.startswith("homing after move ")
    assert "the run ends" in lines[0]
    assert lines[1:] == ["Run 0: every column has the value of the campaign's row, to the last digit."]
    assert result.summary.controller.mode == "faulted"


def levelrig(capsys: pytest.CaptureFixture[str], *words: str) -> tuple[int, str]:
    """Exit code, and what was printed."""
    with pytest.raises(SystemExit) as ended:
        main(["rehearse", *words])
    return int(ended.value.code or 0), "".join(capsys.readouterr())


def test_the_command_writes_report_and_trace_of_the_move_and_says_which(
    worn: tuple[Plan, Folder], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = str(worn[1].path)
    outputs = ("--report", str(tmp_path / "page"), "--json", str(tmp_path / "one.json"))
    code, said = levelrig(capsys, "--from", out, "--run", "1", "--move", "7", *outputs)
    (told,) = json.loads((tmp_path / "one.json").read_text())
    page = next((tmp_path / "page").glob("*.html")).read_text()

    assert code in (0, 1), said
    assert "Run 1, moves 7 and 8 of 60: asked for with --move 7" in said
    assert told["file"].endswith("moves 7 and 8")
    assert "--run 1 --move 7" in page
    assert np.isfinite(told["simulated_s"])


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("--run", "0", "--move", "61"), "--move 61: a service run of this campaign has moves 1 to 60"),
        (("--run", "0", "--seed", "9"), "--seed 9: a service run has the seed of its campaign, 3"),
        (("--run", "2"), "--run 2: the campaign in "),
        (("--move", "3"), "needs --run N"),
    ],
)
def test_what_a_service_run_does_not_have_is_refused_with_a_remedy(
    worn: tuple[Plan, Folder], words: tuple[str, ...], told: str, capsys: pytest.CaptureFixture[str]
) -> None:
    code, said = levelrig(capsys, "--from", str(worn[1].path), *words)

    assert code == 2
    assert told in said


@pytest.mark.parametrize("option", ["--run", "--move"])
def test_options_of_a_run_need_a_campaign(worn: tuple[Plan, Folder], option: str, capsys: pytest.CaptureFixture[str]) -> None:
    code, said = levelrig(capsys, str(worn[0].path.parent / "cycle.toml"), option, "1")

    assert code == 2
    assert f"{option} 1: is of a campaign; name its folder with --from" in said
