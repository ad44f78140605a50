"""Every shipped rehearsal ends as its file says, and every spoiled twin breaks exactly the limits that it must."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from rehearsals import SHIPPED, named, table

from scenarios.files import load_scenario
from scenarios.suite import Task, Told, fly_task

PAIRS = [path for path in SHIPPED if "twin" in table(path)]
FAST = [path for path in PAIRS if path.parent.name == "worktop"]
"""Two legs fly fastest."""


def told(path: Path) -> Told:
    """What becomes of a rehearsal and, where it has one, of its twin."""
    return fly_task(Task(load_scenario(path), str(path), path.name, str(path.parent), None, "flat", twin=True, keep_trace=False))


def complaints(paths: list[Path]) -> Iterator[str]:
    """What is not as the files say; a file that cannot be judged is a complaint too."""
    for path in paths:
        flown = told(path)
        if flown.outcome is None or not flown.outcome.as_expected:
            yield f"{named(path)}: {flown.outcome.text if flown.outcome else '; '.join(flown.bad)}"
        if flown.twin is not None:
            yield from (f"{named(path)}: twin {flown.twin.key} = {flown.twin.value}: {defect}" for defect in flown.twin.defects)


def test_there_are_pairs_to_fly() -> None:
    assert FAST


@pytest.mark.parametrize("path", FAST, ids=named)
def test_a_worktop_rehearsal_passes_and_its_spoiled_twin_breaks_what_it_must(path: Path) -> None:
    assert list(complaints([path])) == []


@pytest.mark.slow
@pytest.mark.parametrize("lift", sorted({path.parent for path in SHIPPED}), ids=lambda path: path.name)
def test_every_rehearsal_of_a_lift_ends_as_its_file_says_and_so_does_its_twin(lift: Path) -> None:
    assert list(complaints([path for path in SHIPPED if path.parent == lift])) == []


def test_a_rehearsal_that_is_meant_to_fail_says_so_in_its_first_line_and_names_what_breaks() -> None:
    marked = {path for path in SHIPPED if path.read_text(encoding="utf-8").startswith("# EXPECTED TO FAIL (exit code 1)")}

    assert {path for path in SHIPPED if table(path).get("expect_broken")} == marked
