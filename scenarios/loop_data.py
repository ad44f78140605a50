"""What the figures of a loop are drawn from: plain arrays, nothing of machine or controller."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

__all__ = ["LoopCurves", "MarginMarks", "MeasuredMode", "Region", "Steps", "TickMap"]

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]


@dataclass(frozen=True)
class MarginMarks:
    """Margins that are marked: gain [-], phase [deg], sensitivity peak [-], and where each lies [rad/s]."""

    gain: float
    phase: float
    sensitivity: float
    crossover: float
    phase_crossover: float
    sensitivity_at: float
    stable: bool


@dataclass(frozen=True)
class LoopCurves:
    """One loop along the frequencies.

    Attributes
    ----------
    name : str
        What it is, for the legend.
    modes : tuple of str
        M relative modes.
    omega : numpy.ndarray
        Shape (F,) [rad/s].
    loci : numpy.ndarray
        Shape (F, M), eigenvalue loci of the loop.
    sensitivity : numpy.ndarray
        Shape (F,), largest singular value [-].
    poles : numpy.ndarray
        Closed-loop poles in the z plane.
    marks : MarginMarks
        Where the margins lie.
    """

    name: str
    modes: tuple[str, ...]
    omega: Array
    loci: Complex
    sensitivity: Array
    poles: Complex
    marks: MarginMarks


@dataclass(frozen=True)
class Steps:
    """Responses in time of the linear loop.

    Attributes
    ----------
    time : numpy.ndarray
        Shape (K,) [s].
    aims : numpy.ndarray
        Shape (K, M): each mode asked to move by 1 [-].
    loads : numpy.ndarray
        Shape (K, N): heights of the legs [mm] after the load.
    modes, legs : tuple of str
        Names.
    load : str
        The load in words.
    """

    time: Array
    aims: Array
    loads: Array
    modes: tuple[str, ...]
    legs: tuple[str, ...]
    load: str


@dataclass(frozen=True)
class Region:
    """Worst sensitivity peak over Kc [1/mm], shape (X,), and Ki [1/(mm s)], shape (Y,): (Y, X); inf where a corner is unstable.

    ``chosen`` is the pair of gains that the settings hold, ``corners`` in how many corners each pair was judged.
    """

    kc: Array
    ki: Array
    peak: Array
    chosen: tuple[float, float]
    corners: int


@dataclass(frozen=True)
class TickMap:
    """Against the control tick [ms], shape (T,): Kc [1/mm] at the boundary of stability and at each sensitivity peak.

    ``levels`` maps a sensitivity peak to its gains, shape (T,); ``chosen`` is tick and gain of the settings.
    """

    tick: Array
    boundary: Array
    levels: dict[float, Array]
    chosen: tuple[float, float]


@dataclass(frozen=True)
class MeasuredMode:
    """Measured points of one mode on its predicted curve, height per duty [mm]; frequencies [rad/s]."""

    mode: str
    crossover: float
    omega: Array
    measured: Complex
    line_omega: Array
    line: Complex
