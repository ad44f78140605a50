"""Figures of a tuning: level error against travel time and switchings, and the targets before and after."""

from __future__ import annotations

from collections.abc import Sequence
from math import isfinite

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from scenarios.figure_style import BELIEVED, FAINT, INK, LIMIT, WIDTH, clean, leg_style, settle, styled

__all__ = [
    "Point",
    "Share",
    "draw_pareto",
    "draw_shares",
    "gating_figure",
    "laws_figure",
    "pareto_figure",
    "pinch_figure",
    "shares_figure",
]

Point = tuple[float, float, float, bool]
"""A candidate: level error [mm], travel time [s], switch-offs, whether it reaches every target that was judged."""
Share = tuple[str, float, float]
"""A target: name, share of its limit before and after; above 1 it is broken."""


def _front(x: Sequence[float], y: Sequence[float]) -> list[int]:
    """Indices of the points that no other one beats in both, by rising x."""
    order = sorted(range(len(x)), key=lambda k: (x[k], y[k]))
    front: list[int] = []
    for k in order:
        if not front or y[k] < y[front[-1]]:
            front.append(k)
    return front


def draw_pareto(axes: Axes, points: Sequence[Point], across: int, label: str) -> None:
    """Level error over another figure of the candidates (1: time, 2: switch-offs); the front is drawn through."""
    told = [point for point in points if all(isfinite(one) for one in point[:3])]
    x, y = [float(point[across]) for point in told], [point[0] for point in told]
    good = [point[3] for point in told]
    for keep, fill, edge, word in ((False, "none", FAINT, "breaks a target"), (True, BELIEVED, BELIEVED, "reaches all judged")):
        places = [k for k, ok in enumerate(good) if ok is keep]
        dots = {"linestyle": "none", "marker": "o", "markersize": 3.5, "mfc": fill, "mec": edge}
        axes.plot([x[k] for k in places], [y[k] for k in places], label=word, **dots)  # type: ignore[arg-type]
    front = _front(x, y)
    axes.plot([x[k] for k in front], [y[k] for k in front], color=INK, linewidth=1.0, drawstyle="steps-post", label="front")
    if y and min(y) > 0.0:
        axes.set_yscale("log")
    clean(axes, "worst level error [mm]")
    axes.margins(x=0.05)
    axes.set_xlabel(label, loc="right")


def pareto_figure(points: Sequence[Point]) -> Figure:
    """Candidates by level error against travel time and against switch-offs."""
    with styled():
        figure = Figure(figsize=(WIDTH, 3.1), layout="constrained")
        left, right = figure.subplots(1, 2, sharey=True)
        draw_pareto(left, points, 1, "travel time of all rehearsals [s]")
        draw_pareto(right, points, 2, "switch-offs of all legs")
        left.legend(fontsize=7.5, frameon=False, loc="upper right")
    return settle(figure)


def draw_shares(axes: Axes, shares: Sequence[Share]) -> None:
    """Targets as shares of their limits: open before, filled after."""
    places = np.arange(len(shares))
    most = 3.0
    for found, fill, edge, word in (
        ([share[1] for share in shares], "none", INK, "before"),
        ([share[2] for share in shares], BELIEVED, BELIEVED, "tuned"),
    ):
        values = [min(one, most) if isfinite(one) else most for one in found]
        axes.plot(values, places, linestyle="none", marker="o", markersize=6, mfc=fill, mec=edge, label=word)
    axes.axvline(1.0, color=LIMIT, linewidth=1.0, linestyle=(0, (4, 2)))
    axes.set_yticks(places, [share[0] for share in shares], fontsize=8)
    axes.invert_yaxis()
    clean(axes, f"share of the limit (dashed: the limit; drawn up to {most:g})")
    axes.margins(x=0.05)
    axes.legend(fontsize=8, frameon=False)


def shares_figure(shares: Sequence[Share]) -> Figure:
    """Every target before and after."""
    with styled():
        figure = Figure(figsize=(WIDTH, 0.32 * len(shares) + 1.0), layout="constrained")
        draw_shares(figure.subplots(), shares)
    return settle(figure)


def laws_figure(rows: Sequence[tuple[str, float, float, float]]) -> Figure:
    """Level error of each law while moving, after the coast, and with a leg at its torque limit [mm]."""
    with styled():
        figure = Figure(figsize=(WIDTH, 0.36 * len(rows) + 1.0), layout="constrained")
        axes = figure.subplots()
        places = np.arange(len(rows))
        for k, (word, marker) in enumerate((("while moving", "o"), ("after the coast", "s"), ("a leg at its torque limit", "D"))):
            style = leg_style(k)
            axes.plot([float(row[k + 1]) for row in rows], places, linestyle="none", marker=marker, color=style["color"], label=word)
        axes.set_xscale("log")
        axes.set_yticks(places, [row[0] for row in rows], fontsize=8)
        axes.invert_yaxis()
        clean(axes, "worst level error [mm]")
        axes.margins(x=0.05)
        axes.legend(fontsize=8, frameon=False)
    return settle(figure)


def gating_figure(points: Sequence[tuple[str, float, float, float]]) -> Figure:
    """Level error [mm] and miscounts over switch-offs, each window named at its point."""
    with styled():
        figure = Figure(figsize=(WIDTH, 3.0), layout="constrained")
        for axes, which, word in zip(figure.subplots(1, 2), (2, 3), ("worst level error [mm]", "miscounts a move"), strict=True):
            x, y = [point[1] for point in points], [float(point[which]) for point in points]
            axes.plot(x, y, linestyle="none", marker="o", markersize=4, color=BELIEVED)
            for k, point in enumerate(points):
                axes.annotate(point[0], (x[k], y[k]), xytext=(3, 3), textcoords="offset points", fontsize=7)
            axes.set_xscale("log")
            clean(axes, word)
            axes.margins(x=0.12, y=0.1)
            axes.set_xlabel("switch-offs a leg and move", loc="right")
    return settle(figure)


def pinch_figure(rises: Sequence[float], trips: Sequence[float], forces: dict[str, list[float]], chosen: float | None) -> Figure:
    """False trips [share of clean flights] and largest force on an obstacle [N] over the threshold [A]."""
    with styled():
        figure = Figure(figsize=(WIDTH, 3.8), layout="constrained")
        upper, lower = figure.subplots(2, 1, sharex=True, gridspec_kw={"height_ratios": [1, 2]})
        upper.plot(rises, trips, color=INK, marker="o", markersize=3)
        clean(upper, "false trips, share of clean flights")
        for k, (word, values) in enumerate(forces.items()):
            if values:
                lower.plot(rises[: len(values)], values, marker="o", markersize=3, label=word, **leg_style(k))
        clean(lower, "largest force on the obstacle [N]")
        lower.set_xlabel("threshold pinch.rise_a [A]", loc="right")
        lower.legend(fontsize=7.5, frameon=False)
        for axes in (upper, lower):
            axes.set_xscale("log")
            axes.margins(x=0.04)
            if chosen is not None:
                axes.axvline(chosen, color=LIMIT, linewidth=1.0, linestyle=(0, (4, 2)))
    return settle(figure)
