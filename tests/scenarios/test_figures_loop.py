"""Curves and figures of a loop: what is drawn is what the loop says, and the same bytes each time."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from matplotlib.figure import Figure
from rehearsals import rehearsal

from scenarios.corners import CornerPlants, Span, corner_plants
from scenarios.figure_style import to_svg
from scenarios.figures_loop import draw_poles, draw_region, draw_tick_map, loop_figure, map_figure, measured_figure, time_figure
from scenarios.files import load_scenario
from scenarios.files.scenario import Scenario
from scenarios.loop_curves import gain_at, loop_curves, measured_curves, region_grid, stable_region, step_curves, tick_map
from scenarios.loop_data import Region
from scenarios.loop_model import loop_of
from scenarios.loop_pictures import loop_pictures
from scenarios.response import measure_mode
from sync.design.loop import Loop, margins, peak, scaled

NARROW = Span(supply=(1.1,), winding=(20.0,), case=(20.0,), friction=(1.0,), tick=(1.0,), directions=(1,))


@cache
def worktop() -> tuple[Scenario, Loop]:
    scenario = load_scenario(rehearsal("worktop/raise"))
    return scenario, loop_of(scenario)


@cache
def corners() -> CornerPlants:
    return corner_plants(worktop()[0], NARROW)


@cache
def region() -> Region:
    scenario, loop = worktop()
    chosen = (scenario.settings.levelling.kc_per_mm, scenario.settings.levelling.ki_per_mm_s)
    return stable_region(corners(), loop.law, chosen, region_grid(loop, chosen, (7, 6)))


def test_the_curves_hold_the_margins_of_their_loop() -> None:
    _, loop = worktop()
    curves, found = loop_curves("raise", loop), margins(loop)
    at = int(np.argmin(np.abs(curves.omega - found.crossover)))

    assert curves.marks.gain == found.gain
    assert curves.sensitivity.max() == pytest.approx(found.sensitivity, rel=1e-3)
    assert abs(curves.loci[at, 0]) == pytest.approx(1.0, abs=0.05)
    assert np.abs(curves.poles).max() == pytest.approx(found.radius)


def test_a_step_arrives_and_a_load_is_taken_back() -> None:
    scenario, loop = worktop()
    steps = step_curves(scenario, loop, seconds=12.0)

    assert steps.aims[-1] == pytest.approx(1.0, abs=1e-3)
    assert steps.loads.sum(axis=1) == pytest.approx(0.0, abs=1e-9)
    # raising, the loaded leg falls behind, and the integral brings it back
    assert steps.loads[:, 0].min() < -0.03
    assert abs(steps.loads[-1, 0]) < 0.01 * abs(steps.loads[:, 0].min())


def test_the_region_is_the_worst_of_its_corners_and_ends_at_the_boundary() -> None:
    _, loop = worktop()
    found = region()
    row, column = 1, 2
    law = scaled(loop.law, float(found.kc[column]) / found.chosen[0], float(found.ki[row]) / found.chosen[1])
    peaks = [peak(Loop(corner.plant, law, corners().modes)) for corner in corners().corners if corner.plant is not None]

    assert found.corners == len(peaks) == 4
    assert found.peak[row, column] == max(peaks)
    assert np.all(np.isinf(found.peak[:, -1]))
    assert np.isfinite(found.peak[0, 0])


def test_a_law_without_integral_cannot_have_it_varied() -> None:
    _, loop = worktop()
    with pytest.raises(ValueError, match="no integral part"):
        stable_region(corners(), scaled(loop.law, 1.0, 0.0), (0.05, 0.0), (np.array([0.05]), np.array([0.1])))


def test_a_shorter_tick_allows_more_gain_at_every_sensitivity() -> None:
    scenario, loop = worktop()
    found = tick_map(scenario, (2.0, 10.0, 20.0), (1.2, 1.5))
    alone = replace(loop, law=scaled(loop.law, 1.0, 0.0))

    for gains in (found.boundary, *found.levels.values()):
        assert np.all(np.diff(gains) < 0.0)
    assert found.boundary[1] == pytest.approx(0.05 * margins(alone).gain)
    share = gain_at(alone, 1.5)
    assert margins(alone.with_law(scaled(alone.law, share, share))).sensitivity == pytest.approx(1.5, rel=1e-3)


def drawn() -> dict[str, Figure]:
    scenario, loop = worktop()
    measured = measured_curves(scenario, measure_mode(scenario, 0, (0.3, 1.0)))
    return {
        "loop": loop_figure(loop_curves("raise", loop)),
        "time": time_figure(step_curves(scenario, loop)),
        "map": map_figure(region(), tick_map(scenario, (5.0, 10.0, 20.0))),
        "measured": measured_figure([measured]),
    }


def test_figures_are_the_same_bytes_each_time_and_say_what_they_show() -> None:
    first, second = ({name: to_svg(figure, name, name) for name, figure in drawn().items()} for _ in range(2))

    assert first == second
    for name, words in {
        "loop": ("gain margin 42", "phase margin 75", "Ms 1.07", "0 outside the circle"),
        "time": ("10 kg onto left", "tilt x"),
        "map": ("worst Ms at 4 corners", "boundary of stability", "Ms 1.5"),
        "measured": ("predicted", "measured", "tilt x"),
    }.items():
        assert all(word in first[name] for word in words), name


def test_poles_outside_the_circle_are_counted_in_the_figure() -> None:
    loop = loop_of(load_scenario(rehearsal("worktop/raise"), (("settings.levelling.kc_per_mm", 4.0),)))
    axes = Figure().subplots()
    draw_poles(axes, loop_curves("wild", loop))

    assert "2 outside" in axes.get_title(loc="left")
    assert "wild" in to_svg(loop_figure(loop_curves("wild", loop)), "wild", "wild")


def test_a_region_without_any_stable_or_any_unstable_gains_is_drawn() -> None:
    for value in (np.inf, 1.3):
        axes = Figure().subplots()
        draw_region(axes, replace(region(), peak=np.full_like(region().peak, value)))

        assert "4 corners" in axes.get_title(loc="left")
    axes = Figure().subplots()
    draw_tick_map(axes, tick_map(worktop()[0], (10.0,)))
    assert axes.get_yscale() == "log"


def test_a_report_gets_every_picture_of_a_loop_and_none_where_there_is_no_loop() -> None:
    scenario, _ = worktop()
    none = load_scenario(rehearsal("worktop/raise"), (("settings.levelling.law", "gating"),))
    proportional = load_scenario(rehearsal("worktop/raise"), (("settings.levelling.ki_per_mm_s", 0.0),))

    assert len(loop_pictures(scenario, NARROW)) == 4
    assert len(loop_pictures(proportional, NARROW, measure=False)) == 3
    assert loop_pictures(none) == {}
