"""Figures of a loop: Bode, Nyquist, sensitivity, responses, poles, maps over gains and ticks, measured over predicted.

They get plain arrays (``scenarios.loop_data``), nothing of the plant or the controller.  ``draw_...`` functions take Axes;
``..._figure`` functions put them together.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import isfinite
from typing import Any, Literal

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from scenarios.figure_style import BELIEVED, FAINT, INK, LIMIT, WIDTH, clean, leg_style, plain, settle, styled
from scenarios.loop_data import LoopCurves, MeasuredMode, Region, Steps, TickMap

__all__ = [
    "draw_gain",
    "draw_load_step",
    "draw_measured",
    "draw_nyquist",
    "draw_phase",
    "draw_poles",
    "draw_region",
    "draw_sensitivity",
    "draw_step",
    "draw_tick_map",
    "loop_figure",
    "map_figure",
    "measured_figure",
    "time_figure",
]

_PEAKS = (1.2, 1.5, 2.0, 3.0)
"""Sensitivity peaks whose contours are drawn."""
_DOTTED: Any = (0, (2, 2))


def _legend(axes: Axes, place: Literal["best", "upper left", "lower right"] = "best") -> None:
    axes.legend(loc=place, fontsize=7.5, frameon=False, handlelength=2.6)


def _note(axes: Axes, text: str, at: tuple[float, float], side: Literal["left", "right"]) -> None:
    """Words beside a point; ``side``: which of their ends is at it."""
    shift = 4 if side == "left" else -4
    box = {"facecolor": "white", "alpha": 0.8, "edgecolor": "none", "pad": 1.0}
    axes.annotate(text, at, fontsize=8, ha=side, va="center", xytext=(shift, 0), textcoords="offset points", bbox=box)


def _frequency(axes: Axes, title: str) -> None:
    clean(axes, title)
    axes.set_xscale("log")
    axes.set_xlabel("frequency [rad/s]", loc="right")


def _decibel(values: Any) -> Any:
    return 20.0 * np.log10(np.maximum(np.abs(values), 1e-12))


def _span(curves: LoopCurves) -> tuple[float, float]:
    """Frequencies worth showing: two decades below the crossover up to the Nyquist frequency."""
    slow = curves.marks.crossover if isfinite(curves.marks.crossover) else curves.omega[len(curves.omega) // 2]
    return max(float(curves.omega[0]), 0.01 * slow), float(curves.omega[-1])


def draw_gain(axes: Axes, curves: LoopCurves) -> None:
    """Magnitude of every locus [dB], the gain margin marked."""
    for k, mode in enumerate(curves.modes):
        axes.plot(curves.omega, _decibel(curves.loci[:, k]), label=mode, **leg_style(k))
    axes.axhline(0.0, color=FAINT, linewidth=0.7)
    marks = curves.marks
    if isfinite(marks.phase_crossover) and isfinite(marks.gain) and marks.gain > 0.0:
        axes.plot([marks.phase_crossover] * 2, [-_decibel(marks.gain), 0.0], color=LIMIT, linewidth=1.2)
        _note(axes, f"gain margin {marks.gain:.3g}", (marks.phase_crossover, -0.5 * _decibel(marks.gain)), "right")
    _frequency(axes, f"{plain(curves.name)}: loop gain [dB]")
    axes.set_xlim(*_span(curves))
    _window(axes, curves, _decibel(curves.loci))
    if len(curves.modes) > 1:
        _legend(axes)


def _window(axes: Axes, curves: LoopCurves, values: Any) -> None:
    """Fit the vertical axis to what lies between the shown frequencies."""
    low, high = _span(curves)
    shown = values[(curves.omega >= low) & (curves.omega <= high)]
    axes.set_ylim(float(shown.min()) - 3.0, float(shown.max()) + 3.0)


def draw_phase(axes: Axes, curves: LoopCurves) -> None:
    """Phase of every locus [deg], the phase margin marked."""
    turned = []
    for k, mode in enumerate(curves.modes):
        phase = np.degrees(np.unwrap(np.angle(curves.loci[:, k])))
        middle = int(np.argmin(np.abs(_decibel(curves.loci[:, k]))))
        phase -= 360.0 * np.ceil(phase[middle] / 360.0 - 1e-9)  # between -360 and 0 at its crossover
        axes.plot(curves.omega, phase, label=mode, **leg_style(k))
        turned.append(phase)
    axes.axhline(-180.0, color=FAINT, linewidth=0.7)
    marks = curves.marks
    if isfinite(marks.crossover) and isfinite(marks.phase):
        axes.plot([marks.crossover] * 2, [-180.0, marks.phase - 180.0], color=LIMIT, linewidth=1.2)
        _note(axes, f"phase margin {marks.phase:.1f} deg", (marks.crossover, 0.5 * marks.phase - 180.0), "left")
    _frequency(axes, "phase [deg]")
    axes.set_xlim(*_span(curves))
    low, high = _span(curves)
    shown = np.stack(turned, axis=1)[(curves.omega >= low) & (curves.omega <= high)]
    axes.set_ylim(max(float(shown.min()), -540.0) - 10.0, float(shown.max()) + 10.0)


def draw_nyquist(axes: Axes, curves: LoopCurves) -> None:
    """Loci in the complex plane about the critical point, with the circle that the sensitivity peak leaves free."""
    for k, mode in enumerate(curves.modes):
        axes.plot(curves.loci[:, k].real, curves.loci[:, k].imag, label=mode, **leg_style(k))
    turn = np.linspace(0.0, 2.0 * np.pi, 181)
    if curves.marks.stable and curves.marks.sensitivity > 0.0:
        radius = 1.0 / curves.marks.sensitivity
        axes.plot(radius * np.cos(turn) - 1.0, radius * np.sin(turn), color=LIMIT, linewidth=1.0, linestyle=(0, (6, 2, 1, 2)))
    axes.plot(np.cos(turn), np.sin(turn), color=FAINT, linewidth=0.7, linestyle=_DOTTED)
    axes.plot([-1.0], [0.0], marker="+", markersize=9, color=INK, linestyle="none")
    clean(axes, "Nyquist loci; dash-dotted: 1/Ms about -1")
    axes.set_xlim(-2.2, 1.2)
    axes.set_ylim(-1.9, 1.5)
    axes.set_aspect("equal", adjustable="box")
    axes.set_xlabel("real", loc="right")


def draw_sensitivity(axes: Axes, curves: Sequence[LoopCurves]) -> None:
    """Sensitivity of one or several loops [-], peaks marked; dashed: 1.5."""
    for k, one in enumerate(curves):
        axes.plot(one.omega, one.sensitivity, label=f"{plain(one.name)}: Ms {one.marks.sensitivity:.3g}", **leg_style(k))
        axes.plot([one.marks.sensitivity_at], [one.marks.sensitivity], marker="o", markersize=5, mfc="white", mec=INK, linestyle="none")
    axes.axhline(1.5, color=LIMIT, linewidth=0.9, linestyle=(0, (6, 2)))
    _frequency(axes, "sensitivity [-]")
    axes.set_xlim(*_span(curves[0]))
    axes.set_ylim(0.0, max(2.0, 1.15 * min(max(one.marks.sensitivity for one in curves), 6.0)))
    _legend(axes, "upper left")


def draw_poles(axes: Axes, curves: LoopCurves) -> None:
    """Closed-loop poles in the z plane; those outside the unit circle are told by a cross of another colour."""
    turn = np.linspace(0.0, 2.0 * np.pi, 181)
    axes.plot(np.cos(turn), np.sin(turn), color=FAINT, linewidth=0.8)
    outside = np.abs(curves.poles) >= 1.0
    for keep, colour, marker in ((~outside, BELIEVED, "x"), (outside, LIMIT, "X")):
        axes.plot(curves.poles[keep].real, curves.poles[keep].imag, color=colour, marker=marker, markersize=6, linestyle="none")
    clean(axes, f"closed-loop poles, {int(outside.sum())} outside the circle")
    axes.set_aspect("equal", adjustable="box")
    axes.margins(0.06)
    axes.set_xlabel("real", loc="right")


def draw_step(axes: Axes, steps: Steps) -> None:
    """Each mode asked to move by 1."""
    for k, mode in enumerate(steps.modes):
        axes.step(steps.time, steps.aims[:, k], where="post", label=mode, **leg_style(k))
    axes.axhline(1.0, color=FAINT, linewidth=0.7)
    clean(axes, "step asked of each mode [-]")
    axes.set_xlabel("time [s]", loc="right")
    _legend(axes, "lower right")


def draw_load_step(axes: Axes, steps: Steps) -> None:
    """Heights of the legs against their mean after a load [mm]."""
    for k, leg in enumerate(steps.legs):
        axes.step(steps.time, steps.loads[:, k], where="post", label=plain(leg), **leg_style(k))
    axes.axhline(0.0, color=FAINT, linewidth=0.7)
    clean(axes, f"{plain(steps.load)}: height against the mean [mm]")
    axes.set_xlabel("time [s]", loc="right")
    _legend(axes)


def draw_region(axes: Axes, region: Region) -> None:
    """Stable gains with contours of the worst sensitivity peak; hatched: some corner is unstable."""
    held = np.ma.masked_invalid(region.peak)
    bad = axes.contourf(region.kc, region.ki, (~np.isfinite(region.peak)).astype(float), levels=[0.5, 2.0], colors=["#e3e2dd"])
    bad.set_hatch("///")
    finite = region.peak[np.isfinite(region.peak)]
    levels = [level for level in _PEAKS if len(finite) and finite.min() < level < finite.max()]
    if levels:
        dashes = ["-", "--", "-.", ":"][: len(levels)]
        lines = axes.contour(region.kc, region.ki, held, levels=levels, colors=INK, linewidths=0.9, linestyles=dashes)
        axes.clabel(lines, fmt="Ms %g", fontsize=7.5)
    axes.plot(*([value] for value in region.chosen), marker="o", markersize=6, mfc="white", mec=LIMIT, mew=1.6, linestyle="none")
    clean(axes, f"worst Ms at {region.corners} corners; hatched: unstable")
    if region.kc.min() > 0.0 and region.ki.min() > 0.0:
        axes.set_xscale("log")
        axes.set_yscale("log")
    axes.set_xlabel("Kc [1/mm]; circle: settings", loc="right")
    axes.set_ylabel("Ki [1/(mm s)]")


def draw_tick_map(axes: Axes, found: TickMap) -> None:
    """Kc [1/mm] against the control tick: boundary of stability, and the gain at each sensitivity peak."""
    axes.plot(found.tick, found.boundary, color=LIMIT, linewidth=1.6, label="boundary of stability")
    for k, (level, gains) in enumerate(sorted(found.levels.items())):
        axes.plot(found.tick, gains, label=f"Ms {level:g}", **leg_style(k))
    axes.plot([found.chosen[0]], [found.chosen[1]], marker="o", markersize=6, mfc="white", mec=INK, linestyle="none", label="settings")
    clean(axes, "largest Kc against the control tick [1/mm]")
    axes.set_yscale("log")
    axes.set_xlabel("control tick [ms]", loc="right")
    _legend(axes)


def draw_measured(gain: Axes, phase: Axes, found: MeasuredMode) -> None:
    """Height per duty of one mode: predicted curve, measured points; dotted: crossover."""
    gain.plot(found.line_omega, _decibel(found.line), color=BELIEVED, linestyle=(0, (4, 1.6)), linewidth=1.4, label="predicted")
    gain.plot(found.omega, _decibel(found.measured), color=INK, marker="o", mfc="white", linestyle="none", label="measured")
    phase.plot(found.line_omega, np.degrees(np.unwrap(np.angle(found.line))), color=BELIEVED, linestyle=(0, (4, 1.6)), linewidth=1.4)
    told = np.interp(np.log(found.omega), np.log(found.line_omega), np.unwrap(np.angle(found.line)))
    near = told + np.angle(found.measured * np.exp(-1j * told))
    phase.plot(found.omega, np.degrees(near), color=INK, marker="o", mfc="white", linestyle="none")
    for axes in (gain, phase):
        axes.axvline(found.crossover, color=FAINT, linewidth=0.8, linestyle=_DOTTED)
    _frequency(gain, f"{plain(found.mode)}: height per duty [dB of mm]")
    _frequency(phase, "phase [deg]")
    _legend(gain)


def loop_figure(curves: LoopCurves) -> Figure:
    """Bode, Nyquist, sensitivity and poles of one loop."""
    with styled():
        figure = Figure(figsize=(WIDTH, 6.6), layout="constrained")
        grid = figure.subplots(3, 2)
        draw_gain(grid[0][0], curves)
        draw_phase(grid[1][0], curves)
        draw_sensitivity(grid[2][0], [curves])
        draw_nyquist(grid[0][1], curves)
        draw_poles(grid[1][1], curves)
        grid[2][1].set_axis_off()
    return settle(figure)


def time_figure(steps: Steps) -> Figure:
    """Step and load step."""
    with styled():
        figure = Figure(figsize=(WIDTH, 2.6), layout="constrained")
        left, right = figure.subplots(1, 2)
        draw_step(left, steps)
        draw_load_step(right, steps)
    return settle(figure)


def map_figure(region: Region, ticks: TickMap) -> Figure:
    """Stable gains, and gains against the tick."""
    with styled():
        figure = Figure(figsize=(WIDTH, 3.0), layout="constrained")
        left, right = figure.subplots(1, 2)
        draw_region(left, region)
        draw_tick_map(right, ticks)
    return settle(figure)


def measured_figure(modes: Sequence[MeasuredMode]) -> Figure:
    """Measured over predicted, one column a mode."""
    with styled():
        figure = Figure(figsize=(WIDTH, 3.6), layout="constrained")
        grid = figure.subplots(2, len(modes), squeeze=False, sharex="col")
        for k, one in enumerate(modes):
            draw_measured(grid[0][k], grid[1][k], one)
    return settle(figure)
