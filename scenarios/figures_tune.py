"""Figures of a tuning: level error against travel time and switchings, and the targets before and after."""

from __future__ import annotations

from collections.abc import Sequence
from math import isfinite

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from scenarios.figure_style import BELIEVED, FAINT, INK, LIMIT, WIDTH, clean, settle, styled

__all__ = ["Point", "Share", "draw_pareto", "draw_shares", "pareto_figure", "shares_figure"]

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
