"""Preferred values and proposed parts."""

from __future__ import annotations

from math import pi

import pytest
import wires
from hypothesis import given
from hypothesis import strategies as st
from wires import LegTables

from scenarios.signal_detectors import Setting
from scenarios.signal_parts import E24, nearest_e24, propose
from scenarios.signal_study import Flown


def test_the_series_is_that_of_the_standard() -> None:
    """IEC 60063: each value of E24 is 10^(k/24), rounded, but for the eight that the standard keeps by tradition."""
    assert len(E24) == 24
    off = [value for k, value in enumerate(E24) if round(10 ** (k / 24), 1) != value]

    assert off == [2.7, 3.0, 3.3, 3.6, 3.9, 4.3, 4.7, 8.2]


@given(st.floats(1e-12, 1e9))
def test_the_nearest_value_is_never_farther_than_half_a_step(value: float) -> None:
    # the widest step of the series is 1.3 to 1.5: half of it, seen from the lower value, is 7.7 %
    assert abs(nearest_e24(value) / value - 1.0) < 0.5 * (1.5 / 1.3 - 1.0) + 1e-9


def test_nothing_is_near_zero() -> None:
    with pytest.raises(ValueError, match="above zero"):
        nearest_e24(0.0)


def test_proposed_parts_give_what_was_wanted_and_corners_bracket_it() -> None:
    flown = Flown("down", LegTables(), wires.lowering())  # type: ignore[arg-type]
    found = propose([flown], "new", Setting(2.0, 0.2, 1.3, 0.012), range(1))
    by_name = {part.name: part for part in found.parts}

    for part in found.parts:
        assert part.given == pytest.approx(part.wanted, rel=0.06), part.name
    coupling = by_name["R coupling"].value * by_name["C coupling"].value
    assert by_name["R coupling"].given == pytest.approx(1e-3 / (2.0 * pi * coupling))
    nominal, *others = found.corners
    assert nominal.name == "nominal"
    assert [(corner.tolerance, corner.name) for corner in others] == [
        (0.01, "least sensitive"),
        (0.01, "most sensitive"),
        (0.05, "least sensitive"),
        (0.05, "most sensitive"),
    ]
    assert others[3].threshold_mv < others[1].threshold_mv < nominal.threshold_mv < others[0].threshold_mv < others[2].threshold_mv
    assert others[2].missed >= nominal.missed >= others[3].missed
