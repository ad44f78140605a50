"""Figures of the signal level: the wires round one commutation, at start, power-off and the end of the coast; maps."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from matplotlib.axes import Axes
from matplotlib.colors import LogNorm
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle
from numpy.typing import NDArray

from plant.signal.front_end import STAGES, pass_stages
from scenarios.build_signal import build_spikes
from scenarios.figure_style import BELIEVED, FAINT, INK, LIMIT, WIDTH, clean, new_figure, settle, styled
from scenarios.rig import records
from scenarios.signal_detectors import Setting, chains, sample_rate
from scenarios.signal_maps import Map
from scenarios.signal_run import Floats, line_blocks, listen, truth
from scenarios.signal_score import match
from scenarios.signal_study import Flown
from scenarios.tracks import thin

__all__ = ["View", "map_figure", "views_of", "window_figure"]

STAGE_NAMES = ("between the wires [V]", "behind the coupling [V]", "output [V], dotted: threshold")


@dataclass(frozen=True)
class View:
    """A window of the waveform with its stages, true commutations and what was heard.

    Attributes
    ----------
    time
        Of each sample [ms], shape (n,).
    volts, coupled, output
        Between the wires, behind the coupling, at the output of the front end [V], shape (n,).
    threshold
        At the output [V].
    true, missed, heard, extra
        Instants [ms].
    """

    name: str
    time: Floats
    volts: Floats
    coupled: Floats
    output: Floats
    threshold: float
    true: Floats
    missed: Floats
    heard: Floats
    extra: Floats


def _windows(flown: Flown, true: Floats) -> dict[str, tuple[float, float]]:
    """Name and ends [us] of the windows."""
    mode = flown.bench.history["mode"][:-1]
    step_us = 1e6 * flown.bench.step
    changes = np.flatnonzero(np.diff(mode)) + 1
    on, off = float(changes[0]) * step_us, float(changes[-1]) * step_us
    running = true[(true > 0.5 * (on + off)) & (true < off)]
    one = float(running[0]) if len(running) else on
    last = float(true[-1])
    return {
        "one commutation": (one - 300.0, one + 300.0),
        "start": (on - 2000.0, on + 45_000.0),
        "power-off": (off - 1500.0, off + 4500.0),
        "end of the coast": (last - 60_000.0, last + 8000.0),
    }


def views_of(flown: Flown, condition: str, setting: Setting, seed: int) -> list[View]:
    """The four windows of a move."""
    leg = flown.leg
    rate = sample_rate(leg)
    source = flown.source(condition == "worn", seed)
    true = truth(source)
    windows = _windows(flown, true)
    front, comparator = build_spikes(leg.spike_detector, 1.0 / rate, setting.gain, setting.threshold)
    parts: dict[str, list[NDArray[np.float64]]] = {name: [] for name in windows}

    def take(block: Floats, samples: int, start_us: float) -> None:
        stages = np.zeros((len(STAGES), samples))
        pass_stages(records(front)[0], block, samples, stages)
        time = start_us + 1e6 / rate * np.arange(samples)
        for name, (low, high) in windows.items():
            inside = (time >= low) & (time < high)
            if np.any(inside):
                parts[name].append(np.stack((1e-3 * time[inside], block[0, :samples][inside], stages[1, inside], stages[3, inside])))

    line_blocks(source, take)
    again = flown.source(condition == "worn", seed)
    chain = chains(leg, setting)["spikes"]
    listen(again, [chain])
    heard = chain.heard()
    made = match(true, heard)
    trains = (true, true[made.hit < 0], heard, heard[made.kind != 0])
    views = []
    for name, (low, high) in windows.items():
        kept = [1e-3 * one[(one >= low) & (one < high)] for one in trains]
        columns = np.concatenate(parts[name], axis=1)
        views.append(View(name, columns[0], columns[1], columns[2], columns[3], float(comparator["threshold"][0]), *kept))
    return views


def _marks(axes: Axes, view: View) -> None:
    """True commutations as solid ticks, heard ones dashed, missed and extra ones as triangles."""
    low, high = axes.get_ylim()
    reach = high - low
    few = len(view.true) <= 60
    if few:
        axes.vlines(view.true, high + 0.02 * reach, high + 0.12 * reach, color=INK, linewidth=1.0)
        axes.vlines(view.heard, high + 0.14 * reach, high + 0.24 * reach, color=BELIEVED, linewidth=1.2, linestyles="dashed")
    axes.set_ylim(low, high + 0.3 * reach)
    for at, missed in ((view.missed, True), (view.extra, False)):
        axes.plot(
            at,
            np.full(len(at), high + 0.19 * reach),
            linestyle="none",
            marker="v" if missed else "^",
            markersize=6,
            markerfacecolor="white" if missed else INK,
            markeredgecolor=INK,
        )


def window_figure(view: View) -> Figure:
    """One window: the wires, behind the coupling, the output with its threshold; ticks above: true solid, heard dashed."""
    with styled():
        figure, axes = new_figure((1.3, 1.2, 1.5))
        for one, values, name in zip(axes, (view.volts, view.coupled, view.output), STAGE_NAMES, strict=True):
            one.plot(*thin(view.time, values), color=INK, linewidth=0.9)
            clean(one, name)
        axes[2].axhline(view.threshold, color=LIMIT, linewidth=1.0, linestyle=(0, (1, 1.5)))
        _marks(axes[2], view)
        axes[2].set_xlabel("time [ms]", loc="right")
    return settle(figure)


def map_figure(one: Map) -> Figure:
    """Missed and extra counts a move over two settings; hatched: outside the plateau; the cross is the chosen point."""
    with styled():
        figure = Figure(figsize=(WIDTH, 3.1), layout="constrained")
        for axes, values, name in zip(figure.subplots(1, 2), (one.missed, one.extra), ("missed", "extra"), strict=True):
            _draw_map(axes, one, values)
            axes.set_title(f"{name} a move", loc="left", fontsize=9)
            axes.set_xlabel(one.labels[0])
            axes.set_ylabel(one.labels[1])
    return settle(figure)


def _draw_map(axes: Axes, one: Map, values: Floats) -> None:
    columns, rows = len(one.across), len(one.up)
    axes.imshow(values + 0.1, origin="lower", aspect="auto", cmap="Greys", norm=LogNorm(0.1, max(float(np.max(one.wrong)), 1.0)))
    plateau = one.plateau
    for row in range(rows):
        for column in range(columns):
            if plateau[row, column]:
                axes.add_patch(_cell(column, row))
    axes.set_xticks(range(0, columns, 2), [f"{value:g}" for value in one.across[::2]], fontsize=7)
    axes.set_yticks(range(0, rows, 2), [f"{value:.3g}" for value in one.up[::2]], fontsize=7)
    x = float(np.interp(np.log(one.chosen[0]), np.log(one.across), np.arange(columns)))
    y = float(np.interp(np.log(one.chosen[1]), np.log(one.up), np.arange(rows)))
    axes.plot([x], [y], marker="P", markersize=9, markerfacecolor="white", markeredgecolor=INK, linestyle="none")
    axes.tick_params(color=FAINT)


def _cell(column: int, row: int) -> Rectangle:
    return Rectangle((column - 0.5, row - 0.5), 1.0, 1.0, fill=False, edgecolor=BELIEVED, linewidth=0.9, linestyle="-")
