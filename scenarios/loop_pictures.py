"""All pictures of a loop for a report: what the linear loop says, and what the non-linear rehearsal answers."""

from __future__ import annotations

from math import isfinite
from typing import TYPE_CHECKING

from scenarios.corners import CornerPlants, Span, corner_plants, judge
from scenarios.figures_loop import loop_figure, map_figure, measured_figure, time_figure
from scenarios.loop_curves import loop_curves, measured_curves, region_grid, stable_region, step_curves, tick_map
from scenarios.loop_model import loop_of
from scenarios.response import measure_modes
from sync.design.loop import LinearLaw, margins

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from scenarios.files.scenario import Scenario
    from sync.design.loop import Loop

__all__ = ["loop_pictures"]

_TICKS_MS = (1.0, 2.0, 5.0, 10.0, 15.0, 20.0)
_SHARES = (0.1, 0.2, 0.5, 1.0, 2.0)
_FEW = 3
_MOST_MEASURED = 4


def _worst_corners(scenario: Scenario, span: Span | None, loop: Loop) -> CornerPlants:
    """The few corners with the largest sensitivity peak; an unstable one first."""
    plants = corner_plants(scenario, span)
    judged = [(one.margins, corner) for one, corner in zip(judge(plants, loop.law), plants.corners, strict=True) if one.margins is not None]
    judged.sort(key=lambda pair: (pair[0].stable, -pair[0].sensitivity))
    return CornerPlants(tuple(corner for _, corner in judged[:_FEW]), plants.modes)


def _maps(scenario: Scenario, span: Span | None, loop: Loop) -> Figure:
    levelling = scenario.settings.levelling
    gains = (levelling.kc_per_mm, levelling.ki_per_mm_s)
    law = loop.law
    if gains[1] == 0.0:
        # the map shows what an integral would do: take one that is weak, at a corner of one per second
        gains = (gains[0], gains[0])
        law = LinearLaw(law.proportional, law.proportional)
    region = stable_region(_worst_corners(scenario, span, loop), law, gains, region_grid(loop, gains))
    return map_figure(region, tick_map(scenario, _TICKS_MS))


def loop_pictures(scenario: Scenario, span: Span | None = None, measure: bool = True) -> dict[str, Figure]:
    """Figures of the levelling loop of a scenario by their title; none where the law has no linear loop or no gain.

    Parameters
    ----------
    scenario
        Lift, settings, load and temperatures.
    span
        Ranges of the corners for the map of gains; left out: the defaults.
    measure
        Whether the closed loop is measured in the rehearsal, up to four modes; takes some seconds.

    Notes
    -----
    There are none either where the lift has no steady motion to linearise about.
    """
    try:
        loop = loop_of(scenario)
        found = margins(loop)
    except ValueError:
        return {}
    pictures = {
        "The levelling loop along the frequencies, raising": loop_figure(loop_curves(scenario.name, loop)),
        "Its answer to a step and to a load": time_figure(step_curves(scenario, loop)),
    }
    if isfinite(found.gain) and bool(loop.law.proportional.any()):
        pictures["Stable gains, and gains against the control tick"] = _maps(scenario, span, loop)
    if measure and found.stable and len(loop.modes) <= _MOST_MEASURED:
        curves = [measured_curves(scenario, mode) for mode in measure_modes(scenario, _SHARES)]
        pictures["Measured in the rehearsal over the linear prediction; dotted: crossover"] = measured_figure(curves)
    return pictures
