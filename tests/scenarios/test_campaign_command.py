"""The command line of campaigns: exit codes, what is printed and written, one run again with its trace."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest
from campaigns import short_plan

import scenarios


def levelrig(*words: str, cwd: Path) -> subprocess.CompletedProcess[str]:
    environment = dict(os.environ, PYTHONPATH=str(Path(str(scenarios.__file__)).parents[1]))
    done = subprocess.run(
        [sys.executable, "-m", "scenarios.cli", *words], cwd=cwd, env=environment, capture_output=True, text=True, check=False
    )
    assert "Traceback" not in done.stderr
    return done


@pytest.fixture(scope="module")
def flown(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, subprocess.CompletedProcess[str]]:
    home = tmp_path_factory.mktemp("command")
    short_plan(home, 20)
    return home, levelrig("campaign", "mine.toml", "--jobs", "2", "--json", "mine.json", cwd=home)


def test_a_campaign_with_a_broken_limit_ends_with_one_and_says_what_it_proves(flown: tuple[Path, subprocess.CompletedProcess[str]]) -> None:
    home, done = flown
    answers = json.loads((home / "mine.json").read_text())
    time = next(limit for limit in answers["limits"] if limit["name"] == "move_time_s")

    assert done.returncode == 1, done.stderr
    assert 0 < time["broken"] < time["judged"] == 20
    assert time["claim"] in json.dumps(answers)
    assert f"{time['broken']} of 20 broke it: at least" in time["claim"]
    assert "20 lifts, if none breaks a limit: at least" in done.stdout
    assert "move_time_s" in done.stdout
    assert not done.stderr.replace("Compiling the kernels for this machine, once (about a minute) ...\n", "")
    assert sorted(path.name for path in (home / "mine-lifts").iterdir() if path.suffix != ".parquet") == [
        "answers.json",
        "batches",
        "campaign.json",
        "ledger.jsonl",
        "report.html",
        "table.csv",
    ]


def test_the_same_command_flies_nothing_again(flown: tuple[Path, subprocess.CompletedProcess[str]]) -> None:
    home, first = flown
    page = (home / "mine-lifts" / "report.html").read_bytes()
    files = {path: path.stat().st_mtime_ns for path in (home / "mine-lifts" / "batches").iterdir()}
    again = levelrig("campaign", "mine.toml", cwd=home)

    assert (again.returncode, again.stdout) == (first.returncode, first.stdout)
    assert {path: path.stat().st_mtime_ns for path in (home / "mine-lifts" / "batches").iterdir()} == files
    assert (home / "mine-lifts" / "report.html").read_bytes() == page


def test_one_run_again_gives_the_numbers_of_its_row(flown: tuple[Path, subprocess.CompletedProcess[str]]) -> None:
    home, _ = flown
    answers = json.loads((home / "mine.json").read_text())
    run = answers["worst"][0]["run"]
    done = levelrig("rehearse", "--from", "mine-lifts", "--run", str(run), "--json", "run.json", "--report", "out", cwd=home)
    (result,) = json.loads((home / "run.json").read_text())
    header, *rows = [line.split(",") for line in (home / "mine-lifts" / "table.csv").read_text().splitlines()]
    row = dict(zip(header, rows[run], strict=True))

    assert done.returncode == 1, done.stderr
    assert f"Run {run}: every limit has the value of the campaign's row, to the last digit." in done.stdout
    assert {one["name"]: one["value"] for one in result["limits"]} == {one["name"]: float(row[one["name"]]) for one in result["limits"]}
    page = next((home / "out").glob("*.html")).read_text()
    assert f"<pre>levelrig rehearse --from mine-lifts --run {run} --seed 3 --clock flat --report out</pre>" in page


def test_a_changed_file_a_missing_run_and_a_strange_folder_end_with_two(
    flown: tuple[Path, subprocess.CompletedProcess[str]], tmp_path: Path
) -> None:
    home, _ = flown
    other = levelrig("campaign", "mine.toml", "--seed", "9", cwd=home)
    missing = levelrig("rehearse", "--from", "mine-lifts", "--run", "20", cwd=home)
    strange = levelrig("rehearse", "--from", ".", "--run", "0", cwd=tmp_path)
    nothing = levelrig("rehearse", cwd=tmp_path)

    assert [done.returncode for done in (other, missing, strange, nothing)] == [2, 2, 2, 2]
    assert "--seed was null, is 9" in other.stderr
    assert "has runs 0 to 19" in missing.stderr
    assert "is no folder of a campaign" in strange.stderr


def test_a_quiet_campaign_prints_nothing(flown: tuple[Path, subprocess.CompletedProcess[str]]) -> None:
    done = levelrig("campaign", "mine.toml", "--quiet", cwd=flown[0])

    assert (done.returncode, done.stdout, done.stderr) == (1, "", "")


def test_the_page_loads_nothing_and_carries_its_cautions(flown: tuple[Path, subprocess.CompletedProcess[str]]) -> None:
    page = (flown[0] / "mine-lifts" / "report.html").read_text()

    assert "http" not in page.replace("http://www.w3.org", "")
    assert "It is no safety case" in page
    assert page.count("<svg") >= 3
