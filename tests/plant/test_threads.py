"""ISO 2904 dimensions of trapezoidal threads."""

from __future__ import annotations

import pytest

from plant.threads import crest_clearance, trapezoidal_thread

# d2, d3, D1, D4 [mm], lead angle [deg]; ISO 2904 by its formulas, checked against a published table of these threads.
TABLE = {
    "Tr 8x1.5": (7.25, 6.2, 6.5, 8.3, 3.768),
    "Tr 10x2": (9.0, 7.5, 8.0, 10.5, 4.046),
    "Tr 12x3": (10.5, 8.5, 9.0, 12.5, 5.197),
    "Tr 14x3": (12.5, 10.5, 11.0, 14.5, 4.369),
    "Tr 16x4": (14.0, 11.5, 12.0, 16.5, 5.197),
    "Tr 18x4": (16.0, 13.5, 14.0, 18.5, 4.550),
    "Tr 20x4": (18.0, 15.5, 16.0, 20.5, 4.046),
}


@pytest.mark.parametrize("designation", TABLE)
def test_dimensions_follow_the_standard(designation: str) -> None:
    thread = trapezoidal_thread(designation)
    d2, d3, minor, major, angle = TABLE[designation]

    assert thread.pitch_diameter * 1e3 == pytest.approx(d2, abs=1e-9)
    assert thread.core_diameter * 1e3 == pytest.approx(d3, abs=1e-9)
    assert thread.nut_minor_diameter * 1e3 == pytest.approx(minor, abs=1e-9)
    assert thread.nut_major_diameter * 1e3 == pytest.approx(major, abs=1e-9)
    assert thread.lead_angle * 57.29577951 == pytest.approx(angle, abs=5e-4)  # the table prints three decimals


def test_two_starts_double_the_lead_and_leave_the_pitch_diameter() -> None:
    one, two = trapezoidal_thread("Tr 14x4"), trapezoidal_thread("Tr 14x8 P4")

    assert two.starts == 2
    assert two.lead == pytest.approx(2 * one.lead)
    assert two.pitch_diameter == one.pitch_diameter


@pytest.mark.parametrize("same", ["Tr14x4", "tr 14 x 4", "Tr 14×4", "Tr 14x4 LH", "Tr 14x4 (P4)"])
def test_spellings_of_one_thread_are_read_alike(same: str) -> None:
    assert trapezoidal_thread(same) == trapezoidal_thread("Tr 14x4")


@pytest.mark.parametrize(
    "wrong", ["", "M 14x2", "Tr 14", "Tr 14x4.2", "Tr 14x6 P4", "Tr 14x12", "Tr 400x4", "Tr 0x4", "Tr 14x4 P8", "Tr -14x4"]
)
def test_what_is_no_iso_thread_is_refused_by_name(wrong: str) -> None:
    with pytest.raises(ValueError, match=r"Tr|thread"):
        trapezoidal_thread(wrong)


@pytest.mark.parametrize(("pitch", "clearance"), [(1.5, 0.15), (2, 0.25), (5, 0.25), (6, 0.5), (12, 0.5), (14, 1.0), (44, 1.0)])
def test_crest_clearance_steps_with_the_pitch(pitch: float, clearance: float) -> None:
    assert crest_clearance(pitch * 1e-3) == pytest.approx(clearance * 1e-3)
