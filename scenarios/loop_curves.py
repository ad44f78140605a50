"""Curves of a loop for its figures: loci, sensitivity, poles, responses in time, maps over gains and ticks."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from math import inf

import numpy as np

from scenarios.build import build_rig
from scenarios.corners import CornerPlants
from scenarios.files.scenario import Scenario
from scenarios.loop_data import LoopCurves, MarginMarks, MeasuredMode, Region, Steps, TickMap
from scenarios.loop_model import basis_of, loop_of
from scenarios.operating_point import Condition
from scenarios.response import ModeResponse, predicted_heights
from sync.design.basis import Array
from sync.design.loop import LinearLaw, Loop, margins, peak, poles, respond, scaled
from sync.design.margins import tracked

__all__ = ["gain_at", "loop_curves", "measured_curves", "region_grid", "stable_region", "step_curves", "tick_map"]

_GRAVITY = 9.81
_MOST_GAIN = 1e4


def loop_curves(name: str, loop: Loop) -> LoopCurves:
    """Everything along the frequencies of a loop."""
    found = margins(loop)
    along = loop.along()
    loci = tracked(np.linalg.eigvals(along).astype(np.complex128))
    marks = MarginMarks(
        found.gain, found.phase, found.sensitivity, found.crossover, found.phase_crossover, found.sensitivity_at, found.stable
    )
    whole = np.eye(len(loop.modes)) + along
    sensitivity = 1.0 / np.linalg.svd(whole, compute_uv=False)[:, -1]
    return LoopCurves(name, loop.modes, loop.plant.omega, loci, np.asarray(sensitivity, dtype=np.float64), poles(loop), marks)


def step_curves(scenario: Scenario, loop: Loop, seconds: float = 3.0, load_kg: float = 10.0) -> Steps:
    """Each mode asked to move by 1, and ``load_kg`` put onto the first leg, over ``seconds``."""
    ticks = max(2, round(seconds / loop.plant.tick))
    basis = basis_of(build_rig(scenario)[0]["world"])
    n, m = basis.columns.shape
    aims = np.stack([respond(loop, ticks, aim=np.eye(m)[k]).heights[:, k] for k in range(m)], axis=1)
    load = respond(loop, ticks, force=_GRAVITY * load_kg * np.eye(n)[0])
    names = scenario.lift.names
    return Steps(load.time, aims, 1e3 * load.heights @ basis.columns.T, loop.modes, tuple(names), f"{load_kg:g} kg onto {names[0]}")


def region_grid(loop: Loop, chosen: tuple[float, float], points: tuple[int, int] = (22, 18)) -> tuple[Array, Array]:
    """Gains worth a look, even steps of ratio: from a quarter of the ``chosen`` ones to beyond the boundary of stability.

    Kc goes to 1.3 times the boundary that ``loop`` tells for ``chosen``, Ki to what would make Ki/Kc thirty per second there.
    """
    boundary = chosen[0] * margins(loop).gain
    low = 0.25 * (chosen[1] if chosen[1] > 0.0 else chosen[0])
    return np.geomspace(0.25 * chosen[0], 1.3 * boundary, points[0]), np.geomspace(low, 30.0 * boundary, points[1])


def stable_region(plants: CornerPlants, law: LinearLaw, chosen: tuple[float, float], grid: tuple[Array, Array]) -> Region:
    """Worst sensitivity peak over the corners for every pair of gains.

    Parameters
    ----------
    plants
        Corners to judge at; a few are enough for a picture.
    law
        Linear law with a proportional gain and, where Ki is to be varied, with an integral one.
    chosen
        Kc [1/mm] and Ki [1/(mm s)] of ``law``; the gains of the grid are taken relative to them.
    grid
        Kc [1/mm], shape (X,), and Ki [1/(mm s)], shape (Y,).

    Raises
    ------
    ValueError
        If the law has no integral part but Ki is to be varied.
    """
    kc, ki = grid
    if chosen[1] == 0.0 and np.any(ki > 0.0):
        raise ValueError("the law has no integral part: give it a Ki above zero so that it can be varied")
    loops = [Loop(corner.plant, law, plants.modes) for corner in plants.corners if corner.plant is not None]
    found = np.full((len(ki), len(kc)), inf)
    for row, integral in enumerate(ki):
        for column, gain in enumerate(kc):
            share = integral / chosen[1] if chosen[1] > 0.0 else 0.0
            found[row, column] = _worst(loops, scaled(law, gain / chosen[0], share))
    return Region(kc, ki, found, chosen, len(loops))


def _worst(loops: Sequence[Loop], law: LinearLaw) -> float:
    """Largest sensitivity peak; inf as soon as one loop is unstable."""
    worst = 1.0
    for loop in loops:
        worst = max(worst, peak(loop.with_law(law)))
        if worst == inf:
            break
    return worst


def gain_at(loop: Loop, level: float) -> float:
    """Factor on all gains of a loop at which the sensitivity peak is ``level`` [-], by bisection; 0 if every one is above."""
    low, high = 0.0, 1.0
    while peak(loop.with_law(scaled(loop.law, high, high))) < level and high < _MOST_GAIN:
        low, high = high, 2.0 * high
    for _ in range(24):
        middle = 0.5 * (low + high)
        over = peak(loop.with_law(scaled(loop.law, middle, middle))) >= level
        low, high = (low, middle) if over else (middle, high)
    return 0.5 * (low + high)


def tick_map(scenario: Scenario, ticks_ms: Sequence[float], levels: Sequence[float] = (1.2, 1.5, 2.0)) -> TickMap:
    """Kc at the boundary of stability and at given sensitivity peaks, over the control tick; proportional part alone."""
    tick, kc = scenario.settings.timing.tick_ms, scenario.settings.levelling.kc_per_mm
    whole = [loop_of(scenario, Condition(tick=one / tick)) for one in ticks_ms]
    loops = [replace(loop, law=scaled(loop.law, 1.0, 0.0)) for loop in whole]
    boundary = np.array([kc * margins(loop).gain for loop in loops])
    found = {level: np.array([kc * gain_at(loop, level) for loop in loops]) for level in levels}
    return TickMap(np.asarray(ticks_ms, dtype=np.float64), boundary, found, (tick, kc))


def measured_curves(scenario: Scenario, response: ModeResponse, direction: int = 1) -> MeasuredMode:
    """A measured mode with its predicted curve through and beyond the points."""
    loop = loop_of(scenario, Condition(direction))
    mode = loop.modes.index(response.mode)
    column = basis_of(build_rig(scenario)[0]["world"]).columns[:, mode]
    seen = np.array([point.omega for point in response.points])
    line = np.geomspace(0.5 * seen.min(), 2.0 * seen.max(), 120)
    told = np.array([1e3 * predicted_heights(loop, float(omega), column)[mode] for omega in line], dtype=np.complex128)
    measured = np.array([1e3 * point.measured for point in response.points], dtype=np.complex128)
    return MeasuredMode(response.mode, response.crossover, seen, measured, line, told)
