"""Every mechanical fault of a scenario file: told in words, seen in what is recorded, the energy still balanced, alike on both clocks."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from mechanical import faulted, judged, text_of
from numpy.typing import NDArray
from rehearsals import bytes_of

from scenarios.errors import InputError
from scenarios.runner import fly

SHORT = (("end_s", 5.0), ("move.1.to_mm", 60.0))
"""40 mm up from 20 mm."""
OPEN = (*SHORT, ("settings.guards.tilt_limit_mm", 50.0))

FAULTS: dict[str, tuple[str, str, str]] = {
    "payload": (
        text_of("payload", at_s=0.8, mass_kg=60.0, at_mm=(100.0, 0.0), over_s=0.5),
        "payload becomes 60 kg at (100, 0) mm, over 0.5 s",
        "left.force_n",
    ),
    "thread-friction": (
        text_of("thread-friction", leg="left", at_s=0.8, factor=1.3),
        "thread friction is multiplied by 1.3",
        "left.current_a",
    ),
    "guide-friction": (
        text_of("guide-friction", leg="right", at_s=0.8, friction_n=150.0),
        "guide friction becomes 150 N",
        "right.current_a",
    ),
    "guide-binding": (
        text_of("guide-binding", leg="right", at_s=0.1, from_mm=30.0, to_mm=50.0, friction_n=200.0),
        "guide binds: friction grows by 200 N from 30 to 50 mm",
        "right.current_a",
    ),
    "jam": (text_of("jam", leg="left", at_mm_above=35.0), "jams: its guide holds with 20000 N", "left.speed_m_s"),
    "gear-slip": (text_of("gear-slip", leg="left", at_mm_above=35.0, slip_mm=1.0), "gear slips: the nut falls by 1 mm", "left.height_m"),
    "hand-turn": (
        text_of("hand-turn", leg="right", at_s=0.05, turn_mm=-0.4, speed_mm_s=1.0),
        "spindle turned by hand, -0.4 mm at 1 mm/s",
        "right.height_m",
    ),
    "vibration": (
        text_of("vibration", at_s=0.02, static_factor=0.1, for_s=0.4),
        "vibration: break-away friction is multiplied by 0.1",
        "left.height_m",
    ),
    "debris": (
        text_of("debris", leg="left", at_s=0.1, stop="high", thickness_mm=170.0, stiffness_n_per_mm=200.0),
        "debris of 170 mm and 200 N/mm on the upper stop",
        "left.current_a",
    ),
    "obstacle": (
        text_of("obstacle", leg="left", at_s=0.1, side="above", gap_mm=15.0, stiffness_n_per_mm=75.0, for_s=3.0),
        "an obstacle of 75 N/mm above the deck, 15 mm away",
        "contact_n",
    ),
    "lean": (text_of("lean", leg="right", at_s=0.8, force_n=100.0, for_s=0.5), "somebody leans on the deck with 100 N", "right.force_n"),
}
FROM: dict[str, tuple[tuple[str, Any], ...]] = {"debris": (("start.height_mm", 310.0), ("move.1.to_mm", 350.0))}
"""What the upper stop at 500 mm needs."""


@lru_cache
def clean(sets: tuple[tuple[str, Any], ...]) -> tuple[NDArray[np.float64], list[str]]:
    from rehearsals import rehearsal

    from scenarios.files import load_scenario

    flight = fly(load_scenario(rehearsal("worktop/raise"), sets))
    return flight.trace, flight.columns


@pytest.mark.parametrize("kind", list(FAULTS))
def test_a_fault_changes_what_is_recorded_and_is_told(kind: str, tmp_path: Path) -> None:
    table, sentence, column = FAULTS[kind]
    sets = (*OPEN, *FROM.get(kind, ()))
    result, flight = judged(faulted(tmp_path, "worktop/raise", table, sets=sets))

    told = [event.text for event in result.summary.events]
    assert any(text.startswith(sentence) for text in told)
    without, columns = clean(sets)
    rows, at = min(len(without), len(flight.trace)), columns.index(column)
    assert np.max(np.abs(flight.trace[:rows, at] - without[:rows, at])) > 0.01 * np.max(np.abs(without[:, at]))
    assert result.summary.energy.residual is not None
    assert result.summary.energy.residual < 1e-3


def test_the_clocks_agree_on_all_mechanical_faults_at_once(tmp_path: Path) -> None:
    tables = [table for kind, (table, _, _) in FAULTS.items() if kind != "debris"]
    scenario = faulted(tmp_path, "worktop/raise", *tables, sets=OPEN)
    event, flat = fly(scenario, None, "event"), fly(scenario, None, "flat")

    assert int(np.sum(flat.rig["script"]["fired"])) >= len(tables)
    assert bytes_of(event.rig, event.trace) == bytes_of(flat.rig, flat.trace)


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
