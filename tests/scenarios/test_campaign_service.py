"""Service runs: what is carried from move to move, homing policies, flags and wear, and that they resume and repeat to the byte."""

from __future__ import annotations

from collections import deque
from pathlib import Path

import numpy as np
import pytest
from campaigns import results, service_plan, short_plan

from scenarios.build import build_rig
from scenarios.campaign.answers import answers_of
from scenarios.campaign.engine import Cores
from scenarios.campaign.folder import Folder
from scenarios.campaign.lines import answer_lines
from scenarios.campaign.plan import Plan, load_plan
from scenarios.campaign.report import report_files
from scenarios.campaign.rows import column_names, fly_lifts
from scenarios.campaign.run import fly_campaign
from scenarios.campaign.service import Life
from scenarios.campaign.service_state import DAY_US, rest
from scenarios.errors import InputError
from scenarios.runner import fly_rig

WEARING = """moves = 300
moves_per_day = 20
ambient_swing_c = 5
rehome = "asked"
life_moves = 250
life_spread = 1.3
worn_friction = 1.3
worn_miss = 0.002
worn_double = 0.01
flag_permille = 10"""


def life_of(plan: Plan, moves: int) -> Life:
    assert plan.file.service is not None
    service = plan.file.service.model_copy(update={"moves": moves})
    return Life(plan.nominal, service, plan.file.seed, 0, 0)


def columns(plan: Plan, first: int = 0, last: int = 1) -> dict[str, np.ndarray]:  # type: ignore[type-arg]
    return dict(zip(column_names(plan), fly_lifts(plan, first, last).table.T, strict=True))


@pytest.fixture(scope="module")
def worn(tmp_path_factory: pytest.TempPathFactory) -> tuple[Plan, Folder]:
    home = tmp_path_factory.mktemp("service")
    plan = service_plan(home, WEARING)
    folder = Folder(home / "out", plan)
    for batch in folder.batches:
        folder.keep(batch, fly_lifts(plan, batch.first, batch.last))
    return plan, folder


def test_a_rest_by_the_closed_form_is_the_rest_that_is_flown(tmp_path: Path) -> None:
    """20 s of standing, flown and multiplied out: temperatures to what the offset of the current reading heats the estimates by."""
    plan = service_plan(tmp_path, "moves = 2")
    rigs = []
    for wait in (0.0, 20.0):
        scenario = plan.nominal
        move = scenario.file.move[0].model_copy(update={"pause_s": 0.5 + wait})
        file = scenario.file.model_copy(update={"move": (move,), "start": scenario.file.start.model_copy(update={"winding_c": 80.0})})
        rig = build_rig(
            type(scenario)(scenario.path, file, scenario.lift, scenario.lift_path, scenario.settings, scenario.settings_path, ())
        )
        fly_rig(rig, None, round((0.4 + wait) / 1e-3))
        rigs.append(rig)
    rest(rigs[0], 20_000_000)
    short, whole = (rig[0] for rig in rigs)

    assert int(short["world"]["time_us"]) == int(whole["world"]["time_us"])
    for field in ("winding", "case", "hot_resistance", "hot_constant"):
        assert short["world"]["legs"]["motor"][field][:2] == pytest.approx(whole["world"]["legs"]["motor"][field][:2], rel=1e-9)
    assert short["memory"]["legs"]["warmth"]["winding"][:2] == pytest.approx(whole["memory"]["legs"]["warmth"]["winding"][:2], abs=0.01)
    assert float(whole["world"]["legs"]["motor"]["winding"][0]) < 79.0


