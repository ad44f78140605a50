"""The lift as the firmware meets it: sampled, held, delayed; exact at the sampling instants for any delay.

A zero-order hold of length T starts the delay d = m T + f after the sample.  Within one tick the old duty acts for f and the
new one for T - f:

    x(k+1) = Phi x(k) + Gamma0 u(k-m) + Gamma1 u(k-m-1)

Source: computer-controlled systems with a delay that is no multiple of the tick (Astrom and Wittenmark, from memory).
Discretisation by python-control.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from math import pi
from typing import Any

import numpy as np

from sync.design.basis import Array, Complex
from sync.design.lift_model import StateSpace

__all__ = ["GRID_DECADES", "SampledPlant", "hold_response", "sample"]

GRID_DECADES = 6.0
"""Decades below the Nyquist frequency that the grid of frequencies spans."""
_PER_DECADE = 60


@dataclass(frozen=True)
class SampledPlant:
    """x(k+1) = phi x + new u(k - whole) + old u(k - whole - 1) + force f, y = c x.

    Attributes
    ----------
    phi, new, old, force, c : numpy.ndarray
        Shapes (n, n), (n, N), (n, N), (n, N), (M, n).
    whole : int
        Whole ticks of delay.
    tick : float
        [s].
    """

    phi: Array
    new: Array
    old: Array
    force: Array
    c: Array
    whole: int
    tick: float

    def at(self, z: Complex) -> Complex:
        """Transfer from duties to relative heights at ``z``, shape (..., M, N)."""
        point = np.asarray(z, dtype=np.complex128)[..., None, None]
        inside = point * np.eye(len(self.phi)) - self.phi
        drive = (self.new + self.old / point) / point**self.whole
        found: Complex = self.c @ np.linalg.solve(inside, drive)
        return found

    @cached_property
    def omega(self) -> Array:
        """Frequencies [rad/s] from six decades below the Nyquist frequency up to it: they span every crossover."""
        return np.geomspace(10.0**-GRID_DECADES, 1.0, round(GRID_DECADES * _PER_DECADE) + 1) * (pi / self.tick)

    @cached_property
    def response(self) -> Complex:
        """Transfer on the grid ``omega``, shape (F, M, N); independent of the gains, so taken once."""
        return self.at(np.exp(1j * self.omega * self.tick))


def _held(space: StateSpace, span: float) -> tuple[Array, Array, Array]:
    """Transition over ``span`` [s], and what held duties and forces do in it."""
    import control

    n = space.b.shape[1]
    inputs = np.hstack([space.b, space.e])
    system: Any = control.ss(space.a, inputs, space.c, np.zeros((len(space.c), 2 * n)))
    held: Any = control.c2d(system, span, "zoh")
    return np.asarray(held.A), np.asarray(held.B)[:, :n], np.asarray(held.B)[:, n:]


def sample(space: StateSpace, tick: float, delay: float) -> SampledPlant:
    """Sample a plant every ``tick`` [s] with a zero-order hold that begins ``delay`` [s] after the sample.

    Raises
    ------
    ValueError
        If the tick is not above zero or the delay is below it.
    """
    if tick <= 0.0 or delay < 0.0:
        raise ValueError(f"tick {tick:g} s must be above 0 and delay {delay:g} s not below it")
    whole = int(delay / tick + 1e-9)
    part = delay - whole * tick
    if part <= 1e-9 * tick:
        phi, new, force = _held(space, tick)
        return SampledPlant(phi, new, np.zeros_like(new), force, space.c, whole, tick)
    first, old, early = _held(space, part)
    second, new, late = _held(space, tick - part)
    return SampledPlant(second @ first, new, second @ old, second @ early + late, space.c, whole, tick)


def hold_response(omega: float, tick: float) -> complex:
    """Zero-order hold over its tick, at ``omega`` [rad/s]: (1 - exp(-j w T))/(j w T) [-]; 1 at zero.

    Its phase below the Nyquist frequency is -w T/2, its magnitude sin(w T/2)/(w T/2).
    """
    turn = 1j * omega * tick
    return 1.0 + 0.0j if omega == 0.0 else complex((1.0 - np.exp(-turn)) / turn)
