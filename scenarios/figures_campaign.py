"""Figures of a campaign: how the values of the limits are spread, what they vary with, the closest limit over its two strongest inputs."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from matplotlib.figure import Figure
from numpy.typing import NDArray

from scenarios.figure_style import BELIEVED, FAINT, INK, LIMIT, WIDTH, clean, plain, settle, styled

__all__ = ["Bar", "Spreading", "drivers_figure", "inputs_figure", "service_figure", "spread_figure"]

BINS = 30


@dataclass(frozen=True)
class Spreading:
    """Values of one limit over all lifts."""

    label: str
    values: NDArray[np.float64]
    limit: float


@dataclass(frozen=True)
class Bar:
    """A correlation with the ends of its interval."""

    label: str
    value: float
    low: float
    high: float


def spread_figure(spreads: Sequence[Spreading]) -> Figure:
    """Number of lifts over the value, one panel a limit, with the limit as a dashed line."""
    with styled():
        figure = Figure(figsize=(WIDTH, 1.35 * len(spreads) + 0.3), layout="constrained")
        grid = figure.subplots(len(spreads), 1, squeeze=False)
        for (axes,), one in zip(grid, spreads, strict=True):
            low, high = float(np.min(one.values)), float(np.max(one.values))
            if np.isfinite(one.limit):
                low, high = min(low, one.limit), max(high, one.limit)
            room = 0.03 * (high - low) or 0.5
            axes.hist(one.values, bins=BINS, range=(low - room, high + room), color=BELIEVED)
            axes.axvline(one.limit, color=LIMIT, linestyle=(0, (5, 2)), linewidth=1.3)
            clean(axes, plain(one.label))
    return settle(figure)


def drivers_figure(bars: Sequence[Bar], title: str) -> Figure:
    """Rank correlations, strongest above, with their intervals."""
    with styled():
        figure = Figure(figsize=(WIDTH, 0.28 * len(bars) + 0.8), layout="constrained")
        axes = figure.subplots()
        places = np.arange(len(bars))[::-1]
        axes.barh(places, [bar.value for bar in bars], height=0.6, color=BELIEVED)
        for place, bar in zip(places, bars, strict=True):
            axes.plot([bar.low, bar.high], [place, place], color=INK, linewidth=1.1)
        axes.axvline(0.0, color=INK, linewidth=0.8)
        axes.set_yticks(places, [plain(bar.label) for bar in bars])
        axes.set_xlim(-1.0, 1.0)
        clean(axes, plain(title))
    return settle(figure)


def service_figure(
    since: Sequence[tuple[float, float, float]], worn: Sequence[tuple[float, float, float, float, float]], flag: float | None
) -> Figure:
    """Level error over moves since the homing, and below, where there is wear, the wear index over moves.

    Parameters
    ----------
    since
        First move of each class, mean and worst level error [mm].
    worn
        Moves, least, median and largest wear index [per thousand], and median wear.
    flag
        Index from which service is asked for; None: never.
    """
    with styled():
        figure = Figure(figsize=(WIDTH, 2.6 * (2 if worn else 1)), layout="constrained")
        panels = figure.subplots(2 if worn else 1, 1, squeeze=False)[:, 0]
        first = [one[0] for one in since]
        panels[0].plot(first, [one[1] for one in since], color=BELIEVED, marker="o", markersize=4, label="mean")
        panels[0].plot(first, [one[2] for one in since], color=LIMIT, linestyle=(0, (5, 2)), marker="x", markersize=5, label="worst")
        panels[0].set_xscale("symlog", linthresh=1.0)
        panels[0].set_xticks(first, [f"{one:.0f}" for one in first])
        panels[0].minorticks_off()
        panels[0].set_ylim(bottom=0.0)
        panels[0].legend(loc="upper left", frameon=False)
        panels[0].set_xlabel("moves since the homing", loc="right")
        clean(panels[0], "level error at rest [mm]")
        if worn:
            moves = [one[0] for one in worn]
            panels[1].fill_between(moves, [one[1] for one in worn], [one[3] for one in worn], color=BELIEVED, alpha=0.2, linewidth=0.0)
            panels[1].plot(moves, [one[2] for one in worn], color=BELIEVED, marker="o", markersize=4)
            if flag is not None:
                panels[1].axhline(flag, color=LIMIT, linestyle=(0, (5, 2)), linewidth=1.3)
            panels[1].set_ylim(bottom=0.0)
            panels[1].set_xlabel("moves", loc="right")
            clean(panels[1], "wear index [corrected per thousand pulses]: median, range, dashed: service is asked for")
    return settle(figure)


def inputs_figure(inputs: tuple[NDArray[np.float64], NDArray[np.float64]], labels: tuple[str, str], bad: NDArray[np.bool_]) -> Figure:
    """Lifts over two inputs: dots those to compare with, crosses the worst."""
    with styled():
        figure = Figure(figsize=(WIDTH, 3.6), layout="constrained")
        axes = figure.subplots()
        axes.plot(inputs[0][~bad], inputs[1][~bad], linestyle="none", marker=".", markersize=3, color=FAINT, rasterized=True)
        axes.plot(inputs[0][bad], inputs[1][bad], linestyle="none", marker="x", markersize=6, color=LIMIT)
        axes.set_xlabel(plain(labels[0]), loc="right")
        clean(axes, plain(labels[1]))
        axes.margins(0.02)
    return settle(figure)
