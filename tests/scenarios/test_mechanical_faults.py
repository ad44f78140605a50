"""What mechanical faults mean for the counts and for the stops, and files that are refused; each kind alone is in the fault catalogue."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from mechanical import faulted, judged, text_of

from scenarios.errors import InputError

SHORT = (("end_s", 5.0), ("move.1.to_mm", 60.0))
"""40 mm up from 20 mm."""
OPEN = (*SHORT, ("settings.guards.tilt_limit_mm", 50.0))


def test_a_hand_turned_spindle_below_the_speed_that_is_heard_goes_uncounted(tmp_path: Path) -> None:
    turned = text_of("hand-turn", leg="right", at_s=0.02, turn_mm=-2.0, speed_mm_s=1.0)
    scenario = faulted(tmp_path, "worktop/raise", turned, sets=(*OPEN, ("move.1.pause_s", 3.0)))
    _, flight = judged(scenario)

    row = int(np.searchsorted(flight.trace[:, 0], 2.9))
    height, believed = (flight.trace[row, flight.columns.index(f"right.{name}")] for name in ("height_m", "believed_m"))
    assert height - believed == pytest.approx(-2e-3, abs=0.15e-3)


def test_a_gear_that_slipped_leaves_the_counts_that_much_too_high(tmp_path: Path) -> None:
    slip = text_of("gear-slip", leg="left", at_mm_above=40.0, slip_mm=1.5)
    result, _ = judged(faulted(tmp_path, "worktop/raise", slip, sets=OPEN))
    clean_result, _ = judged(faulted(tmp_path, "worktop/raise", sets=OPEN))

    errors = [one.summary.moves[-1].legs[0].error_mm for one in (result, clean_result)]
    assert errors[0] - errors[1] == pytest.approx(-1.5, abs=0.15)


def test_a_full_speed_run_into_the_stop_after_lost_counts_is_scored(tmp_path: Path) -> None:
    """Four times 150 counts lost are 31 mm: both legs run into their stops 10 mm past the travel limit, at speed."""
    lost = "".join(text_of("lose-counts", at_s=at, counts=150) for at in (0.8, 1.2, 1.6, 2.0))
    sets = (("start.height_mm", 440.0), ("move.1.to_mm", 490.0), *OPEN[2:], ("end_s", 6.0))
    result, flight = judged(faulted(tmp_path, "worktop/raise", "end_stop_n = 400.0\n", lost, sets=sets))

    legs = flight.rig["world"][0]["legs"]
    assert float(legs[0]["stop_peak"]) > 500.0
    assert 1e6 < float(legs[0]["stop_peak_us"]) < 4e6
    judgement = next(one for one in result.verdict.limits if one.name == "end_stop_n")
    assert judgement.value == pytest.approx(max(float(leg["stop_peak"]) for leg in legs))
    assert judgement.at_s is not None
    assert judgement.ok is False


def test_a_lift_that_meets_no_stop_is_not_judged_by_its_force(tmp_path: Path) -> None:
    result, _ = judged(faulted(tmp_path, "worktop/raise", "end_stop_n = 400.0\n", sets=(("end_s", 1.0),)))

    judgement = next(one for one in result.verdict.limits if one.name == "end_stop_n")
    assert not judgement.evaluated
    assert "no end stop was met" in judgement.reason


@pytest.mark.parametrize(
    ("table", "complaint"),
    [
        (text_of("guide-binding", leg="left", at_s=1.0, from_mm=30.0, to_mm=30.0, friction_n=10.0), "must differ from from_mm"),
        (text_of("jam", leg="left", at_s=1.0, holding_n=0.0), "holding_n = 0"),
        (text_of("gear-slip", leg="midle", at_s=1.0, slip_mm=1.0), "no such leg"),
        (text_of("debris", leg="left", at_s=1.0, stop="lower", thickness_mm=1.0, stiffness_n_per_mm=10.0), "stop"),
        (text_of("hand-turn", leg="left", at_s=1.0, turn_mm=1.0, speed_mm_s=0.0), "speed_mm_s = 0"),
        (text_of("vibration", at_s=1.0, static_factor=1.5), "static_factor = 1.5"),
    ],
)
def test_a_mechanical_fault_that_cannot_be_is_refused(tmp_path: Path, table: str, complaint: str) -> None:
    with pytest.raises(InputError) as refused:
        faulted(tmp_path, "worktop/raise", table)

    assert complaint in str(refused.value)
