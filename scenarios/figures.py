"""Figures of a rehearsal over time: heights and level error, counts, currents and supply.

They get a trace and plain numbers, nothing of the plant or the controller.  ``draw_...`` functions take Axes;
``..._figure`` functions put them together.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from scenarios.figure_flags import Flag, draw_flags
from scenarios.figure_style import BELIEVED, FAINT, INK, LIMIT, clean, leg_style, mode_band, new_figure, plain, settle, styled
from scenarios.summary import MoveResult
from scenarios.tracks import Floats, Tracks, thin

__all__ = [
    "Marks",
    "counts_figure",
    "draw_counts",
    "draw_currents",
    "draw_differences",
    "draw_duty",
    "draw_heights",
    "draw_level",
    "draw_speed",
    "draw_supply",
    "electric_figure",
    "heights_figure",
]

MOST_COUNT_PANELS = 4


@dataclass(frozen=True)
class Marks:
    """What is marked in the figures besides the trace."""

    moves: tuple[MoveResult, ...] = ()
    level_limit_mm: float | None = None
    current_limit_a: float | None = None
    supply_limit_v: float | None = None
    flags: tuple[Flag, ...] = ()


def _line(axes: Axes, time: Floats, values: Floats, **style: object) -> None:
    axes.plot(*thin(time, values), **style)  # type: ignore[arg-type]


def _legend(axes: Axes, columns: int) -> None:
    axes.legend(
        loc="lower right", bbox_to_anchor=(1.0, 1.0), ncols=min(columns, 6), fontsize=8, frameon=False, handlelength=2.6, borderaxespad=0.1
    )


def _per_leg(axes: Axes, tracks: Tracks, signal: str, scale: float) -> None:
    for q, name in enumerate(tracks.names):
        _line(axes, tracks.time, scale * tracks.leg(name, signal), label=plain(name), **leg_style(q))
    if len(tracks.names) > 1:
        _legend(axes, len(tracks.names))


def draw_heights(axes: Axes, tracks: Tracks, marks: Marks) -> None:
    """True heights of the deck joints [mm], targets as thin lines."""
    for move in marks.moves:
        if move.goal_mm is not None:
            end = move.end_s if move.end_s is not None else float(tracks.time[-1])
            axes.plot([move.start_s, end], [move.goal_mm, move.goal_mm], color=FAINT, linewidth=0.8, linestyle=(0, (2, 2)))
    _per_leg(axes, tracks, "height_m", 1e3)
    clean(axes, "true height [mm]; thin dotted: target")


def draw_level(axes: Axes, tracks: Tracks, marks: Marks) -> None:
    """Level error [mm]: true (dark, solid) and as the controller counts it (dashed); peaks and limit marked."""
    time, true = tracks.time, 1e3 * tracks.whole("level_error_m")
    axes.fill_between(*thin(time, true), color="#e9e8e3", linewidth=0)
    _line(axes, time, true, color=INK, linewidth=1.3, label="true")
    _line(axes, time, 1e3 * tracks.whole("believed_error_m"), color=BELIEVED, linestyle=(0, (4, 1.6)), linewidth=1.2, label="as counted")
    for move in marks.moves:
        if move.peak_s is not None and move.level.peak_mm is not None:
            axes.plot(
                [move.peak_s],
                [move.level.peak_mm],
                marker="o",
                markersize=5,
                markerfacecolor="white",
                markeredgecolor=INK,
                linestyle="none",
            )
    top = float(np.nanmax(true)) if len(true) else 0.0
    clean(axes, "level error, highest minus lowest joint [mm]; circle: peak of a move")
    axes.set_ylim(0.0, max(1.18 * top, 0.1))
    if marks.level_limit_mm is not None:
        _limit(axes, marks.level_limit_mm, f"limit {marks.level_limit_mm:g} mm", top)
    _legend(axes, 2)


def _limit(axes: Axes, value: float, text: str, top: float) -> None:
    """Limit line, or a word at the upper edge where it lies far outside of what happened."""
    if value <= 2.5 * top or top <= 0.0:
        axes.axhline(value, color=LIMIT, linewidth=1.0, linestyle=(0, (6, 2, 1, 2)))
        axes.set_ylim(0.0, max(axes.get_ylim()[1], 1.15 * value))
        axes.annotate(
            text, (0.004, value), xycoords=("axes fraction", "data"), xytext=(0, 2), textcoords="offset points", fontsize=8, color=LIMIT
        )
    else:
        axes.annotate(f"{text} (above this scale)", (0.995, 0.96), xycoords="axes fraction", ha="right", va="top", fontsize=8, color=LIMIT)


def draw_speed(axes: Axes, tracks: Tracks) -> None:
    """Lifting speed of each leg [mm/s], up positive."""
    _per_leg(axes, tracks, "speed_m_s", 1e3)
    clean(axes, "true speed [mm/s]")


def heights_figure(tracks: Tracks, marks: Marks) -> Figure:
    """Heights, level error, speed and modes over time."""
    with styled():
        figure, axes = new_figure((1.75, 1.75, 1.3, 0.26))
        draw_heights(axes[0], tracks, marks)
        draw_level(axes[1], tracks, marks)
        draw_speed(axes[2], tracks)
        mode_band(axes[3], tracks)
        draw_flags(axes, marks.flags)
    return settle(figure)


def _jumps(tracks: Tracks, name: str, signal: str) -> Floats:
    """Times at which a counter of a leg went up [s], shape (jumps,), at most about 400 of them."""
    rows = np.flatnonzero(np.diff(tracks.leg(name, signal)) > 0) + 1
    return tracks.time[rows[:: max(1, len(rows) // 400)]]


def _mark(axes: Axes, at: Floats, time: Floats, values: Floats, missed: bool) -> None:
    axes.plot(
        at,
        np.interp(at, time, values),
        linestyle="none",
        marker="v" if missed else "^",
        markersize=5.5,
        markerfacecolor="white" if missed else INK,
        markeredgecolor=INK,
        markeredgewidth=0.9,
        zorder=5,
    )


def draw_counts(axes: Axes, tracks: Tracks, name: str) -> None:
    """Commutations of one leg since the start: true (dark, solid) and heard (dashed), with missed and extra ones marked."""
    time = tracks.time
    true, heard = tracks.leg(name, "commuted"), tracks.leg(name, "heard")
    true, heard = true - true[0], heard - heard[0]
    _line(axes, time, true, color=INK, linewidth=1.2, label="true")
    _line(axes, time, heard, color=leg_style(tracks.names.index(name))["color"], linewidth=1.8, linestyle=(0, (4, 2.2)), label="heard")
    _mark(axes, _jumps(tracks, name, "missed"), time, true, missed=True)
    _mark(axes, _jumps(tracks, name, "extra"), time, heard, missed=False)
    lost, more = (int(tracks.leg(name, one)[-1] - tracks.leg(name, one)[0]) for one in ("missed", "extra"))
    clean(axes, f"{plain(name)}: counts, {lost} missed, {more} extra")


def draw_differences(axes: Axes, tracks: Tracks) -> None:
    """Heard minus true counts of every leg since the start, stepwise, with missed and extra ones marked."""
    time = tracks.time
    for q, name in enumerate(tracks.names):
        gap = tracks.leg(name, "heard") - tracks.leg(name, "commuted")
        gap = gap - gap[0]
        axes.step(*thin(time, gap), where="post", label=plain(name), **leg_style(q))
        _mark(axes, _jumps(tracks, name, "missed"), time, gap, missed=True)
        _mark(axes, _jumps(tracks, name, "extra"), time, gap, missed=False)
    axes.axhline(0.0, color=FAINT, linewidth=0.7)
    clean(axes, "heard minus true [counts]; open triangle: missed, filled: extra")
    low, high = axes.get_ylim()
    axes.set_ylim(min(low - 0.08 * (high - low), -1.5), max(high + 0.08 * (high - low), 1.5))
    if len(tracks.names) > 1:
        _legend(axes, len(tracks.names))


def _most_wrong(tracks: Tracks) -> Sequence[str]:
    """Legs shown in a panel of their own: all of them, or those with the largest gap between heard and true."""
    gaps = {
        name: float(np.max(np.abs(np.diff(tracks.leg(name, "heard") - tracks.leg(name, "commuted"), prepend=0.0)))) for name in tracks.names
    }
    chosen = sorted(tracks.names, key=lambda name: -gaps[name])[:MOST_COUNT_PANELS]
    return [name for name in tracks.names if name in chosen]


def counts_figure(tracks: Tracks, flags: Sequence[Flag] = ()) -> Figure:
    """Counts true against heard for up to four legs, and the difference for all of them."""
    with styled():
        shown = _most_wrong(tracks)
        figure, axes = new_figure((*([1.15] * len(shown)), 1.45, 0.26))
        for one, name in zip(axes, shown, strict=False):
            draw_counts(one, tracks, name)
        _legend(axes[0], 2)
        draw_differences(axes[-2], tracks)
        mode_band(axes[-1], tracks)
        draw_flags(axes, flags)
    return settle(figure)


def draw_currents(axes: Axes, tracks: Tracks, marks: Marks) -> None:
    """Motor current of each leg [A]: true in the style of the leg, as measured thin and grey behind it."""
    for name in tracks.names:
        _line(axes, tracks.time, tracks.leg(name, "measured_current_a"), color="#bdbcb6", linewidth=0.8)
    _per_leg(axes, tracks, "current_a", 1.0)
    clean(axes, "motor current [A]; grey behind: as measured")
    if marks.current_limit_a is not None:
        _limit_if_near(axes, marks.current_limit_a, f"limit {marks.current_limit_a:g} A")


def _limit_if_near(axes: Axes, value: float, text: str) -> None:
    low, high = axes.get_ylim()
    if low - 0.5 * (high - low) <= value <= high + 0.5 * (high - low):
        axes.axhline(value, color=LIMIT, linewidth=1.0, linestyle=(0, (6, 2, 1, 2)))
        axes.annotate(
            text, (0.004, value), xycoords=("axes fraction", "data"), xytext=(0, 2), textcoords="offset points", fontsize=8, color=LIMIT
        )


def draw_duty(axes: Axes, tracks: Tracks) -> None:
    """Duty commanded to each leg; zero while coasting or braking."""
    _per_leg(axes, tracks, "duty", 1.0)
    clean(axes, "duty, up positive")


def draw_supply(axes: Axes, tracks: Tracks, marks: Marks) -> None:
    """Supply voltage [V]."""
    _line(axes, tracks.time, tracks.whole("supply_v"), color=INK, linewidth=1.2)
    clean(axes, "supply voltage [V]")
    if marks.supply_limit_v is not None:
        _limit_if_near(axes, marks.supply_limit_v, f"least {marks.supply_limit_v:g} V")


def electric_figure(tracks: Tracks, marks: Marks) -> Figure:
    """Currents, duty, supply and modes over time."""
    with styled():
        figure, axes = new_figure((1.75, 1.15, 1.15, 0.26))
        draw_currents(axes[0], tracks, marks)
        draw_duty(axes[1], tracks)
        draw_supply(axes[2], tracks, marks)
        mode_band(axes[3], tracks)
        draw_flags(axes, marks.flags)
    return settle(figure)
