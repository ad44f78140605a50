"""Figures of a choice of drives: key figures over a swept key, and lifts against the first of them."""

from __future__ import annotations

from collections.abc import Sequence
from math import isfinite

from matplotlib.axes import Axes
from matplotlib.figure import Figure

from scenarios.figure_style import INK, LIMIT, WIDTH, clean, leg_style, plain, settle, styled
from scenarios.sheet import Sheet
from scenarios.sheet_figures import KEY_FIGURES, read_figures
from scenarios.sheet_sweep import Sweep

__all__ = ["compare_figure", "draw_swept", "sweep_figure"]

_ACROSS = 3


def draw_swept(axes: Axes, sweep: Sweep, index: int) -> None:
    """One key figure over the swept key; points that the sheet warns of are ringed."""
    x = list(sweep.order.values)
    y = [row[index].value if isfinite(row[index].value) else float("nan") for row in sweep.readings]
    axes.plot(x, y, color=INK, linewidth=1.2, marker="o", markersize=2.5)
    warned = [k for k, row in enumerate(sweep.readings) if row[index].warned]
    axes.plot([x[k] for k in warned], [y[k] for k in warned], linestyle="none", marker="o", markersize=7, mfc="none", mec=LIMIT)
    one = KEY_FIGURES[index]
    clean(axes, f"{one.name} [{one.unit}]")
    axes.margins(x=0.04)
    axes.title.set_fontsize(7.5)
    axes.tick_params(labelsize=7.5)


def sweep_figure(sweep: Sweep) -> Figure:
    """Small multiples: every key figure over the swept key."""
    rows = -(-len(KEY_FIGURES) // _ACROSS)
    with styled():
        figure = Figure(figsize=(WIDTH + 1.2, 1.55 * rows + 0.5), layout="constrained")
        grid = figure.subplots(rows, _ACROSS, sharex=True, squeeze=False)
        for k, axes in enumerate(grid.flat):
            if k < len(KEY_FIGURES):
                draw_swept(axes, sweep, k)
            else:
                axes.set_visible(False)
        figure.supxlabel(plain(f"{sweep.order.key} of {sweep.lift}; ringed: the sheet warns"), fontsize=8.5)
    return settle(figure)


def compare_figure(sheets: Sequence[Sheet]) -> Figure:
    """Each lift's key figures as multiples of the first lift's, on one line a figure."""
    read = [read_figures(sheet) for sheet in sheets]
    with styled():
        figure = Figure(figsize=(WIDTH, 0.3 * len(KEY_FIGURES) + 1.2), layout="constrained")
        axes = figure.subplots()
        axes.axvline(1.0, color=INK, linewidth=0.8)
        for q, (sheet, readings) in enumerate(zip(sheets, read, strict=True)):
            style = leg_style(q)
            places = [k for k, one in enumerate(readings) if isfinite(one.value) and isfinite(read[0][k].value) and read[0][k].value]
            ratio = [readings[k].value / read[0][k].value for k in places]
            axes.plot(ratio, places, linestyle="none", marker="osD^v<>P"[q % 8], color=style["color"], label=plain(sheet.lift))
        axes.set_yticks(range(len(KEY_FIGURES)), [one.name for one in KEY_FIGURES], fontsize=8)
        axes.invert_yaxis()
        clean(axes, plain(f"figures as multiples of those of {sheets[0].lift}"))
        axes.margins(x=0.05)
        axes.legend(fontsize=8, frameon=False)
    return settle(figure)
