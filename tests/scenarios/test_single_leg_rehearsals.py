"""The single-leg figures of two independent models of the same equations, from ``rehearse`` on a one-leg lift file.

The rows stand in tests/plant/test_reference_figures.py too, there on the bare kernels.
"""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner

from scenarios.commands.rehearse import command

DATA = Path(__file__).parent.parent / "data" / "one-leg.toml"

# set, load [kg] (0: neither mass nor guide friction), direction: I [A], mm/s, Hz, coast s, mm, counts, brake s, mm, counts
ROWS = {
    ("a", 0, 1): (0.84099, 39.799, 776.09, 0.49093, 9.0667, 176.80, 0.066353, 0.55801, 10.88),
    ("a", 30, 1): (2.4920, 37.142, 724.26, 0.13386, 2.4379, 47.54, 0.036351, 0.42678, 8.32),
    ("a", 60, 1): (3.9455, 34.812, 678.84, 0.077851, 1.3405, 26.14, 0.028144, 0.35358, 6.89),
    ("a", 30, -1): (0.98538, 39.561, 771.43, 0.40394, 7.5199, 146.64, 0.060621, 0.54426, 10.61),
    ("a", 60, -1): (1.1525, 39.290, 766.15, 0.33517, 6.2647, 122.16, 0.055718, 0.53003, 10.34),
    ("b", 0, 1): (0.49320, 22.394, 839.79, 0.41068, 4.4192, 165.72, 0.071077, 0.33895, 12.71),
    ("b", 8, 1): (1.0952, 21.374, 801.51, 0.16523, 1.7383, 65.19, 0.044998, 0.27242, 10.22),
    ("b", 20, 1): (1.8149, 20.182, 756.81, 0.092530, 0.92572, 34.71, 0.033517, 0.22322, 8.37),
    ("b", 8, -1): (0.52442, 22.336, 837.61, 0.38303, 4.1225, 154.59, 0.068672, 0.33471, 12.55),
    ("b", 20, -1): (0.58727, 22.224, 833.40, 0.33697, 3.6253, 135.95, 0.064458, 0.32658, 12.25),
}


def rehearsed(lift: str, load: int, direction: int, off: str) -> dict[str, float]:
    """What ``rehearse --json -`` says of the only leg."""
    sets = [f'lift="one-leg-{lift}.toml"', f"payload.mass_kg={float(load)}", f"move.1.drive_duty={float(direction)}", f'move.1.off="{off}"']
    if load == 0:
        sets.append("lift.leg.guide.friction_n=0.0")
    told = CliRunner().invoke(command, [str(DATA), "--quiet", "--json", "-", *(word for text in sets for word in ("--set", text))])
    assert told.exit_code == 0, told.output
    report = json.loads(told.stdout)[0]
    leg: dict[str, float] = report["legs"][0]
    leg["per_mm"] = {"a": 19.5, "b": 37.5}[lift]
    return leg


@pytest.mark.parametrize("row", list(ROWS), ids=lambda row: f"{row[0]} {row[1]} kg {'up' if row[2] > 0 else 'down'}")
def test_a_one_leg_rehearsal_gives_the_figures_of_two_independent_models(row: tuple[str, int, int]) -> None:
    current, speed, frequency, coast_s, coast_mm, coast_n, brake_s, brake_mm, brake_n = ROWS[row]
    coast = rehearsed(*row, "coast")
    brake = rehearsed(*row, "brake")

    assert coast["run_current_a"] == pytest.approx(current, rel=0.005)
    assert coast["run_speed_mm_s"] == pytest.approx(speed, rel=0.005)
    assert coast["run_speed_mm_s"] * coast["per_mm"] == pytest.approx(frequency, rel=0.005)
    assert coast["coast_s"] == pytest.approx(coast_s, rel=0.005)
    assert coast["coast_mm"] == pytest.approx(coast_mm, rel=0.005)
    assert coast["coast_counts"] == pytest.approx(coast_n, abs=1.0)
    assert brake["coast_s"] == pytest.approx(brake_s, rel=0.005)
    assert brake["coast_mm"] == pytest.approx(brake_mm, rel=0.005)
    assert brake["coast_counts"] == pytest.approx(brake_n, abs=1.0)
