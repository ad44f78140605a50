"""The studies of ``levelrig tune``: all laws, gating windows, the threshold of the pinch guard."""

from __future__ import annotations

import json
import shutil
from dataclasses import replace
from pathlib import Path

import pytest
from click.testing import CliRunner
from rehearsals import EXAMPLES, UNGUARDED

from scenarios.build_settings import LAWS
from scenarios.commands.tune import command
from scenarios.errors import InputError
from scenarios.files.tuning import Corners
from scenarios.tuning.gating import gating_map
from scenarios.tuning.laws import LOST, LawRow, compare_laws, law_table
from scenarios.tuning.pinch import clean_plan, pinch_curve
from scenarios.tuning.plan import Plan, load_plan
from scenarios.tuning.workers import Crew

TUNING = EXAMPLES / "worktop" / "tuning.toml"
FEW = Corners(supply=(1.1,), winding_c=(), friction=(), friction_spread=(0.9,), constant_spread=())
PER_MM = 19.5


def plan_of(*names: str, **sets: object) -> Plan:
    """The worktop's tuning with some of its rehearsals and few corners."""
    plan = load_plan(TUNING, [(key.replace("__", "."), value) for key, value in sets.items()])
    chosen = tuple(scenario for scenario in plan.rehearsals if scenario.path.stem in names)
    return replace(plan, rehearsals=chosen, spans=FEW)


@pytest.fixture(scope="module")
def rows() -> dict[str, LawRow]:
    return {row.law: row for row in compare_laws(plan_of("raise-uneven", **dict(UNGUARDED)))}


def test_every_law_is_flown_and_every_coupling_holds_what_runs_away_without_one(rows: dict[str, LawRow]) -> None:
    assert list(rows) == list(LAWS)
    assert rows["none"].peak > 30.0
    for law in ("cross-coupling", "follow", "common-reference", "ring", "modal"):
        assert rows[law].peak < 0.6
        assert rows[law].margins.gain > 3.0
    assert rows["none"].margins.why
    assert rows["gating"].margins.why
    assert rows["gating"].switch_offs > 10 * rows["ring"].switch_offs


def test_lost_counts_stand_as_level_error_under_every_law(rows: dict[str, LawRow]) -> None:
    for law, row in rows.items():
        if law != "none":
            assert row.lost.after == pytest.approx(LOST / PER_MM, abs=2.0 / PER_MM)


def test_a_leg_at_its_torque_limit_is_waited_for_by_every_law_but_none(rows: dict[str, LawRow]) -> None:
    assert rows["none"].weak.reason == "tilt"
    for law in ("cross-coupling", "gating", "follow", "common-reference", "ring", "modal"):
        assert rows[law].weak.ended
        assert rows[law].weak.peak < 3.0
    # the leg that runs ahead is switched off outright
    assert rows["gating"].weak.peak == min(row.weak.peak for row in rows.values())


def test_the_table_of_laws_has_a_cell_for_every_head(rows: dict[str, LawRow]) -> None:
    table = law_table(list(rows.values()))

    assert len(table) == len(LAWS) + 1
    assert len({len(row) for row in table}) == 1


def test_a_narrow_gating_window_holds_better_switches_oftener_and_miscounts_more() -> None:
    narrow, wide = gating_map(plan_of("raise-uneven"), ((4, 1), (20, 5)))

    assert narrow.peak < 0.6 * wide.peak
    assert narrow.switch_offs > 2.0 * wide.switch_offs
    assert narrow.miscounts > wide.miscounts


def test_a_higher_threshold_costs_force_and_the_lowest_without_a_false_trip_is_chosen() -> None:
    # without filter and confirmation the noise of the current sensor alone, 20 mA, trips a threshold of 0.1 A
    hasty = {"settings__pinch__rise_a": 0.5, "settings__pinch__filter_ms": 0.0, "settings__pinch__confirm_ms": 0.0}
    plan = clean_plan(plan_of("raise-uneven", "load-moved", **hasty))
    with Crew(plan, 1) as crew:
        curve = pinch_curve(plan, crew, (0.1, 0.5, 1.4))

    assert [scenario.path.stem for scenario in plan.rehearsals] == ["raise-uneven"], "a load that moves is no clean rehearsal"
    assert [one.trips > 0 for one in curve.points] == [True, False, False]
    assert curve.chosen is curve.points[1]
    assert curve.points[0].lowering == ()
    soft, stiff = zip(*(one.raising for one in curve.points), strict=True)
    assert soft[1] < soft[2]
    assert stiff[1] < stiff[2]
    assert all(a < b for a, b in zip(soft[1:], stiff[1:], strict=True))


def test_a_plan_without_a_clean_rehearsal_has_no_false_trips_to_count() -> None:
    with pytest.raises(InputError, match="every rehearsal has a fault"):
        clean_plan(plan_of("load-moved"))


def test_the_command_tells_a_study_and_writes_its_page(tmp_path: Path) -> None:
    copy = tmp_path / "worktop"
    shutil.copytree(EXAMPLES / "worktop", copy, ignore=shutil.ignore_patterns("out"))
    file, data = copy / "raise-uneven.toml", tmp_path / "gating.json"
    words = [str(file), "--study", "gating", "--report", str(tmp_path / "report"), "--json", str(data)]
    done = CliRunner().invoke(command, words, catch_exceptions=False)

    assert done.exit_code == 0
    assert "gating windows" in done.output
    assert len(json.loads(data.read_text(encoding="utf-8"))) == 8
    assert b"<svg" in (tmp_path / "report" / "raise-uneven-gating.html").read_bytes()
    assert not list(copy.glob("*tuned*"))


def test_a_study_writes_no_settings() -> None:
    with pytest.raises(InputError, match="a study writes no settings"):
        CliRunner().invoke(command, [str(TUNING), "--compare", "--out", "x.toml"], catch_exceptions=False)
