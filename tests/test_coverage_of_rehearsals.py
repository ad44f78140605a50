"""The shipped rehearsals together: every fault, every guard and every limit occurs in at least one of them."""

from __future__ import annotations

from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from rehearsals import REHEARSALS, named, table

from scenarios.files import load_scenario
from scenarios.files.faults import KINDS
from scenarios.happenings import tell_events, word_of
from scenarios.limits import LIMITS
from scenarios.result import Result, result_of
from scenarios.runner import Flight, fly
from scenarios.wiring import stored_energy
from sync.modes import Reason

FAULTY = [(path, k) for path in REHEARSALS for k in range(len(table(path).get("fault", [])))]


@cache
def flown(path: Path) -> tuple[Flight, Result]:
    """A rehearsal and its verdict."""
    flight = fly(load_scenario(path))
    return flight, result_of(flight, float(stored_energy(flight.rig)), flight.scenario.limits, path.name)


@cache
def without(path: Path, k: int) -> Flight:
    """The same with the fault of index ``k`` left out."""
    faults = table(path)["fault"]
    return fly(load_scenario(path, [("fault", faults[:k] + faults[k + 1 :])]))


def script(flight: Flight) -> list[str]:
    """What the script did, in words."""
    rig: Any = flight.rig[0]
    return [event.text for event in tell_events(rig, flight.scenario.lift.names)[0] if event.what == "row"]


@pytest.mark.parametrize(("path", "k"), FAULTY, ids=[f"{named(path)}-{k + 1}" for path, k in FAULTY])
def test_a_fault_of_a_rehearsal_changes_what_is_recorded_and_is_named_in_the_events(path: Path, k: int) -> None:
    faulty, clean = flown(path)[0], without(path, k)
    short = min(len(faulty.trace), len(clean.trace))

    assert not np.array_equal(faulty.trace[:short], clean.trace[:short])
    assert len(script(faulty)) > len([text for text in script(clean) if text in script(faulty)])


def test_every_kind_of_fault_occurs() -> None:
    assert sorted({fault["what"] for path in REHEARSALS for fault in table(path).get("fault", [])}) == sorted(KINDS)


def test_every_guard_and_every_refusal_of_the_controller_acts() -> None:
    reported = {event.word for path in REHEARSALS for event in flown(path)[1].summary.events}

    assert sorted(word_of(reason) for reason in Reason if reason is not Reason.NONE and word_of(reason) not in reported) == []


def test_every_reason_that_is_reported_is_what_a_rehearsal_is_for() -> None:
    wanted = {word for path in REHEARSALS for word in table(path)["limits"].get("must_report", [])}

    assert sorted(word_of(reason) for reason in Reason if reason is not Reason.NONE and word_of(reason) not in wanted) == []


def test_every_limit_is_judged() -> None:
    judged = {limit.name for path in REHEARSALS for limit in flown(path)[1].verdict.limits if limit.evaluated}

    assert sorted(set(LIMITS) - judged) == []


BEYOND_SETTINGS = {
    "energy_residual",  # the model's own
    "logic_min_v",  # capacitors and supply of the lift
    "logic_down_s",
    "homing_level_mm",  # where the stops are, and how they are met
    "homing_repeat_mm",
    "faulted_powered_s",  # no setting powers a faulted lift, moves it, or makes up counts on a leg that stands
    "faulted_motion_mm",
    "stall_insertions",
}
"""Limits that no single setting of the controller can spoil; a lift, a fault or a defect breaks them."""


def test_every_limit_that_a_setting_can_spoil_is_broken_by_a_twin() -> None:
    broken = {name for path in REHEARSALS for name in table(path)["twin"]["breaks"]}

    assert sorted(set(LIMITS) - broken) == sorted(BEYOND_SETTINGS)