def test_what_a_move_leaves_is_where_the_next_one_begins(tmp_path: Path) -> None:
    """Counts, heights, learnt coasts, clock and draws go on; the second life of the same lift is the same to the byte."""
    lives = [life_of(service_plan(tmp_path, "moves = 2\nmoves_per_day = 5000"), moves) for moves in (2, 8, 8)]
    for life in lives:
        deque(life.cycles("cycle.toml"), maxlen=0)
    two, eight = (lives[k].rig[0] for k in (0, 1))

    assert lives[1].rig.tobytes() == lives[2].rig.tobytes()
    assert lives[1].told.moves == 8
    assert int(eight["world"]["legs"]["bridge"]["stops"][0]) == 4 * int(two["world"]["legs"]["bridge"]["stops"][0])
    assert eight["world"]["legs"]["motor"]["commuted"][0] == pytest.approx(4 * two["world"]["legs"]["motor"]["commuted"][0], rel=0.05)
    assert int(eight["world"]["time_us"]) == pytest.approx(8 * DAY_US / 5000, rel=0.3)
    assert eight["memory"]["legs"]["factor"][0].tolist() != two["memory"]["legs"]["factor"][0].tolist()


def test_homing_comes_as_the_policy_says(tmp_path: Path) -> None:
    never = columns(service_plan(tmp_path / "never", 'moves = 60\nrehome = "never"'))
    counted = columns(service_plan(tmp_path / "counted", 'moves = 60\nrehome = "never"\nrehome_every = 10'))
    asked = columns(service_plan(tmp_path / "asked", "moves = 60"))

    assert never["homings"][0] == 0.0
    assert counted["homings"][0] == 6.0
    assert counted["homings_per_day"][0] == pytest.approx(6 / (60 / 20), rel=0.05)
    assert 1.0 <= asked["homings"][0] < 6.0
    assert never["since_20_moves"][0] == 30.0
    assert counted["since_20_moves"][0] == 0.0


def test_the_level_error_grows_with_the_moves_since_homing(worn: tuple[Plan, Folder]) -> None:
    found = answers_of(worn[1]).service
    assert found is not None
    means = {one.first: one.mean_mm for one in found.since}

    assert sum(one.moves for one in found.since) == found.moves == 600
    assert means[0] < means[5] < means[10]


def test_the_wear_index_follows_wear_and_raises_the_service_flag(worn: tuple[Plan, Folder]) -> None:
    """Two lifts, lives of 300 and 220 moves: the index grows at every second tenth, and the flag comes once."""
    found = answers_of(worn[1]).service
    assert found is not None
    medians = [step.index[1] for step in found.worn]

    assert len(found.worn) == 10
    assert medians[0] < medians[2] < medians[5] < medians[9]
    assert found.worn[-1].wear[0] > 1.0
    assert found.flagged == 2
    assert found.false_share is not None


def test_a_flag_that_comes_too_early_is_false_and_one_that_comes_late_is_not(tmp_path: Path) -> None:
    early = columns(service_plan(tmp_path / "early", WEARING.replace("flag_permille = 10", "flag_permille = 4")))
    late = columns(service_plan(tmp_path / "late", WEARING.replace("flag_permille = 10", "flag_permille = 13\ndue_wear = 0.4")))

    assert early["service_flag_move"][0] < early["service_due_move"][0]
    assert early["service_flag_false"][0] == 1.0
    assert late["service_flag_move"][0] >= late["service_due_move"][0]
    assert late["service_flag_false"][0] == 0.0


def test_counts_that_drift_without_a_word_are_missed_drifts(tmp_path: Path) -> None:
    """Nothing tests the counts and nobody homes: 4 % missed commutations add up beyond the threshold."""
    plan = service_plan(tmp_path, 'moves = 40\nrehome = "never"\ndrift_counts = 5\nlife_moves = 10\nworn_miss = 0.04')
    text = plan.path.read_text().replace("[set]", '[set]\n"settings.trust.watch" = false')
    plan.path.write_text(text)
    found = columns(load_plan(plan.path))

    assert found["drifts_missed"][0] == 1.0
    assert (found["drift_flags_true"][0], found["drift_flags_false"][0]) == (0.0, 0.0)


