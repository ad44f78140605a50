"""Continuous loops: a rational transfer function with a dead time, its margins, and its stability by encirclements."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from math import pi

import numpy as np

from sync.design.basis import Array, Complex
from sync.design.margins import Crossing, Loci, Margins, locus_margins, real_axis_crossings, turns

__all__ = [
    "RationalLoop",
    "axis_crossing",
    "axis_crossings",
    "continuous_margins",
    "coupled_poles",
    "delayed",
    "loop_margins",
    "margin_bounds",
    "mode_poles",
    "sampled_coefficients",
    "sampled_phase_error",
    "steady_value",
    "unstable_roots",
]

_POINTS = 4000
_DECADES = 4.0


@dataclass(frozen=True)
class RationalLoop:
    """numerator(s)/denominator(s) exp(-s delay): coefficients highest power first, ``delay`` [s]."""

    numerator: tuple[float, ...]
    denominator: tuple[float, ...]
    delay: float = 0.0

    def __call__(self, omega: Array) -> Complex:
        """Response at ``omega`` [rad/s], shape of it."""
        return self.at(np.asarray(1j * omega, dtype=np.complex128))

    def at(self, s: Complex) -> Complex:
        """Value at ``s`` [1/s]."""
        found: Complex = np.polyval(self.numerator, s) / np.polyval(self.denominator, s) * np.exp(-s * self.delay)
        return found

    @property
    def omega(self) -> Array:
        """Frequencies [rad/s] four decades beyond every pole, zero, dead time and gain crossover, both ways."""
        corners = [abs(root) for root in np.concatenate([np.roots(self.numerator), np.roots(self.denominator)]) if abs(root) > 1e-12]
        integrators = sum(abs(root) <= 1e-12 for root in np.roots(self.denominator)) - sum(
            abs(root) <= 1e-12 for root in np.roots(self.numerator)
        )
        if integrators > 0:  # where the low asymptote k/s^n meets one
            low = next(coefficient for coefficient in reversed(self.denominator) if coefficient != 0.0)
            top = next(coefficient for coefficient in reversed(self.numerator) if coefficient != 0.0)
            corners.append(abs(top / low) ** (1.0 / integrators))
        if self.delay > 0.0:
            corners.append(pi / self.delay)
        corners = corners or [1.0]
        return np.geomspace(min(corners) * 10.0**-_DECADES, max(corners) * 1e2, _POINTS)


def delayed(loop: RationalLoop, more: float) -> RationalLoop:
    """The loop with ``more`` [s] of dead time."""
    return RationalLoop(loop.numerator, loop.denominator, loop.delay + more)


def _loci(response: Callable[[Array], Complex], omega: Array) -> Loci:
    return Loci(omega, response(omega)[:, None], lambda at: response(np.array([at])))


def continuous_margins(response: Callable[[Array], Complex], omega: Array, stable: bool) -> Margins:
    """Margins of one continuous loop.

    Parameters
    ----------
    response
        Open loop at an array of frequencies [rad/s].
    omega
        Grid that spans every crossover [rad/s].
    stable
        Whether the closed loop is.
    """
    loci = _loci(response, omega)
    sensitivity = 1.0 / np.abs(1.0 + loci.values[:, 0])
    found, _ = locus_margins(loci, sensitivity, lambda at: float(1.0 / abs(1.0 + response(np.array([at]))[0])), stable)
    return found


def unstable_roots(loop: RationalLoop) -> int:
    """Closed-loop roots in the right half plane, by encirclements; an integrator is passed on its right.

    Raises
    ------
    ValueError
        If the loop has a pole on the imaginary axis away from zero.
    """
    open_poles = np.roots(loop.denominator)
    large = np.abs(open_poles) > 1e-12
    if np.any(large & (np.abs(open_poles.real) < 1e-9 * np.abs(open_poles))):
        raise ValueError("the loop has a pole on the imaginary axis away from zero: its encirclements cannot be counted")
    omega = loop.omega

    def curve(points: int) -> Complex:
        corner = omega[0] * np.exp(1j * np.linspace(0.0, 0.5 * pi, 200))
        up = 1j * np.geomspace(omega[0], omega[-1], points)
        half = 1.0 + loop.at(np.concatenate([corner, up[1:]]))
        return np.concatenate([np.conj(half[::-1]), half[1:], np.conj(half[-1:])])

    outside = int(np.sum(large & (open_poles.real > 0.0)))
    return outside - turns(curve)


def loop_margins(loop: RationalLoop) -> Margins:
    """Margins of a rational loop with dead time."""
    return continuous_margins(loop, loop.omega, unstable_roots(loop) == 0)


def axis_crossings(loop: RationalLoop) -> list[Crossing]:
    """Crossings of the negative real axis, in order of frequency."""
    return sorted(real_axis_crossings(_loci(loop, loop.omega)), key=lambda crossing: crossing.omega)


def axis_crossing(loop: RationalLoop, number: int) -> tuple[float, float]:
    """Crossing ``number`` (from 0) of the negative real axis: frequency [rad/s] and value."""
    crossing = axis_crossings(loop)[number]
    return crossing.omega, crossing.value.real


def mode_poles(plant: RationalLoop, gain: float) -> tuple[float, ...]:
    """Real parts of the closed-loop poles of 1 + gain P = 0 [1/s], ascending.

    Two alike axes P, each with its own loop C and the coupling +-Cs (x1 - x2): the mean has the gain C, the difference
    C + 2 Cs; N axes coupled to their mean: C + Cs.

    Source: the transfer matrix of alike axes commutes with its mean; derived here.
    """
    total = np.polyadd(plant.denominator, gain * np.asarray(plant.numerator))
    return tuple(sorted(float(root.real) for root in np.roots(total)))


def sampled_phase_error(plant: RationalLoop, omega: float, tick: float) -> float:
    """Phase [deg] that sampling with a zero-order hold adds to a plant at ``omega`` [rad/s]."""
    import control

    held = control.c2d(control.tf(list(plant.numerator), list(plant.denominator)), tick, "zoh")
    ratio = complex(held(np.exp(1j * omega * tick))) / complex(plant(np.array([omega]))[0])
    return float(np.degrees(np.angle(ratio)))


def margin_bounds(sensitivity: float) -> tuple[float, float]:
    """Least gain margin [-] and least phase margin [deg] that a sensitivity peak Ms leaves: Ms/(Ms - 1), 2 asin(1/(2 Ms)).

    Source: the Nyquist curve stays out of the circle of radius 1/Ms about the critical point.
    """
    return sensitivity / (sensitivity - 1.0), float(np.degrees(2.0 * np.arcsin(0.5 / sensitivity)))


def steady_value(loop: RationalLoop) -> float:
    """Value of a loop without integrator at zero frequency [-]."""
    return loop.numerator[-1] / loop.denominator[-1]


def coupled_poles(plant: RationalLoop, own: float, coupling: float, axes: int) -> tuple[float, ...]:
    """Real parts of all poles [1/s] of ``axes`` alike axes P with own gains and a coupling between them, ascending.

    The whole N x N loop: two axes are coupled by +-``coupling`` times their difference, three and more by ``coupling`` times
    their distance from the mean.
    """
    across = np.eye(axes) - 1.0 / axes
    matrix = own * np.eye(axes) + (2.0 if axes == 2 else 1.0) * coupling * across
    gains = np.linalg.eigvals(matrix).real
    return tuple(sorted(pole for gain in gains for pole in mode_poles(plant, float(gain))))


def sampled_coefficients(plant: RationalLoop, tick: float) -> tuple[float, ...]:
    """Numerator and denominator of a plant sampled with a zero-order hold, highest power of z first, one after the other."""
    import control

    held = control.c2d(control.tf(list(plant.numerator), list(plant.denominator)), tick, "zoh")
    return tuple(float(value) for value in np.concatenate([np.trim_zeros(held.num[0][0], "f"), held.den[0][0]]))
