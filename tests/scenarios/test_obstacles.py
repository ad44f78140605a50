"""Obstacles and leaning people in a rehearsal: read, put, felt, told and drawn alike on both clocks."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from mechanical import faulted, judged, text_of
from rehearsals import UNGUARDED, bytes_of

from scenarios.errors import InputError
from scenarios.runner import fly

ABOVE = text_of("obstacle", at_s=2.0, side="above", at_mm=(450.0, 0.0), gap_mm=12.0, stiffness_n_per_mm=75.0, for_s=2.0)
BLOCK = text_of("obstacle", at_s=0.1, side="below", leg="right", height_mm=240.0, stiffness_n_per_mm=500.0)
LEAN = text_of("lean", at_s=3.0, at_mm=(-600.0, 150.0), force_n=150.0, for_s=0.8)


def told(result: Any) -> list[str]:
    return [event.text for event in result.summary.events]


def test_a_raise_against_an_obstacle_is_felt_told_and_traced(tmp_path: Path) -> None:
    result, flight = judged(faulted(tmp_path, "worktop/raise", ABOVE))

    contact = flight.rig["world"][0]["contact"][0]
    column = flight.trace[:, flight.columns.index("contact_n")]
    assert float(contact["peak"]) > 100.0
    assert np.max(column) == pytest.approx(float(contact["peak"]), rel=0.1)
    texts = told(result)
    assert "an obstacle of 75 N/mm above the deck at (450, 0) mm, 12 mm away" in texts
    assert "the deck meets obstacle 1" in texts
    assert f"the deck is free of the obstacle again; it felt at most {float(contact['attempt_peak']):.1f} N" in texts
    assert "over: an obstacle of 75 N/mm above the deck at (450, 0) mm, 12 mm away" in texts
    assert result.summary.energy.residual < 1e-3


def test_a_lowering_onto_a_block_is_felt_at_its_height(tmp_path: Path) -> None:
    scenario = faulted(tmp_path, "worktop/lower", BLOCK, sets=(*UNGUARDED, ("end_s", 8.0)))
    result, flight = judged(scenario)

    contact = flight.rig["world"][0]["contact"][0]
    pressed = float(contact["height"]) - float(contact["face"])
    assert float(contact["face"]) == 0.24
    assert float(contact["x"]) == float(flight.rig["world"][0]["legs"]["x"][1])
    assert pressed == pytest.approx(-float(contact["force"]) / 500e3)
    assert float(contact["peak"]) > 100.0
    assert "an obstacle of 500 N/mm below the deck, its face at 240 mm" in told(result)


def test_a_person_who_leans_on_one_end_loads_that_leg_for_as_long_as_told(tmp_path: Path) -> None:
    result, flight = judged(faulted(tmp_path, "worktop/raise", LEAN, sets=(("end_s", 6.0),)))

    time, force = flight.trace[:, 0], flight.trace[:, flight.columns.index("left.force_n")]
    during = np.median(force[(time > 3.3) & (time < 3.7)])
    assert during - np.median(force[(time > 2.0) & (time < 2.9)]) == pytest.approx(150.0, rel=0.1)
    assert during - np.median(force[(time > 4.2) & (time < 4.8)]) == pytest.approx(150.0, rel=0.1)
    assert "somebody leans on the deck with 150 N at (-600, 150) mm" in told(result)


def test_the_clocks_agree_on_obstacles_and_leaning_people(tmp_path: Path) -> None:
    scenario = faulted(tmp_path, "worktop/raise", ABOVE, LEAN, sets=(("end_s", 5.0),))
    event, flat = fly(scenario, None, "event"), fly(scenario, None, "flat")

    assert int(flat.rig["world"][0]["contacts"]) == 2
    assert bytes_of(event.rig, event.trace) == bytes_of(flat.rig, flat.trace)


@pytest.mark.parametrize(
    ("table", "complaint"),
    [
        (text_of("obstacle", at_s=1.0, side="above", gap_mm=1.0, stiffness_n_per_mm=10.0), "exactly one of at_mm, leg"),
        (text_of("obstacle", at_s=1.0, side="above", leg="left", stiffness_n_per_mm=10.0), "exactly one of gap_mm, height_mm"),
        (text_of("lean", at_s=1.0, leg="left", force_n=9000.0), "force_n = 9000"),
        (5 * text_of("lean", at_s=1.0, leg="left", force_n=90.0), "holds 5 obstacles and leans together, at most 4 fit"),
    ],
)
def test_an_obstacle_that_is_nowhere_is_refused(tmp_path: Path, table: str, complaint: str) -> None:
    with pytest.raises(InputError) as refused:
        faulted(tmp_path, "worktop/raise", table)

    assert complaint in str(refused.value)
