"""Examples are tests: every shipped rehearsal ends as it says, and programs and the README's session print what is shown."""

from __future__ import annotations

import json
import os
import shlex
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

import scenarios

HOME = Path(__file__).resolve().parents[1]
EXAMPLES = HOME / "examples"
LIFTS = ("worktop", "roof", "showcase")
FAILS = "# EXPECTED TO FAIL (exit code 1)"

OWN_PROCESS = """\
  0.000 s   100.00, 100.00 mm   somebody stands by
  2.500 s   150.02, 149.91 mm   lets go
  2.700 s   151.36, 151.27 mm   at rest
  4.600 s   151.36, 151.27 mm   sends it on
  7.380 s   200.09, 200.04 mm   arrived at 200 mm
 11.090 s   over; the controller ended ready
our rule trimmed the duty in 2062 of 11090 calls
move 1 of the script: level error at most 0.29 mm, 0.08 mm at rest
move 2 of the script: level error at most 0.10 mm, 0.01 mm at rest
"""


def run(*words: str, cwd: Path) -> subprocess.CompletedProcess[str]:
    """Run Python with the rooms that the tests see."""
    environment = dict(os.environ, PYTHONPATH=str(Path(str(scenarios.__file__)).parents[1]))
    return subprocess.run([sys.executable, *words], cwd=cwd, env=environment, capture_output=True, text=True, check=False)


def levelrig(*words: str, cwd: Path = HOME) -> subprocess.CompletedProcess[str]:
    """Run the command line in a process of its own."""
    return run("-m", "scenarios.cli", *words, cwd=cwd)


def rehearsals(lift: str) -> dict[Path, bool]:
    """Scenario files of an example, and whether each says that it is meant to fail."""
    texts = {path: path.read_text(encoding="utf-8") for path in sorted((EXAMPLES / lift).glob("*.toml"))}
    return {path: text.startswith(FAILS) for path, text in texts.items() if 'kind = "scenario"' in text}


def verdicts(*files: Path) -> tuple[int, list[dict[str, Any]]]:
    """Exit code and JSON of one call."""
    done = levelrig("rehearse", *map(str, files), "--json", "-", "--quiet")
    assert done.returncode in (0, 1), done.stderr
    return done.returncode, json.loads(done.stdout)


@pytest.mark.parametrize("lift", LIFTS)
def test_rehearsals_that_are_not_meant_to_fail_end_with_zero(lift: str) -> None:
    good = [path for path, fails in rehearsals(lift).items() if not fails]
    code, results = verdicts(*good)

    assert [result["verdict"] for result in results] == ["pass"] * len(good)
    assert code == 0
    assert len(good) >= 3


@pytest.mark.parametrize(
    "path",
    [path for lift in LIFTS for path, fails in rehearsals(lift).items() if fails],
    ids=lambda path: f"{path.parent.name}-{path.stem}",
)
def test_a_rehearsal_that_is_meant_to_fail_ends_with_one(path: Path) -> None:
    code, (result,) = verdicts(path)

    assert (code, result["verdict"]) == (1, "fail")


def test_every_lift_shows_a_failure_too() -> None:
    assert [any(rehearsals(lift).values()) for lift in LIFTS] == [True] * len(LIFTS)


def test_an_operator_and_a_controller_of_ones_own_print_what_they_should(tmp_path: Path) -> None:
    done = run(str(EXAMPLES / "own_process.py"), cwd=tmp_path)

    assert (done.returncode, done.stderr) == (0, "")
    assert done.stdout == OWN_PROCESS


def session() -> list[tuple[str, list[str]]]:
    """Commands of the README's worked session, each with the output shown under it."""
    steps: list[tuple[str, list[str]]] = []
    inside = False
    for line in (HOME / "README.md").read_text(encoding="utf-8").splitlines():
        if line.startswith("```"):
            inside = line == "```console"
        elif inside and line.startswith("$ "):
            steps.append((line[2:], []))
        elif inside:
            steps[-1][1].append(line)
    return steps


def test_the_session_in_the_readme_is_what_the_commands_print(tmp_path: Path) -> None:
    """A line of three dots stands for lines left out."""
    told = session()
    for command, shown in told:
        program, *words = shlex.split(command)
        printed = levelrig(*words, cwd=tmp_path).stdout
        pieces = ("\n".join(["", *shown, ""])).split("\n...\n")

        assert program == "levelrig"
        if len(pieces) == 1:
            assert printed.splitlines() == shown
        assert [piece for piece in pieces if piece.strip("\n") not in printed] == [], printed

    assert len(told) >= 4
