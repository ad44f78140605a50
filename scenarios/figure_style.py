"""How figures look: colours and line styles for legs, the band of modes, and writing SVG for a page or PNG for a file.

Colours are Okabe and Ito's; a leg is told by colour and line style together, never by colour alone.  Dark solid is what is
true, dashed is what the controller hears or believes.
"""

from __future__ import annotations

import io
import re
from collections.abc import Sequence
from contextlib import AbstractContextManager
from html import escape
from typing import Any

import matplotlib as mpl
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from scenarios.tracks import Tracks, steps

__all__ = [
    "BELIEVED",
    "FAINT",
    "INK",
    "LIMIT",
    "MODE_NAMES",
    "WIDTH",
    "clean",
    "leg_style",
    "mode_band",
    "new_figure",
    "plain",
    "settle",
    "styled",
    "to_png",
    "to_svg",
]

INK = "#1a1a1a"
FAINT = "#8a8a86"
BELIEVED = "#0072B2"
LIMIT = "#D55E00"
WIDTH = 7.4
"""Width of a figure [inch]."""

MODE_NAMES = ("unreferenced", "homing", "ready", "moving", "settling", "retreating", "faulted")
_MODE_FILL = ("#ffffff", "#d7d2e4", "#f1f0ec", "#cfe0ec", "#e8e2d0", "#f3d9c4", "#5b5b57")
_MODE_HATCH = ("....", "///", "", "", "\\\\\\", "xx", "")

_COLOURS = ("#0072B2", "#E69F00", "#CC79A7", "#000000", "#56B4E9", "#009E73")
_DASHES: tuple[Any, ...] = ("-", (0, (5, 1.6)), (0, (5, 1.4, 1, 1.4)), (0, (1.2, 1.2)))

_SETTINGS: dict[Any, Any] = {
    "svg.hashsalt": "levelrig",
    "svg.fonttype": "none",
    "font.family": "sans-serif",
    "font.sans-serif": ["Source Sans 3", "Noto Sans", "Liberation Sans", "DejaVu Sans"],
    "font.size": 9.0,
    "axes.edgecolor": "#6b6b67",
    "axes.linewidth": 0.7,
    "axes.labelcolor": INK,
    "text.color": INK,
    "xtick.color": "#4a4a47",
    "ytick.color": "#4a4a47",
    "hatch.linewidth": 0.5,
    "hatch.color": "#9a9a96",
}


def leg_style(index: int) -> dict[str, Any]:
    """Colour and line style of leg ``index``; the pair is different for each of 16 legs."""
    colours = len(_COLOURS)
    return {"color": _COLOURS[index % colours], "linestyle": _DASHES[(index + index // colours) % len(_DASHES)], "linewidth": 1.3}


def styled() -> AbstractContextManager[None]:
    """Context in which figures are put together and drawn."""
    return mpl.rc_context(_SETTINGS)


def plain(name: str) -> str:
    """Name from a file, so that it is drawn as it stands: no mathematics, no label hidden by an underscore."""
    shown = name.replace("$", r"\$")
    return f"\u200b{shown}" if shown.startswith("_") else shown


def new_figure(heights: Sequence[float]) -> tuple[Figure, list[Axes]]:
    """Figure with one column of axes of the given heights [inch], sharing the time axis."""
    figure = Figure(figsize=(WIDTH, sum(heights) + 0.45), layout="constrained")
    grid = figure.subplots(len(heights), 1, sharex=True, squeeze=False, gridspec_kw={"height_ratios": list(heights)})
    return figure, [row[0] for row in grid]


def settle(figure: Figure) -> Figure:
    """Lay the figure out once and for all, places rounded.

    The solver of the layout ends on different last digits in different runs, and those would show in the bytes of an SVG.
    """
    engine = figure.get_layout_engine()
    if engine is not None:
        with styled():
            engine.execute(figure)
    figure.set_layout_engine("none")
    for axes in figure.axes:
        place = axes.get_position(original=True)
        axes.set_position((round(place.x0, 4), round(place.y0, 4), round(place.width, 4), round(place.height, 4)))
    return figure


def clean(axes: Axes, label: str) -> None:
    """Quiet frame: no right and top spine, light grid, the label above the axis where it reads across."""
    axes.spines["top"].set_visible(False)
    axes.spines["right"].set_visible(False)
    axes.grid(axis="both", color="#e4e3de", linewidth=0.6)
    axes.set_axisbelow(True)
    axes.set_title(label, loc="left", fontsize=9, pad=6)
    axes.margins(x=0.0)


def mode_band(axes: Axes, tracks: Tracks) -> None:
    """Band of the controller's modes along the time axis; short stretches carry no word, the legend of the page names all."""
    time = tracks.time
    whole = float(time[-1] - time[0]) or 1.0
    for start, end, value in steps(time, tracks.whole("mode")):
        mode = min(max(int(value), 0), len(MODE_NAMES) - 1)
        axes.axvspan(start, end, facecolor=_MODE_FILL[mode], hatch=_MODE_HATCH[mode], edgecolor="#9a9a96", linewidth=0.4)
        if (end - start) / whole > 0.014 * len(MODE_NAMES[mode]):
            colour = "white" if mode == len(MODE_NAMES) - 1 else INK
            axes.text(
                0.5 * (start + end),
                0.5,
                MODE_NAMES[mode],
                ha="center",
                va="center",
                fontsize=8,
                color=colour,
                transform=axes.get_xaxis_transform(),
            )
    axes.set_ylim(0.0, 1.0)
    axes.set_yticks([])
    axes.set_title("mode of the controller", loc="left", fontsize=9, pad=4)
    axes.set_xlabel("time [s]", loc="right")
    axes.margins(x=0.0)


def to_svg(figure: Figure, prefix: str, title: str) -> str:
    """Inline SVG whose ids all start with ``prefix``, so that several can stand on one page; ``title`` is read aloud."""
    text = io.StringIO()
    with styled():
        figure.savefig(text, format="svg", metadata={"Date": None, "Creator": None, "Format": None, "Type": None})
    svg = text.getvalue()
    svg = svg[svg.index("<svg") :]
    svg = re.sub(r"<metadata>.*?</metadata>\s*", "", svg, flags=re.DOTALL)
    svg = re.sub(r'\bid="', f'id="{prefix}-', svg)
    svg = re.sub(r"url\(#", f"url(#{prefix}-", svg)
    svg = re.sub(r'href="#', f'href="#{prefix}-', svg)
    svg = re.sub(r'(<svg[^>]*?) width="[^"]*"', r"\1", svg, count=1)
    svg = re.sub(r'(<svg[^>]*?) height="[^"]*"', r"\1", svg, count=1)
    return svg.replace("<svg", f'<svg role="img" aria-label="{escape(title)}"', 1)


def to_png(figure: Figure) -> bytes:
    """PNG of the figure at 150 dots per inch."""
    raw = io.BytesIO()
    with styled():
        figure.savefig(raw, format="png", dpi=150, metadata={"Software": None})
    return raw.getvalue()
