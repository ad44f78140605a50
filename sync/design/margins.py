"""Margins of a loop from its eigenvalue loci on a grid of frequencies of our own.

An automatic grid starts above a slow crossover and then tells a wrong margin; the grid is therefore given with the loop, and
every crossing found on it is refined on the loop itself.  One scalar loop has one locus; N legs have N - 1, the eigenvalues of
the loop matrix, followed by continuity (generalised Nyquist).

Signs: a stable loop has a gain margin above 1, a positive phase margin and a positive delay margin.  An unstable one is told
by the crossing nearest to the critical point: the gain that would just hold it (below 1), the phase that is missing.

Source: MacFarlane and Postlethwaite, generalised Nyquist criterion (1977), from memory; disk margin as the peak of the
sensitivity, Astrom and Murray, *Feedback Systems*, from memory.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from math import inf, log, nan, pi

import numpy as np

from sync.design.basis import Array, Complex

__all__ = ["Crossing", "Loci", "Margins", "locus_margins", "real_axis_crossings", "tracked", "turns", "winding"]

_TURN = 2.0 * pi
_COARSE = 1.0  # rad
_POINTS = (4_000, 32_000, 256_000)


@dataclass(frozen=True)
class Margins:
    """How far a loop is from instability.

    Attributes
    ----------
    gain : float
        Gain margin [-]: factor on every gain at which the loop becomes unstable; inf if none does.
    phase : float
        Phase margin [deg].
    delay : float
        Delay margin [s]: further delay in every channel that makes it unstable.
    sensitivity : float
        Peak Ms of the sensitivity [-], the largest singular value over all frequencies: 1/Ms is the disk margin.
    crossover : float
        Gain crossover of the phase margin [rad/s].
    gain_low : float
        Factor below 1 at which a conditionally stable loop becomes unstable; 0 if none does.
    phase_crossover : float
        Frequency of the gain margin [rad/s].
    sensitivity_at : float
        Frequency of the peak [rad/s].
    stable : bool
        By closed-loop poles where the loop has them, else by encirclements.
    radius : float
        Largest magnitude of a closed-loop pole of a sampled loop [-]; nan for a continuous one.
    mode : str
        Mode of the lift in which the gain margin lies.
    """

    gain: float
    phase: float
    delay: float
    sensitivity: float
    crossover: float
    gain_low: float = 0.0
    phase_crossover: float = nan
    sensitivity_at: float = nan
    stable: bool = True
    radius: float = nan
    mode: str = ""


@dataclass(frozen=True)
class Crossing:
    """A locus at one frequency [rad/s]."""

    omega: float
    value: complex
    locus: int


@dataclass(frozen=True)
class Loci:
    """Loci on a grid, and the loop behind them.

    Attributes
    ----------
    omega : numpy.ndarray
        Shape (F,), ascending [rad/s].
    values : numpy.ndarray
        Shape (F, M), each column one locus.
    at : callable
        All M eigenvalues at one frequency.
    ends_real : bool
        Whether the last point lies on the real axis by itself, as at the Nyquist frequency of a sampled loop.
    """

    omega: Array
    values: Complex
    at: Callable[[float], Complex]
    ends_real: bool = False


def _follow(before: Complex, now: Complex) -> list[int]:
    """Order of the values ``now`` in which each follows the nearest of those ``before``, nearest pair first."""
    gaps = np.abs(before[:, None] - now[None, :])
    order = [0] * len(before)
    for _ in order:
        here, there = np.unravel_index(int(np.argmin(gaps)), gaps.shape)
        order[int(here)] = int(there)
        gaps[here, :] = inf
        gaps[:, there] = inf
    return order


def tracked(eigenvalues: Complex) -> Complex:
    """Sort the eigenvalues of each row, shape (F, M), so that every column is continuous: nearest first."""
    values = eigenvalues.copy()
    own = np.arange(values.shape[1])
    gaps = np.abs(eigenvalues[:-1, :, None] - eigenvalues[1:, None, :])
    order: list[int] = own.tolist()
    # rows that follow the one before in the order they stand in, or nearly equal loci, need no work: most of them
    swaps = np.any(gaps.min(axis=2) < gaps[:, own, own] - 1e-6 * np.abs(eigenvalues[1:]), axis=1)
    for k in range(1, len(values)):
        if swaps[k - 1]:
            step = _follow(eigenvalues[k - 1], eigenvalues[k])
            order = [step[column] for column in order]
        if order != own.tolist():
            values[k] = eigenvalues[k][order]
    return values


def _refined(loci: Loci, place: int, locus: int, miss: Callable[[complex], float]) -> Crossing:
    """Where ``miss`` of a locus is zero between grid points ``place`` and ``place`` + 1: false position, Illinois form."""
    low, high = float(loci.omega[place]), float(loci.omega[place + 1])
    first, last = complex(loci.values[place, locus]), complex(loci.values[place + 1, locus])
    below, above = miss(first), miss(last)
    omega, value = (low, first) if below == 0.0 else (high, last)
    side = 0
    for _ in range(80):
        if below == above or high - low <= 1e-14 * high:
            break
        omega = (low * above - high * below) / (above - below)
        share = (omega - low) / (high - low)
        near = first + share * (last - first)
        found = loci.at(omega)
        value = complex(found[int(np.argmin(np.abs(found - near)))])
        rest = miss(value)
        if abs(rest) < 1e-13:
            break
        if (rest > 0.0) == (above > 0.0):
            high, last, above = omega, value, rest
            below = 0.5 * below if side == 1 else below
            side = 1
        else:
            low, first, below = omega, value, rest
            above = 0.5 * above if side == -1 else above
            side = -1
    return Crossing(omega, value, locus)


def _crossed(misses: Array) -> list[tuple[int, int]]:
    """Grid interval and locus of every change of sign, ``misses`` of shape (F, M)."""
    up = misses >= 0.0
    places, loci = np.nonzero(up[1:] != up[:-1])
    return [(int(place), int(locus)) for place, locus in zip(places, loci, strict=True)]


def _gain_crossovers(loci: Loci) -> list[Crossing]:
    places = _crossed(np.abs(loci.values) - 1.0)
    return [_refined(loci, place, locus, lambda value: abs(value) - 1.0) for place, locus in places]


def real_axis_crossings(loci: Loci) -> list[Crossing]:
    """Every crossing of the negative real axis.

    Also where a locus ends on it: at rest, without an integrator, and on a sampled loop at the Nyquist frequency.
    """
    first, second = loci.values[0], loci.values[1]
    still = (first.real < 0.0) & (np.abs(second - first) < 1e-3 * np.abs(first))
    found = [Crossing(float(loci.omega[0]), complex(first[q].real), int(q)) for q in np.flatnonzero(still)]
    for place, locus in _crossed(loci.values.imag):
        ends = loci.values[place : place + 2, locus]
        if ends.real.min() < 0.0:
            crossing = _refined(loci, place, locus, lambda value: value.imag)
            if crossing.value.real < 0.0:
                found.append(crossing)
    if loci.ends_real:
        last = loci.values[-1]
        found += [Crossing(float(loci.omega[-1]), complex(v.real), q) for q, v in enumerate(last) if v.real < 0.0]
    return found


def _gain_margin(crossings: list[Crossing], stable: bool) -> tuple[float, float, Crossing | None]:
    """Upper and lower gain margin, and the crossing of the upper one."""
    factors = [(-1.0 / crossing.value.real, crossing) for crossing in crossings]
    if not stable:
        if not factors:
            return nan, nan, None
        best = min(factors, key=lambda pair: abs(log(pair[0])))
        return best[0], 0.0, best[1]
    above = [pair for pair in factors if pair[0] > 1.0]
    low = max((factor for factor, _ in factors if factor <= 1.0), default=0.0)
    if not above:
        return inf, low, None
    best = min(above, key=lambda pair: pair[0])
    return best[0], low, best[1]


def _phase_margin(crossings: list[Crossing], stable: bool) -> tuple[float, float, float]:
    """Phase margin [deg], delay margin [s], crossover [rad/s]."""
    if not crossings:
        return inf, inf, nan
    angles = [float(np.angle(-crossing.value)) for crossing in crossings]
    best = min(range(len(angles)), key=lambda k: abs(angles[k]))
    phase, at = angles[best], crossings[best].omega
    if not stable:
        return np.degrees(-abs(phase)), -abs(phase) / at, at
    delay = min((angle if angle >= 0.0 else angle + _TURN) / crossing.omega for angle, crossing in zip(angles, crossings, strict=True))
    return np.degrees(abs(phase)), delay, at


def _peak(omega: Array, sensitivity: Array, at: Callable[[float], float]) -> tuple[float, float]:
    """Peak of the sensitivity and its frequency, refined by golden section around the largest point of the grid."""
    place = int(np.argmax(sensitivity))
    low, high = log(omega[max(place - 1, 0)]), log(omega[min(place + 1, len(omega) - 1)])
    share = 0.6180339887498949
    a, b = high - share * (high - low), low + share * (high - low)
    fa, fb = at(float(np.exp(a))), at(float(np.exp(b)))
    for _ in range(24):
        if fa > fb:
            high, b, fb = b, a, fa
            a = high - share * (high - low)
            fa = at(float(np.exp(a)))
        else:
            low, a, fa = a, b, fb
            b = low + share * (high - low)
            fb = at(float(np.exp(b)))
    return max((fa, float(np.exp(a))), (fb, float(np.exp(b))), (float(sensitivity[place]), float(omega[place])))


def locus_margins(loci: Loci, sensitivity: Array, peak_at: Callable[[float], float], stable: bool) -> tuple[Margins, Crossing | None]:
    """Margins of tracked loci.

    Parameters
    ----------
    loci
        Loci on their grid.
    sensitivity
        Shape (F,): largest singular value of the sensitivity on the grid [-].
    peak_at
        The same at one frequency [rad/s].
    stable
        Whether the closed loop is, as decided by its poles or by encirclements.

    Returns
    -------
    margins : Margins
        Without ``radius`` and ``mode``, which only the loop knows.
    crossing : Crossing or None
        Where the gain margin lies.
    """
    gain, low, crossing = _gain_margin(real_axis_crossings(loci), stable)
    phase, delay, crossover = _phase_margin(_gain_crossovers(loci), stable)
    peak, peak_omega = _peak(loci.omega, sensitivity, peak_at)
    place = crossing.omega if crossing is not None else nan
    return Margins(gain, phase, delay, peak, crossover, low, place, peak_omega, stable), crossing


def turns(curve: Callable[[int], Complex]) -> int:
    """Turns of ``curve(points)`` around the origin, drawn as finely as it takes.

    Raises
    ------
    ValueError
        If even a quarter of a million points are too coarse: then it passes through the origin.
    """
    for points in _POINTS[:-1]:
        values = curve(points)
        if np.max(np.abs(np.angle(values[1:] / values[:-1]))) <= _COARSE:
            return winding(values)
    return winding(curve(_POINTS[-1]))


def winding(values: Complex) -> int:
    """Turns of a closed curve around the origin, counter-clockwise; ``values`` of shape (F,), first and last nearly equal.

    Raises
    ------
    ValueError
        If the curve is drawn too coarsely to be followed: a step turns by more than a radian.
    """
    steps = np.angle(values[1:] / values[:-1])
    if np.max(np.abs(steps)) > _COARSE:
        raise ValueError("the curve is too coarse to count its turns: give more points")
    return round(float(np.sum(steps)) / _TURN)
