"""The folder of compiled kernels: a new one for every change of a kernel, and never a reason not to start."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

import scenarios

ROOMS = Path(str(scenarios.__file__)).parents[1]


def copy(to: Path) -> Path:
    """Copy of the three rooms' sources."""
    for room in ("plant", "sync", "scenarios"):
        shutil.copytree(ROOMS / room, to / room, ignore=shutil.ignore_patterns("__pycache__", "starters"))
    return to


def ask(what: str, rooms: Path, **environment: str) -> str:
    """Value of an expression in ``scenarios.cache``, in a process of its own."""
    clean = {name: value for name, value in os.environ.items() if name != "NUMBA_CACHE_DIR"}
    code = f"from scenarios import cache; print(cache.{what})"
    settings = {**clean, "PYTHONPATH": str(rooms), **environment}
    done = subprocess.run([sys.executable, "-c", code], cwd=rooms, env=settings, capture_output=True, text=True, check=True)
    return done.stdout.strip()


@pytest.mark.parametrize("changed", ["plant/portable.py", "plant/kernel.py", "sync/levelling.py", "sync/records.py", "scenarios/rig.py"])
def test_a_change_of_any_kernel_or_record_takes_another_folder(changed: str, tmp_path: Path) -> None:
    rooms = copy(tmp_path)
    before = ask("key()", rooms)
    with (rooms / changed).open("a", encoding="utf-8") as source:
        source.write("\n# changed\n")

    assert ask("key()", rooms) != before


def test_a_change_of_the_report_keeps_the_folder(tmp_path: Path) -> None:
    rooms = copy(tmp_path)
    before = ask("key()", rooms)
    with (rooms / "scenarios" / "report.py").open("a", encoding="utf-8") as source:
        source.write("\n# changed\n")

    assert ask("key()", rooms) == before


def test_a_second_copy_does_not_take_the_first_ones_kernels_for_its_own(tmp_path: Path) -> None:
    first, second = copy(tmp_path / "first"), copy(tmp_path / "second")

    assert ask("key()", first) == ask("key()", first)
    assert ask("key()", first) != ask("key()", second)


def test_where_the_home_cache_cannot_be_made_the_temporary_folder_serves(tmp_path: Path) -> None:
    blocked = tmp_path / "file"
    blocked.write_text("in the way")
    spare = tmp_path / "spare"
    spare.mkdir()
    found = ask("prepare()", ROOMS, XDG_CACHE_HOME=str(blocked), TMPDIR=str(spare))

    assert Path(found).is_relative_to(spare)


def test_a_new_folder_is_cold(tmp_path: Path) -> None:
    assert ask("is_warm()", ROOMS, XDG_CACHE_HOME=str(tmp_path)) == "False"
