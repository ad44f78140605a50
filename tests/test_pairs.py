"""Every shipped rehearsal ends as its file says, and every spoiled twin breaks exactly the limits that it must."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import pytest
from rehearsals import EXAMPLES, REHEARSALS, named, table

from scenarios.cli import main
from scenarios.files import load_scenario
from scenarios.suite import Task, Told, fly_task


@cache
def told(path: Path) -> Told:
    """What becomes of a rehearsal and of its twin."""
    return fly_task(Task(load_scenario(path), str(path), path.name, str(path.parent), None, "flat", twin=True, keep_trace=False))


@pytest.mark.parametrize("path", REHEARSALS, ids=named)
def test_a_rehearsal_ends_as_its_file_says_and_its_spoiled_twin_breaks_exactly_what_it_must(path: Path) -> None:
    flown = told(path)

    assert flown.bad == ()
    assert flown.outcome is not None
    assert flown.outcome.as_expected, flown.outcome.text
    assert flown.twin is not None, "has no [twin]"
    assert flown.twin.as_expected, f"{flown.twin.key} = {flown.twin.value}: {'; '.join(flown.twin.defects)}"


def test_there_are_at_least_forty_and_each_says_why_it_exists() -> None:
    assert len(REHEARSALS) >= 40
    for path in REHEARSALS:
        assert path.read_text(encoding="utf-8").startswith("# "), named(path)
        assert table(path)["about"], named(path)


def test_no_two_rehearsals_of_a_lift_have_one_name() -> None:
    names = [(path.relative_to(EXAMPLES).parts[0], table(path)["name"]) for path in REHEARSALS]

    assert sorted(set(names)) == sorted(names)


def test_a_rehearsal_that_is_meant_to_fail_says_so_in_its_first_line_and_names_what_breaks() -> None:
    marked = {path for path in REHEARSALS if path.read_text(encoding="utf-8").startswith("# EXPECTED TO FAIL (exit code 1)")}

    assert {path for path in REHEARSALS if table(path).get("expect_broken")} == marked


@pytest.mark.slow
def test_the_whole_folder_with_its_twins_ends_as_expected(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as ended:
        main(["rehearse", str(EXAMPLES), "--twins", "--jobs", "1"])

    assert ended.value.code in (None, 0), capsys.readouterr().out
