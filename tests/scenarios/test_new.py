"""The command, its list of commands, and the starter it writes."""

from __future__ import annotations

import subprocess
import sys
import time
from pathlib import Path

import pytest
from click.testing import CliRunner

from scenarios.cli import COMMANDS, cli
from scenarios.files import load_lift, load_scenario
from scenarios.starter_files import KINDS, write_starter

ROOT = Path(__file__).resolve().parents[2]


def levelrig(*words: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run([sys.executable, "-m", "scenarios.cli", *words], cwd=ROOT, capture_output=True, text=True, check=False)


def test_alone_it_lists_the_commands_in_order_of_work() -> None:
    done = levelrig()
    places = [done.stdout.index(f"\n  {name} ") for name in COMMANDS]

    assert done.returncode == 0
    assert list(COMMANDS)[:3] == ["new", "sheet", "rehearse"]
    assert places == sorted(places)


def test_help_leaves_the_heavy_libraries_alone() -> None:
    code = (
        "import sys; from click.testing import CliRunner; from scenarios.cli import cli; "
        "CliRunner().invoke(cli, ['--help']); "
        "print([name for name in ('numpy', 'numba', 'scipy', 'control', 'matplotlib', 'pydantic', 'simpy') if name in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True)

    assert done.stdout == "[]\n"


def test_help_answers_within_three_tenths_of_a_second() -> None:
    fastest = 9.0
    for _ in range(3):
        begin = time.perf_counter()
        levelrig("--help")
        fastest = min(fastest, time.perf_counter() - begin)

    assert fastest < 0.3


def test_every_command_exists_and_explains_itself() -> None:
    for name in COMMANDS:
        done = CliRunner().invoke(cli, [name, "--help"])
        assert done.exit_code == 0, name
        assert "Usage:" in done.output


def test_an_unknown_command_is_wrong_input() -> None:
    assert levelrig("rehearese").returncode == 2


@pytest.mark.parametrize("kind", KINDS)
def test_a_starter_is_valid_and_one_rehearsal_says_that_it_fails(tmp_path: Path, kind: str) -> None:
    lift, settings, *rehearsals = write_starter(tmp_path / "my lift", kind)

    assert load_lift(lift).name == kind
    assert settings.is_file()
    assert len(rehearsals) == 3
    for rehearsal in rehearsals:
        assert load_scenario(rehearsal).lift_path == lift
    assert ["EXPECTED TO FAIL" in rehearsal.read_text(encoding="utf-8") for rehearsal in rehearsals] == [False, False, True]


def test_new_prints_three_commands_that_name_what_it_wrote(tmp_path: Path) -> None:
    done = levelrig("new", str(tmp_path / "mine"), "--like", "roof")
    commands = [line.split() for line in done.stdout.splitlines() if line.startswith("  levelrig ")]

    assert done.returncode == 0
    assert [words[1] for words in commands] == ["sheet", "rehearse", "rehearse"]
    assert all(Path(words[2]).is_file() for words in commands)
    assert "fails on purpose" in done.stdout


def test_new_is_silent_when_told_so(tmp_path: Path) -> None:
    assert levelrig("new", str(tmp_path / "mine"), "--quiet").stdout == ""


def test_new_refuses_a_folder_that_is_not_empty_and_leaves_it_alone(tmp_path: Path) -> None:
    (tmp_path / "notes.txt").write_text("mine")
    done = levelrig("new", str(tmp_path))

    assert done.returncode == 2
    assert "is not an empty folder" in done.stderr
    assert [path.name for path in tmp_path.iterdir()] == ["notes.txt"]


def test_new_refuses_a_place_below_a_file(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("x")
    done = levelrig("new", str(tmp_path / "file" / "below"))

    assert done.returncode == 2
    assert "cannot be written" in done.stderr
    assert "Traceback" not in done.stderr


def test_schemas_are_written_for_every_kind(tmp_path: Path) -> None:
    done = levelrig("schema", str(tmp_path / "schemas"))

    assert done.returncode == 0
    assert sorted(path.name for path in (tmp_path / "schemas").iterdir()) == [
        "campaign.schema.json",
        "lift.schema.json",
        "scenario.schema.json",
        "settings.schema.json",
        "tuning.schema.json",
    ]
