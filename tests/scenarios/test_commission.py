"""The commissioning sheet: order, windows that hold 95 % of the lifts, and readings that point somewhere."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from campaigns import short_plan
from click.testing import CliRunner
from rehearsals import EXAMPLES

from scenarios.campaign.commission import STEPS, Reading, commission_sheet
from scenarios.campaign.plan import load_plan
from scenarios.commands.sheet import command
from scenarios.errors import InputError
from scenarios.runner import fly

WORKTOP = EXAMPLES / "worktop"


@pytest.fixture(scope="module")
def made() -> list[Reading]:
    return commission_sheet(load_plan(WORKTOP / "campaign.toml", lifts=100))


def test_the_sheet_goes_from_what_stands_still_to_what_rests_on_it(made: list[Reading]) -> None:
    order = [step.what for step in STEPS.values()]
    places = [order.index(one.what) for one in made]

    assert places == sorted(places)
    assert set(places) == set(range(len(order)))
    assert [one.number for one in made] == list(range(1, len(made) + 1))
    assert all(one.low <= one.expected <= one.high and one.below and one.above and one.how for one in made)


def test_a_window_holds_as_many_other_lifts_as_it_says(made: list[Reading]) -> None:
    """Running current of one leg over 100 lifts that the window was not made of: 95 % of them, within three standard errors of both."""
    plan = load_plan(WORKTOP / "campaign.toml", lifts=200)
    window = next(one for one in made if (one.what, one.where) == ("running current", "left, up"))
    inside = []
    for run, values in enumerate(plan.sampler.values(100, 200), 100):
        rig = fly(plan.scenario(values), plan.file.seed, trace=False, run=run).rig
        inside.append(window.low <= float(rig["move"][0, 0]["legs"][0]["run_current"]) <= window.high)

    assert np.mean(inside) == pytest.approx(0.95, abs=3.0 * (2.0 * 0.95 * 0.05 / 100) ** 0.5)


def test_the_command_prints_it_with_room_for_the_reading_and_writes_it_as_json(tmp_path: Path) -> None:
    short_plan(tmp_path, 30)
    words = [str(tmp_path / "worktop.toml"), "--commission", str(tmp_path / "mine.toml"), "--json", str(tmp_path / "sheet.json")]
    done = CliRunner().invoke(command, words)
    told = json.loads((tmp_path / "sheet.json").read_text())

    assert done.exit_code == 0, done.output
    assert done.output.count("read ________") == len(told)
    assert "above the window: friction lower: check that it holds without power" in done.output
    assert "expected over 30 lifts of mine.toml" in done.output


def test_a_campaign_over_another_lift_or_with_too_few_lifts_is_refused(tmp_path: Path) -> None:
    few = short_plan(tmp_path, 10)
    other = CliRunner().invoke(command, ["roof.toml", "--commission", str(tmp_path / "mine.toml")])

    with pytest.raises(InputError, match="10 lifts of the campaign could be flown"):
        commission_sheet(few)
    assert isinstance(other.exception, InputError)
    assert "is a campaign over worktop.toml, not over roof.toml" in other.exception.messages[0]
