"""``levelrig`` itself: its commands, its exit codes, and what it refuses."""

from __future__ import annotations

import os
import subprocess
import sys
from importlib.metadata import entry_points, version
from pathlib import Path

import pytest

import scenarios
from scenarios.cli import COMMANDS, main

ROOMS = Path(str(scenarios.__file__)).parents[1]
RAISE = Path(__file__).parents[2] / "examples" / "worktop" / "raise.toml"


def ended(*words: str) -> int:
    """Exit code of the command line in this process."""
    with pytest.raises(SystemExit) as end:
        main(list(words))
    return int(end.value.code or 0)


def python(*words: str, path: str, cwd: Path, **more: str) -> subprocess.CompletedProcess[str]:
    """Python in a process of its own that looks for modules in ``cwd``, then in ``path``."""
    environment = {**os.environ, "PYTHONPATH": path, **more}
    return subprocess.run([sys.executable, *words], cwd=cwd, env=environment, capture_output=True, text=True, check=False)


def test_help_lists_every_command_in_order_of_work(capsys: pytest.CaptureFixture[str]) -> None:
    assert ended("--help") == 0
    listed = [line.split()[0] for line in capsys.readouterr().out.split("Commands, in order of work:")[1].splitlines() if line[2:3].strip()]

    assert listed == list(COMMANDS)


def test_every_command_has_a_module_and_every_module_a_command() -> None:
    modules = {path.stem for path in (Path(str(scenarios.__file__)).parent / "commands").glob("*.py")} - {"__init__"}

    assert modules == set(COMMANDS)


@pytest.mark.parametrize("command", COMMANDS)
def test_the_help_of_a_command_begins_with_its_usage(command: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert ended(command, "--help") == 0
    assert capsys.readouterr().out.startswith(f"Usage: levelrig {command} ")


def test_no_command_at_all_shows_the_help(capsys: pytest.CaptureFixture[str]) -> None:
    assert ended() == 0
    assert "Commands, in order of work:" in capsys.readouterr().out


@pytest.mark.parametrize("words", [["lift"], ["rehearse"], ["sheet"], ["rehearse", "--no-such-option", "x"], ["new"]])
def test_a_wrong_call_ends_with_two_and_says_what_is_wrong(words: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    assert ended(*words) == 2
    told = capsys.readouterr()

    assert told.out == ""
    assert "Error: " in told.err


@pytest.mark.parametrize("command", ["rehearse", "sheet"])
def test_a_missing_file_ends_with_two_and_is_named_without_a_traceback(
    command: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    missing = tmp_path / "none.toml"

    assert ended(command, str(missing)) == 2
    told = capsys.readouterr()
    assert told.out == ""
    assert str(missing) in told.err
    assert "Traceback" not in told.err


def test_the_installed_command_is_this_one_and_tells_its_version(capsys: pytest.CaptureFixture[str]) -> None:
    assert ended("--version") == 0
    told = capsys.readouterr().out.strip()
    installed = [script for script in entry_points(group="console_scripts") if script.name == "levelrig"]

    assert told == (f"levelrig, version {version('levelrig')}" if installed else "levelrig, version not installed")
    assert [script.value for script in installed] in ([], ["scenarios.cli:main"])


def test_a_room_from_another_place_is_refused(tmp_path: Path) -> None:
    """Somebody else's ``plant`` in the same environment would be flown instead of ours."""
    (tmp_path / "plant").mkdir()
    (tmp_path / "plant" / "__init__.py").write_text("")
    done = python("-m", "scenarios.cli", "--help", path=os.pathsep.join([str(tmp_path), str(ROOMS)]), cwd=tmp_path)

    assert done.returncode == 2
    assert "plant" in done.stderr
    assert "virtual environment of its own" in done.stderr


@pytest.mark.parametrize("extra", [["--quiet"], ["--report", "report"], ["--json", "-"]])
def test_a_rehearsal_keeps_its_kernels_whatever_is_asked_for(extra: list[str], tmp_path: Path) -> None:
    """A kernel that is imported before the cache is named is compiled again in every run."""
    code = """
import os, sys
from scenarios.cli import main
try:
    main(sys.argv[1:])
finally:
    import numba
    print("kept in", numba.config.CACHE_DIR, file=sys.stderr)
    from scenarios.flat import fly_flat
    print("kernel in", fly_flat.stats.cache_path, file=sys.stderr)
"""
    words = [str(tmp_path / word) if word == "report" else word for word in extra]
    done = python("-c", code, "rehearse", str(RAISE), *words, path=str(ROOMS), cwd=tmp_path, NUMBA_CACHE_DIR="")
    folder = done.stderr.split("kept in ")[1].splitlines()[0]

    assert folder.startswith(os.sep)
    assert f"kernel in {folder}" in done.stderr
