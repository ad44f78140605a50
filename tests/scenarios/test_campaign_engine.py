"""The lifts of a campaign are the same bytes whoever flies them, in whatever batches and order, and however often it is broken off."""

from __future__ import annotations

import os
import resource
import signal
import subprocess
import sys
from contextlib import suppress
from dataclasses import replace
from pathlib import Path
from time import monotonic
from typing import Any

import numpy as np
import pytest
from campaigns import POISONED, fly_poisoned, results, short_plan, shuffled
from rehearsals import EXAMPLES

import scenarios
from scenarios.campaign.answers import answers_of
from scenarios.campaign.engine import Cores
from scenarios.campaign.folder import Folder
from scenarios.campaign.plan import load_plan
from scenarios.campaign.rows import Outcome, column_names, fly_lift, fly_lifts
from scenarios.campaign.run import fly_campaign
from scenarios.errors import InputError


@pytest.fixture(scope="module")
def alone(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, bytes]:
    """Folder of a short campaign, and its table flown in this process in one piece."""
    home = tmp_path_factory.mktemp("campaign")
    plan = short_plan(home)
    folder = Folder(home / "alone", plan, 12)
    folder.keep(folder.batches[0], fly_lifts(plan, 0, 12))
    return home, results(folder)


def test_a_short_campaign_has_lifts_that_pass_and_lifts_that_do_not(alone: tuple[Path, bytes]) -> None:
    words = [line.split(b",")[1] for line in alone[1].splitlines()[1:]]

    assert {b"pass", b"fail"} == set(words)


@pytest.mark.slow
@pytest.mark.parametrize(("jobs", "batch"), [(1, 1), (2, 3), (4, 5)])
def test_processes_batches_and_their_order_change_no_byte(alone: tuple[Path, bytes], tmp_path: Path, jobs: int, batch: int) -> None:
    plan = load_plan(alone[0] / "mine.toml")
    folder = Folder(tmp_path / "out", plan, batch)
    engine = Cores(plan, jobs)
    for one, rows in engine.fly(shuffled(folder.batches)):
        folder.keep(one, rows)

    assert results(folder) == alone[1]


@pytest.mark.slow
def test_a_lift_that_kills_its_process_is_named_and_all_others_are_flown(alone: tuple[Path, bytes], tmp_path: Path) -> None:
    plan = load_plan(alone[0] / "mine.toml")
    folder = Folder(tmp_path / "out", plan, 3)
    fly_campaign(folder, Cores(plan, 2, fly_poisoned))
    whole, lines = alone[1].splitlines(), results(folder).splitlines()
    answers = answers_of(folder)

    assert [line for k, line in enumerate(lines) if k != 1 + POISONED] == [line for k, line in enumerate(whole) if k != 1 + POISONED]
    assert answers.outcomes["crashed"] == 1
    assert answers.lost == ((POISONED, "crashed", "the process that flew it ended, twice"),)


def test_a_lift_whose_values_are_refused_is_a_row_that_says_why(tmp_path: Path) -> None:
    plan = short_plan(tmp_path)
    rows = fly_lift(plan, 3, [95.0, 5.0, 1.0])

    assert rows.table[0, :2].tolist() == [3.0, float(Outcome.REFUSED)]
    assert "leg[1].spindle.friction = 0.65: must be 0.02 to 0.5" in rows.notes[0]
    assert np.isnan(rows.table[0, column_names(plan).index("level_moving_mm")])


def test_a_calculation_that_fails_is_a_row_with_the_error_in_it(tmp_path: Path) -> None:
    """A plan that no file can make: the name of its rehearsal is a number."""
    plan = short_plan(tmp_path)
    broken = replace(plan, file=plan.file.model_copy(update={"rehearsal": 7}))
    rows = fly_lift(broken, 4, [30.0, 1.0, 1.0])

    assert rows.table[0, :2].tolist() == [4.0, float(Outcome.CRASHED)]
    assert rows.notes[0].startswith("TypeError: ")


def campaign(folder: Path, out: Path, *words: str) -> list[str]:
    return [sys.executable, "-m", "scenarios.cli", "campaign", str(folder / "mine.toml"), "--folder", str(out), "--jobs", "1", *words]


def environment() -> dict[str, str]:
    return dict(os.environ, PYTHONPATH=str(Path(str(scenarios.__file__)).parents[1]))


def batches(folder: Path) -> int:
    """Files of batches in a campaign's folder."""
    return len(list((folder / "batches").glob("[0-9]*.npz")))


