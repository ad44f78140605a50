"""Judging a rehearsal: every limit finds its value, and what could not be judged never reads as passed."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from flights import NAMES, leg, move, summary

from scenarios.budget import BudgetFacts, level_budget
from scenarios.errors import InputError
from scenarios.files.limits import Limits, ScenarioLimits
from scenarios.limits import LIMITS, LimitEntry
from scenarios.summary import Controller, Energy, Extreme, Level, RunSummary
from scenarios.verdict import JudgedLimit, judge, number, require_limits

FACTS = BudgetFacts(
    counts_per_mm=(19.5, 19.5),
    law="cross-coupling",
    gate_on_counts=8.0,
    predicts=True,
    control_tick_s=0.01,
    cut_tick_s=0.01,
    delay_s=1e-4,
    miscounts_mm=(0.0, 0.0),
)


def entry(name: str, limit: float, own: bool = True) -> LimitEntry:
    return LimitEntry(name, limit, LIMITS[name].unit, own=own)


def one(run: RunSummary, name: str, limit: float) -> JudgedLimit:
    return judge(run, [entry(name, limit), entry("energy_residual", 1.0)], "a.toml").limits[0]


HOMING = move(number=1, kind="home", goal_mm=None, level=Level(9.0, 5.0, 8.0, 0.9, 8.0, "right", "left"))
WORST = summary(
    HOMING,
    move(number=2, tilt_deg=0.05, tilt_s=3.0, legs=(leg("left", peak_current_a=8.0), leg("right", target_error_mm=-0.7, error_mm=0.25))),
    move(number=3, start_s=20.0, end_s=32.0, level=Level(0.8, 0.4, 0.5, 0.2, 0.5, "right", "left"), peak_s=25.0),
    names=NAMES,
)


@pytest.mark.parametrize(
    ("name", "value", "at_s", "leg_name"),
    [
        ("level_moving_mm", 0.8, 25.0, "right"),
        ("level_after_coast_mm", 0.3, 10.5, "left"),
        ("target_error_mm", 0.7, 10.5, "right"),
        ("peak_current_a", 8.0, None, "left"),
        ("move_time_s", 12.0, 32.0, None),
        ("position_error_mm", 0.25, 10.5, "right"),
        ("winding_c", 22.0, 10.0, "left"),
        ("supply_min_v", 20.8, 0.1, None),
        ("tilt_deg", 0.05, 3.0, None),
        ("energy_residual", 1e-4, None, None),
        ("homing_level_mm", 0.9, 10.5, "left"),
    ],
)
def test_a_limit_finds_the_worst_of_all_moves_with_its_time_and_leg(
    name: str, value: float, at_s: float | None, leg_name: str | None
) -> None:
    found = LIMITS[name].find(WORST)

    assert (found.value, found.at_s, found.leg, found.reason) == (pytest.approx(value), at_s, leg_name, "")


def test_warp_is_judged_from_four_legs_on() -> None:
    four = summary(move(warp_mm=0.4), names=("a", "b", "c", "d"))

    assert LIMITS["warp_mm"].find(four).value == 0.4
    assert "four" in LIMITS["warp_mm"].find(WORST).reason


def test_every_limit_says_why_it_cannot_be_judged_when_nothing_was_moved() -> None:
    still = summary(energy=Energy(0.0, 0.0, 0.0, 0.0, None), hottest=None, lowest_supply=None, final_errors_mm=())
    still = replace(still, moves=())

    assert all(kind.find(still).value is None and kind.find(still).reason for kind in LIMITS.values())


def test_a_value_at_its_limit_is_kept_and_one_above_is_broken() -> None:
    assert one(summary(), "level_moving_mm", 0.6).ok is True
    assert one(summary(), "level_moving_mm", 0.5999).ok is False


def test_the_supply_limit_is_broken_from_below() -> None:
    assert one(summary(), "supply_min_v", 20.7).ok is True
    assert one(summary(), "supply_min_v", 20.9).margin == pytest.approx(-0.1)
    assert one(summary(), "supply_min_v", 20.9).ok is False


def test_a_limit_of_the_scenario_that_was_not_judged_makes_the_verdict_incomplete() -> None:
    verdict = judge(summary(), [entry("homing_level_mm", 1.0), entry("level_moving_mm", 2.0)], "a.toml")

    assert verdict.word == "incomplete"
    assert "homing_level_mm (there was no homing)" in verdict.sentence
    assert (verdict.limits[0].evaluated, verdict.limits[0].ok, verdict.limits[0].margin) == (False, None, None)


def test_an_inherited_limit_that_does_not_apply_leaves_the_verdict_alone() -> None:
    verdict = judge(summary(), [entry("homing_level_mm", 1.0, own=False), entry("level_moving_mm", 2.0)], "a.toml")

    assert verdict.word == "pass"
    assert not verdict.limits[0].evaluated


def test_a_broken_limit_outweighs_one_that_was_not_judged() -> None:
    verdict = judge(summary(), [entry("homing_level_mm", 1.0), entry("level_moving_mm", 0.5)], "a.toml")

    assert verdict.word == "fail"
    assert "0.6 mm at 9.9 s (left), limit 0.5 mm" in verdict.sentence


def test_a_rehearsal_of_which_nothing_could_be_judged_is_wrong_input() -> None:
    with pytest.raises(InputError, match="none could be judged"):
        judge(summary(), [entry("homing_level_mm", 1.0, own=False)], "a.toml")


def test_a_rehearsal_without_limits_is_refused_with_a_remedy() -> None:
    with pytest.raises(InputError, match=r"a.toml: limits: none is stated.*\[limits\]"):
        require_limits([], "a.toml")


def test_a_move_that_never_came_to_rest_is_not_passed() -> None:
    run = summary(move(end_s=None, level=Level(0.4, 0.3, None, None, 0.4, "left", "right")))
    verdict = judge(run, [entry("level_moving_mm", 2.0), entry("level_after_coast_mm", 1.0), entry("energy_residual", 0.1)], "a.toml")

    assert verdict.word == "incomplete"
    assert [limit.evaluated for limit in verdict.limits] == [False, False, True]


def test_a_move_that_never_came_to_rest_still_breaks_a_limit_it_has_passed() -> None:
    run = summary(move(end_s=None), simulated_s=60.0)

    assert one(run, "move_time_s", 30.0).ok is False
    assert one(run, "move_time_s", 70.0).ok is None


def test_a_run_that_diverged_is_incomplete_and_names_time_and_leg() -> None:
    run = summary(diverged=Extreme(float("nan"), 3.25, "right"))
    verdict = judge(run, [entry("level_moving_mm", 2.0)], "a.toml")

    assert verdict.word == "incomplete"
    assert "3.25 s" in verdict.notes[0]
    assert "right" in verdict.notes[0]


def test_a_value_that_is_not_a_number_is_never_within_a_limit() -> None:
    run = summary(move(level=Level(float("nan"), 0.4, 0.5, 0.3, 0.5, "left", "right")))

    assert one(run, "level_moving_mm", 2.0).ok is None


def test_a_fault_of_the_controller_is_told_with_its_remedy() -> None:
    run = summary(controller=Controller("faulted", "Stopped.", "stall", "A leg is blocked.", "Remove what blocks it."))

    assert judge(run, [entry("level_moving_mm", 2.0)], "a.toml").notes == (
        "The controller ended faulted: A leg is blocked. Remove what blocks it.",
    )


def test_one_leg_alone_is_not_praised_for_being_level() -> None:
    assert LIMITS["level_moving_mm"].find(summary(names=("only",))).reason == "one leg alone is always level"


def test_no_verdict_says_safe() -> None:
    run = summary(HOMING, move(number=2))
    words = [judge(run, [entry("level_moving_mm", limit), entry("homing_level_mm", 1.0)], "a.toml") for limit in (0.1, 2.0)]

    assert not any("safe" in verdict.sentence.lower() for verdict in words)


@pytest.mark.parametrize(
    ("value", "text"),
    [(0.0, "0"), (0.43219, "0.432"), (31.4159, "31.42"), (412.34, "412.3"), (9750.2, "9750"), (2e-5, "2e-05"), (None, "-")],
)
def test_numbers_read_with_three_or_four_digits(value: float | None, text: str) -> None:
    assert number(value) == text


def test_the_budget_is_sorted_and_its_sums_are_those_of_its_shares() -> None:
    budget = level_budget(move(mean_seen_mm=0.3), replace(FACTS, miscounts_mm=(0.0, 0.15)))
    sizes = [share.size for share in budget.shares]

    assert sizes == sorted(sizes, reverse=True)
    assert budget.moving_sum_mm == pytest.approx(0.3 + 0.15 + 1 / 19.5)
    assert budget.stopped_sum_mm == pytest.approx(31.0 * 0.01 + 0.15 + 1 / 19.5)


def test_the_budget_names_each_cause_once() -> None:
    names = {share.name for share in level_budget(move(), FACTS).shares}

    assert names == {
        "count quantum",
        "count age and tick",
        "droop of the law",
        "start",
        "coast mismatch",
        "miscounts",
        "homing scatter",
        "stop spread",
        "backlash",
        "tilt compliance",
    }


def test_what_the_budget_does_not_explain_is_stated() -> None:
    far = move(level=Level(5.0, 4.0, 5.0, 4.0, 0.1, "left", "right"))
    budget = level_budget(far, FACTS)

    assert f"{5.0 - budget.moving_sum_mm:.3f} mm are not explained" in budget.sentences[0]
    assert "nothing is left unexplained" in level_budget(move(mean_seen_mm=0.6), FACTS).sentences[0]


def test_a_predicted_coast_counts_only_with_what_it_missed() -> None:
    legs = (leg("left", coast_mm=1.3, coast_told_mm=1.2), leg("right", coast_mm=2.4, coast_told_mm=2.1))
    told = {share.name: share for share in level_budget(move(legs=legs), FACTS).shares}
    untold = {share.name: share for share in level_budget(move(legs=legs), replace(FACTS, predicts=False)).shares}

    assert told["coast mismatch"].stopped_mm == pytest.approx(0.2)
    assert untold["coast mismatch"].stopped_mm == pytest.approx(1.1)


def test_a_spread_of_the_stops_is_told_apart_from_the_scatter_of_homing() -> None:
    budget = level_budget(move(), replace(FACTS, homing_mm=(0.6, 0.05), stops_mm=(0.5, 0.0)))
    shares = {share.name: share for share in budget.shares}

    assert shares["stop spread"].stopped_mm == pytest.approx(0.5)
    assert shares["homing scatter"].stopped_mm == pytest.approx(0.05)


def test_every_limit_has_a_key_in_the_files_a_line_in_the_readme_and_a_source_or_the_word_that_there_is_none() -> None:
    keys = list(ScenarioLimits.model_fields)
    readme = (Path(__file__).parents[2] / "README.md").read_text(encoding="utf-8")

    assert sorted(LIMITS) == sorted(keys)
    assert [name for name in LIMITS if f"`{name}" not in readme] == []
    assert [name for name, kind in LIMITS.items() if not kind.source or not kind.sentence] == []


def test_a_lift_file_cannot_say_how_a_rehearsal_must_end() -> None:
    assert {"must_report", "ends_as"} & set(Limits.model_fields) == set()
