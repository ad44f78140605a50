"""Drawing of the deck at one instant: plan from above, elevation from the front, deviations from level exaggerated.

The factor of exaggeration is written into the drawing; without it the tilt of a good lift could not be seen.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import floor, log10

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle

from scenarios.figure_style import FAINT, INK, LIMIT, WIDTH, leg_style, plain, settle, styled
from scenarios.summary import DeckView

__all__ = ["deck_figure", "draw_elevation", "draw_plan", "exaggeration"]


def exaggeration(view: DeckView) -> float:
    """Factor 1, 2 or 5 times a power of ten that draws the level error about a sixth as high as the deck is wide; 1 when level."""
    error = max(view.z_mm) - min(view.z_mm)
    if error < 1e-6:
        return 1.0
    wanted = view.reach_mm / 6.0 / error
    power = 10.0 ** floor(log10(wanted))
    return max(1.0, *(step * power for step in (1.0, 2.0, 5.0) if step * power <= wanted * (1.0 + 1e-9)))


def draw_plan(axes: Axes, view: DeckView) -> None:
    """Legs and payload from above, with the deviation of each joint from the mean height [mm]."""
    pad = 0.16 * view.reach_mm
    left, low = min(view.x_mm) - pad, min(view.y_mm) - 1.6 * pad
    width, depth = max(view.x_mm) + pad - left, max(view.y_mm) + pad - low
    axes.add_patch(Rectangle((left, low), width, depth, facecolor="#f1f0ec", edgecolor="#6b6b67", linewidth=0.9))
    for q, (name, x, y, off) in enumerate(zip(view.names, view.x_mm, view.y_mm, view.off_level_mm, strict=True)):
        axes.plot([x], [y], marker="s", markersize=8, color=leg_style(q)["color"], linestyle="none")
        text = f"{plain(name)}\n{off:+.2f} mm" if len(view.names) <= 8 else f"{off:+.2f}"
        axes.annotate(text, (x, y), xytext=(0, -8), textcoords="offset points", ha="center", va="top", fontsize=8)
    if view.payload_kg > 0.0:
        axes.plot(
            [view.payload_mm[0]], [view.payload_mm[1]], marker="X", markersize=10, color=INK, markerfacecolor="white", linestyle="none"
        )
        axes.annotate(f"{view.payload_kg:g} kg", view.payload_mm, xytext=(0, 8), textcoords="offset points", ha="center", fontsize=8)
    axes.set_aspect("equal")
    axes.set_xlim(left - 0.3 * pad, left + width + 0.3 * pad)
    axes.set_ylim(low - 0.5 * pad, low + depth + 0.6 * pad)
    axes.axis("off")
    axes.set_title("plan; joint heights against their mean", loc="left", fontsize=9)


def _edge(along: Sequence[float], off: Sequence[float]) -> tuple[np.ndarray, np.ndarray]:
    """Ends of the straight line that fits the joints best, drawn a little beyond them, shape (2,) each."""
    places = np.asarray(along)
    slope, base = np.polyfit(places, np.asarray(off), 1) if np.ptp(places) > 0.0 else (0.0, float(np.mean(off)))
    pad = 0.08 * max(float(np.ptp(places)), 100.0)
    ends = np.array([places.min() - pad, places.max() + pad])
    return ends, base + slope * ends


def draw_elevation(axes: Axes, view: DeckView, factor: float, sideways: bool = False) -> None:
    """Legs and deck from the front (along y) or from the side (along x); deviations from level times ``factor``."""
    along = view.y_mm if sideways else view.x_mm
    depth = view.x_mm if sideways else view.y_mm
    floor_z = -0.34 * view.reach_mm
    off = [factor * one for one in view.off_level_mm]
    ends, heights = _edge(along, off)
    axes.plot(ends, [0.0, 0.0], color=FAINT, linewidth=0.8, linestyle=(0, (4, 3)))
    axes.plot(ends, [floor_z, floor_z], color="#6b6b67", linewidth=1.0)
    front = min(depth)
    for q, (x, z, behind) in enumerate(zip(along, off, depth, strict=True)):
        place = x if behind <= front + 1e-6 else x + 0.025 * view.reach_mm
        fill = leg_style(q)["color"] if behind <= front + 1e-6 else "white"
        axes.plot(
            [place, place],
            [floor_z, z],
            color=leg_style(q)["color"],
            linewidth=3.2 if behind <= front + 1e-6 else 1.4,
            solid_capstyle="butt",
        )
        axes.plot(
            [place], [z], marker="o", markersize=5, markerfacecolor=fill, markeredgecolor=leg_style(q)["color"], linestyle="none", zorder=5
        )
    axes.plot(ends, heights, color=INK, linewidth=3.0, solid_capstyle="round", zorder=4)
    if view.payload_kg > 0.0:
        centre = view.payload_mm[1] if sideways else view.payload_mm[0]
        height = float(np.interp(centre, ends, heights))
        axes.annotate("", (centre, height), xytext=(centre, height + 0.16 * view.reach_mm), arrowprops={"arrowstyle": "-|>", "color": INK})
    axes.set_aspect("equal")
    axes.set_ylim(floor_z - 0.03 * view.reach_mm, max(*off, *heights.tolist()) + 0.24 * view.reach_mm)
    axes.axis("off")
    side = "side" if sideways else "front"
    axes.set_title(f"elevation from the {side}", loc="left", fontsize=9)


def deck_figure(view: DeckView) -> Figure:
    """Plan and elevations of the deck; the side elevation only where the legs stand in more than one row."""
    two_rows = np.ptp(view.y_mm) > 1e-6 and np.ptp(view.x_mm) > 1e-6
    factor = exaggeration(view)
    with styled():
        figure = Figure(figsize=(WIDTH, 2.7 if two_rows else 2.1), layout="constrained")
        axes = figure.subplots(1, 3 if two_rows else 2, squeeze=False)[0]
        draw_plan(axes[0], view)
        draw_elevation(axes[1], view, factor, sideways=not two_rows and np.ptp(view.x_mm) <= 1e-6 < np.ptp(view.y_mm))
        if two_rows:
            draw_elevation(axes[2], view, factor, sideways=True)
        tilt = f"worst tilt {view.tilt_deg:.3f} deg" if len(view.names) > 1 else "one leg, no tilt"
        exact = "drawn true" if factor == 1.0 else f"deviations from level drawn {factor:g} times too large"
        figure.supxlabel(f"{tilt} at {view.at_s:.2f} s; {exact}", fontsize=9, color=LIMIT if factor != 1.0 else INK)
    return settle(figure)
