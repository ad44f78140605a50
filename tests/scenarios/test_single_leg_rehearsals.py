"""The single-leg figures of two independent models of the same equations, from ``rehearse`` on a one-leg lift file."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner
from single_leg_figures import FIGURES, named

from scenarios.commands.rehearse import command

DATA = Path(__file__).parent.parent / "data" / "one-leg.toml"


def rehearsed(lift: str, load: int, direction: int, off: str) -> dict[str, float]:
    """What ``rehearse --json -`` says of the only leg."""
    sets = [
        f'lift="one-leg-{lift.lower()}.toml"',
        f"payload.mass_kg={float(load)}",
        f"move.1.drive_duty={float(direction)}",
        f'move.1.off="{off}"',
    ]
    if load == 0:
        sets.append("lift.leg.guide.friction_n=0.0")
    told = CliRunner().invoke(command, [str(DATA), "--quiet", "--json", "-", *(word for text in sets for word in ("--set", text))])
    assert told.exit_code == 0, told.output
    report = json.loads(told.stdout)[0]
    leg: dict[str, float] = report["legs"][0]
    leg["per_mm"] = {"A": 19.5, "B": 37.5}[lift]
    return leg


@pytest.mark.parametrize("row", list(FIGURES), ids=named)
def test_a_one_leg_rehearsal_gives_the_figures_of_two_independent_models(row: tuple[str, int, int]) -> None:
    current, _, speed, frequency, coast_s, coast_mm, coast_n, brake_s, brake_mm, brake_n = FIGURES[row]
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