@pytest.mark.slow
def test_a_campaign_killed_at_any_instant_goes_on_to_the_same_bytes(tmp_path: Path) -> None:
    """kill -9 at 20 instants: four drawn over the time that a whole campaign takes, the others soon after a batch was written."""
    short_plan(tmp_path, 120)
    begin = monotonic()
    subprocess.run(campaign(tmp_path, tmp_path / "whole"), env=environment(), check=False, capture_output=True)
    whole_s = monotonic() - begin
    rng = np.random.default_rng(1)
    for k in range(20):
        early = float(rng.uniform(0.05, 0.6)) * whole_s if k < 4 else None
        running = subprocess.Popen(
            campaign(tmp_path, tmp_path / "killed", "--batch", "1"),
            env=environment(),
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
            start_new_session=True,
        )
        held = batches(tmp_path / "killed")
        with suppress(subprocess.TimeoutExpired):
            running.wait(timeout=early or 0.0)
        while early is None and running.poll() is None and batches(tmp_path / "killed") <= held + k % 3:
            with suppress(subprocess.TimeoutExpired):
                running.wait(timeout=0.005)
        with suppress(subprocess.TimeoutExpired):
            running.wait(timeout=float(rng.uniform(0.0, 0.05)))
        running.send_signal(signal.SIGKILL)
        running.wait()
    assert batches(tmp_path / "killed") < 120
    done = subprocess.run(campaign(tmp_path, tmp_path / "killed", "--batch", "1"), env=environment(), check=False, capture_output=True)

    assert done.returncode == 1, done.stderr
    assert (tmp_path / "killed" / "table.csv").read_bytes() == (tmp_path / "whole" / "table.csv").read_bytes()
    assert (tmp_path / "killed" / "answers.json").read_bytes() == (tmp_path / "whole" / "answers.json").read_bytes()


def flown(plan: Any, folder: Folder) -> None:
    for batch in folder.batches:
        if batch.number not in folder.done:
            folder.keep(batch, fly_lifts(plan, batch.first, batch.last))
    folder.finish()


def test_batches_that_are_cut_short_or_missing_are_flown_again(alone: tuple[Path, bytes], tmp_path: Path) -> None:
    plan = load_plan(alone[0] / "mine.toml")
    first = Folder(tmp_path / "out", plan, 3)
    flown(plan, first)
    whole = {path.name: path.read_bytes() for path in (tmp_path / "out").rglob("*") if path.is_file()}
    cut, gone, strange = (first.file(batch) for batch in first.batches[:3])
    cut.write_bytes(cut.read_bytes()[:200])
    gone.unlink()
    strange.write_bytes(first.file(first.batches[3]).read_bytes())
    ledger = tmp_path / "out" / "ledger.jsonl"
    ledger.write_bytes(ledger.read_bytes()[:-20])
    again = Folder(tmp_path / "out", plan, 3)

    assert again.done == {3}
    flown(plan, again)
    assert {path.name: path.read_bytes() for path in (tmp_path / "out").rglob("*") if path.is_file()} == whole
    assert results(again) == alone[1]


def test_a_full_disk_ends_it_with_a_sentence_and_what_was_flown_stays(alone: tuple[Path, bytes], tmp_path: Path) -> None:
    plan = load_plan(alone[0] / "mine.toml")
    folder = Folder(tmp_path / "out", plan, 6)
    folder.keep(folder.batches[0], fly_lifts(plan, 0, 6))
    rows = fly_lifts(plan, 6, 12)
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (1000, before[1]))  # a file may not grow beyond 1000 bytes
    try:
        with pytest.raises(InputError, match="cannot be written"):
            folder.keep(folder.batches[1], rows)
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)
    assert Folder(tmp_path / "out", plan, 6).done == {0}


@pytest.mark.parametrize(
    ("file", "old", "new", "told"),
    [
        ("short.toml", "mass_kg = 90.0", "mass_kg = 80.0", "short.toml has changed: was: mass_kg = 90.0; is: mass_kg = 80.0"),
        ("worktop.toml", "ratio = 6.5", "ratio = 6.6", "worktop.toml has changed: was: ratio = 6.5; is: ratio = 6.6"),
        ("mine.toml", "seed = 3", "seed = 4", "mine.toml has changed: was: seed = 3; is: seed = 4"),
    ],
)
def test_a_changed_file_is_refused_with_what_changed(tmp_path: Path, file: str, old: str, new: str, told: str) -> None:
    plan = short_plan(tmp_path)
    Folder(tmp_path / "out", plan)
    text = (tmp_path / file).read_text(encoding="utf-8")
    (tmp_path / file).write_text(text.replace(old, new), encoding="utf-8")

    with pytest.raises(InputError) as refused:
        Folder(tmp_path / "out", load_plan(tmp_path / "mine.toml"))
    assert told in str(refused.value)


def test_a_folder_with_other_things_in_it_is_left_alone(tmp_path: Path) -> None:
    plan = short_plan(tmp_path / "files")
    (tmp_path / "out").mkdir()
    (tmp_path / "out" / "letter.txt").write_text("dear")

    with pytest.raises(InputError, match="is not empty and holds no campaign"):
        Folder(tmp_path / "out", plan)
    assert sorted(path.name for path in (tmp_path / "out").iterdir()) == ["letter.txt"]


def test_the_shipped_campaigns_can_be_read() -> None:
    shipped = sorted(EXAMPLES.glob("*/campaign.toml"))

    assert [len(load_plan(path).variables) >= 5 for path in shipped] == [True] * 3
    assert all(load_plan(path).file.lifts <= 1000 for path in shipped)