@pytest.mark.slow
def test_a_service_campaign_is_the_same_bytes_over_processes_and_resumes(worn: tuple[Plan, Folder], tmp_path: Path) -> None:
    plan, alone = worn
    folder = Folder(tmp_path / "out", plan)
    folder.keep(folder.batches[1], fly_lifts(plan, 1, 2))
    again = Folder(tmp_path / "out", plan)
    fly_campaign(again, Cores(plan, 2))

    assert results(again) == results(alone)


def test_what_is_printed_and_the_page_tell_of_homings_flags_and_wear(worn: tuple[Plan, Folder]) -> None:
    folder = worn[1]
    answers = answers_of(folder)
    told = "\n".join(answer_lines(answers))
    page = report_files(folder, answers)["report.html"].decode()

    assert "2 lifts, 600 moves" in told
    assert "moves since homing" in told
    assert "service asked for: 2 lifts" in told
    assert "Service was asked for on 2 lifts" in page
    assert "<code>life_moves</code> 250, " in page
    assert "Level error since the homing, and wear" in page


@pytest.mark.parametrize(
    ("service", "told"),
    [
        ("moves = 10\nworn_miss = 0.1", "life_moves belongs to worn_friction"),
        ("moves = 10\nlife_spread = 2.0", "life_spread: needs life_moves"),
        ("moves = 1", r"service\.moves = 1: must be 2 to 1e\+06"),
    ],
)
def test_a_service_table_that_contradicts_itself_is_refused(tmp_path: Path, service: str, told: str) -> None:
    with pytest.raises(InputError, match=told):
        service_plan(tmp_path, service)


def test_a_cycle_that_does_not_end_where_it_begins_is_refused(tmp_path: Path) -> None:
    short_plan(tmp_path)
    text = (tmp_path / "mine.toml").read_text() + "\n[service]\nmoves = 10\n"
    (tmp_path / "mine.toml").write_text(text)

    with pytest.raises(InputError, match="must end at the height at which it starts"):
        load_plan(tmp_path / "mine.toml")


def test_the_detector_can_be_a_factor_and_its_drift_per_hundred_moves_is_told_apart(tmp_path: Path) -> None:
    """Spikes with doubles, against a hall-type reference that errs at nothing, by the same moves, homed after each 20:
    what is left of it, five counts a stretch, is the zero's own error and the play."""
    plan = service_plan(tmp_path, 'moves = 40\nrehome = "never"\nrehome_every = 20', 8)
    kinds = '"lift.leg.detector.kind" = { distribution = "discrete", values = ["spikes", "hall"] }'
    text = plan.path.read_text().replace("[set]", f'[vary]\n{kinds}\n[set]\n"lift.every_leg.detector.run_double" = 0.02')
    plan.path.write_text(text.replace('running" = "plausibility"', 'running" = "none"'))
    plan = load_plan(plan.path)
    folder = Folder(tmp_path / "out", plan, 8)
    folder.keep(folder.batches[0], fly_lifts(plan, 0, 8))
    answers = answers_of(folder)
    assert answers.service is not None
    drift = {one.value: one for one in answers.service.factors}

    assert sum(one.lifts for one in drift.values()) == 8
    print({value: (one.mean_drift, one.worst_drift) for value, one in drift.items()})
    assert drift["hall"].worst_drift < 30.0
    assert drift["spikes"].mean_drift > 3.0 * drift["hall"].worst_drift
    assert "lift.leg.detector.kind = hall" in "\n".join(answer_lines(answers))


def test_a_requirement_is_broken_by_a_lift_that_breaks_any_limit_that_carries_it(worn: tuple[Plan, Folder]) -> None:
    answers = answers_of(worn[1])
    (one,) = answers.requirements

    assert (one.id, one.limits, one.sources) == ("W-4", ("position_error_mm",), ("own requirement: 20 counts",))
    assert (one.judged, one.broken) == (2, next(limit.broken for limit in answers.limits if limit.name == "position_error_mm"))
    assert f"W-4 (position_error_mm): {one.broken} of 2 broke it" in "\n".join(answer_lines(answers))
