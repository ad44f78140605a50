"""Limits on the force on an obstacle: flown against a virtual gauge, and the mask of PX-3 held against them."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from flights import summary
from rehearsals import EXAMPLES, UNGUARDED

from scenarios.build import build_rig
from scenarios.files import load_scenario
from scenarios.limits import LimitEntry
from scenarios.result import Result, result_of
from scenarios.runner import Flight, fly
from scenarios.summary import ContactResult
from scenarios.verdict import JudgedLimit, judge
from scenarios.wiring import stored_energy

RAISE = EXAMPLES / "worktop" / "raise.toml"
GAUGE = {"what": "obstacle", "side": "above", "height_mm": 120.0, "stiffness_n_per_mm": 25.0, "at_mm": [0.0, 0.0], "at_s": 0.1}
GUARD = {"settings.pinch.rise_a": 0.5, "settings.pinch.retreat_mm": 30.0, "settings.pinch.retreat_duty": 0.88}
MASK = {"pinch_peak_n": 400.0, "pinch_late_n": 150.0, "pinch_last_n": 25.0}


def pinched(guard: dict[str, Any], limits: dict[str, float]) -> tuple[Flight, Result]:
    """A raise against a gauge of 25 N/mm."""
    changes = {**guard, "fault": [GAUGE], **{f"limits.{name}": value for name, value in limits.items()}}
    scenario = load_scenario(RAISE, list(changes.items()))
    flight = fly(scenario)
    return flight, result_of(flight, float(stored_energy(flight.rig)), scenario.limits, "raise.toml")


def of(result: Result, name: str) -> JudgedLimit:
    return next(one for one in result.verdict.limits if one.name == name)


def test_a_pinch_is_judged_by_its_largest_force_and_by_what_is_left_of_it_later() -> None:
    flight, result = pinched(GUARD, {**MASK, "retreat_mm": 29.0, "pinch_reversal_n": 400.0})
    force = flight.trace[:, flight.columns.index("contact_n")]
    time = flight.trace[:, flight.columns.index("time_s")]

    assert of(result, "pinch_peak_n").value == pytest.approx(float(force.max()), rel=0.03)  # a row every 10 ms misses the top
    assert of(result, "pinch_peak_n").at_s == pytest.approx(float(time[np.argmax(force)]), abs=0.02)
    assert of(result, "pinch_peak_n").leg == "above (0, 0)"
    assert (of(result, "pinch_late_n").value, of(result, "pinch_last_n").value) == (0.0, 0.0)
    assert of(result, "retreat_mm").ok is True
    assert of(result, "pinch_reversal_n").value == of(result, "pinch_peak_n").value
    assert result.verdict.gaps == ("the controller ended ready",)


def test_without_a_guard_the_mask_is_broken_late_as_well() -> None:
    result = pinched(dict(UNGUARDED), {**MASK, "retreat_mm": 10.0})[1]

    assert [of(result, name).ok for name in MASK] == [False, False, False]
    assert (of(result, "retreat_mm").value, of(result, "retreat_mm").ok) == (0.0, False)


def test_a_rehearsal_that_ends_before_the_mask_does_is_not_judged_by_the_rest_of_it() -> None:
    limits = [LimitEntry("pinch_last_n", 25.0, "N"), LimitEntry("energy_residual", 1.0, "")]
    pressing = replace(contact(), force_n=20.0, pressed_s=2.0)
    judged = [judge(summary(contacts=(one,)), limits, "a.toml").limits[0] for one in (pressing, replace(pressing, pressed_s=6.0))]

    assert [(one.ok, one.value) for one in judged] == [(None, 20.0), (True, 20.0)]
    assert judged[0].reason == "the deck still pressed when the rehearsal ended, 2.00 s after the touch"


def test_a_deck_that_never_lets_go_is_not_within_the_limit_on_the_reversal() -> None:
    reversal = of(pinched(dict(UNGUARDED), {"pinch_reversal_n": 9000.0})[1], "pinch_reversal_n")

    assert (reversal.ok, reversal.reason) == (None, "the deck had not let go when it ended")


def test_a_limit_on_pinch_without_an_obstacle_or_a_touch_is_not_judged() -> None:
    limits = [LimitEntry("pinch_peak_n", 400.0, "N"), LimitEntry("energy_residual", 1.0, "")]
    untouched = summary(contacts=(contact(attempts=0),))

    assert judge(summary(), limits, "a.toml").limits[0].reason == "nothing was in the way"
    assert judge(untouched, limits, "a.toml").limits[0].reason == "the deck did not touch the obstacle"


def contact(peak: float = 0.0, late: float = 0.0, last: float = 0.0, attempts: int = 1) -> ContactResult:
    return ContactResult("above (0, 0)", 500.0, attempts, 1.0, peak, 1.1, peak, late, 1.8, last, 6.1, 0.0, 0.75, 5.0)


@pytest.mark.parametrize(
    ("peak", "late", "last", "kept"),
    [(399.0, 149.0, 24.0, True), (401.0, 149.0, 24.0, False), (399.0, 151.0, 24.0, False), (399.0, 149.0, 26.0, False)],
)
def test_the_mask_passes_399_149_24_and_fails_when_any_is_two_higher(peak: float, late: float, last: float, kept: bool) -> None:
    """PX-3: 400 N, 150 N after 0.75 s, 25 N after 5 s; example after EN 12453 as quoted in trade summaries."""
    entries = [LimitEntry(name, limit, "N") for name, limit in MASK.items()]
    verdict = judge(summary(contacts=(contact(peak, late, last),)), entries, "a.toml")

    assert (verdict.word == "pass") is kept


def test_the_worst_obstacle_decides() -> None:
    entries = [LimitEntry("pinch_peak_n", 400.0, "N")]
    verdict = judge(summary(contacts=(contact(100.0), contact(300.0))), entries, "a.toml")

    assert verdict.limits[0].value == 300.0


def test_the_times_of_the_mask_are_the_files_own() -> None:
    changed = load_scenario(RAISE, [("limits.pinch_late_n", {"value": 150.0, "after_s": 0.3})])
    times = [build_rig(scenario)["world"][0][["late_after", "last_after"]].tolist() for scenario in (load_scenario(RAISE), changed)]

    assert times == [(0.75, 5.0), (0.3, 5.0)]
