"""The levelling loop of N legs: sampled plant, law, closed-loop poles, margins, encirclements, responses in time.

The law acts on relative heights r: u = -(P r + I sum(r) T), which is what every law does that only compares legs (mean
coupling, follow a leg, ring, modal).  What all legs do together is left alone.

The controller stands each leg in the middle of its present count.  That has no mean error, so a small deviation passes the
counting without delay; what the quantum itself does is told by ``sync.design.quantum``.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import inf, pi

import numpy as np

from sync.design.basis import Array, Basis, Complex
from sync.design.margins import Loci, Margins, locus_margins, tracked, turns
from sync.design.sampled import SampledPlant

__all__ = [
    "LinearLaw",
    "Loop",
    "Response",
    "closed_loop",
    "coupling_law",
    "margins",
    "mean_coupling",
    "peak",
    "poles",
    "respond",
    "scaled",
    "unstable_poles",
]

_INSIDE = 1.0 - 1e-9
"""Radius below which a pole counts as inside the unit circle."""


@dataclass(frozen=True)
class LinearLaw:
    """Duties per relative height: ``proportional`` [1/m] and ``integral`` [1/(m s)], each of shape (N, M)."""

    proportional: Array
    integral: Array

    @property
    def integrates(self) -> bool:
        """Whether there is an integral part."""
        return bool(np.any(self.integral))

    def integrators(self) -> tuple[Array, Array]:
        """The integral part as a product, shapes (N, K) and (K, M): K sums are all that acts.

        A sum that no duty depends on would stand in the closed loop as a pole at 1 and look like no stability.
        """
        left, size, right = np.linalg.svd(self.integral, full_matrices=False)
        kept = size > 1e-9 * max(float(size.max()), 1e-300)
        return left[:, kept] * size[kept], right[kept]


@dataclass(frozen=True)
class Loop:
    """A sampled plant under a law; ``modes`` names its M relative heights."""

    plant: SampledPlant
    law: LinearLaw
    modes: tuple[str, ...]

    def controller(self, z: Complex) -> Complex:
        """Duties per relative height at ``z``, shape (..., N, M)."""
        point = np.asarray(z, dtype=np.complex128)[..., None, None]
        if not self.law.integrates:
            return np.broadcast_to(self.law.proportional, (*point.shape[:-2], *self.law.proportional.shape)).astype(np.complex128)
        found: Complex = self.law.proportional + self.law.integral * (self.plant.tick / (point - 1.0))
        return found

    def at(self, z: Complex) -> Complex:
        """Loop matrix at ``z``, broken at the relative heights, shape (..., M, M)."""
        found: Complex = self.plant.at(z) @ self.controller(z)
        return found

    def along(self) -> Complex:
        """Loop matrix on the grid of the plant, shape (F, M, M)."""
        found: Complex = self.plant.response @ self.controller(np.exp(1j * self.plant.omega * self.plant.tick))
        return found

    def with_law(self, law: LinearLaw) -> Loop:
        """The same plant under another law; what is known of the plant's response is kept."""
        return replace(self, law=law)


def mean_coupling(basis: Basis, gain: float, integral_gain: float) -> LinearLaw:
    """Each leg against the mean: 2 Kc and 2 Ki on its distance from it; ``gain`` [1/m], ``integral_gain`` [1/(m s)]."""
    n = len(basis.columns)
    return coupling_law(np.eye(n) - 1.0 / n, basis, 2.0 * gain, 2.0 * integral_gain)


def coupling_law(matrix: Array, basis: Basis, gain: float, integral_gain: float) -> LinearLaw:
    """u = -gain M x - integral_gain M sum(x) T for a coupling matrix M between legs.

    Parameters
    ----------
    matrix
        Shape (N, N): row q says what leg q compares; every row sums to zero.
    basis
        Relative modes.
    gain, integral_gain
        Duty per m [1/m], and per m and second [1/(m s)].

    Raises
    ------
    ValueError
        If a row does not sum to zero: the law would then act on the height that all legs share.
    """
    if np.max(np.abs(matrix.sum(axis=1))) > 1e-9 * max(1.0, float(np.max(np.abs(matrix)))):
        raise ValueError("every row of a coupling matrix must sum to zero: a levelling law compares legs")
    seen = matrix @ basis.columns
    return LinearLaw(gain * seen, integral_gain * seen)


def _past(plant: SampledPlant) -> int:
    """Ticks of past duty that are remembered."""
    return plant.whole + int(bool(np.any(plant.old)))


def closed_loop(loop: Loop) -> tuple[Array, Array]:
    """Transition of the closed loop from tick to tick, and where a duty added by someone else enters.

    States: plant, integrals, duties of the last ticks (newest first).

    Returns
    -------
    transition, entry : numpy.ndarray
        Shapes (n, n) and (n, N).
    """
    plant, law = loop.plant, loop.law
    n, legs, past = len(plant.phi), plant.new.shape[1], _past(plant)
    acting, summed = law.integrators()
    integrators = len(summed)
    size = n + integrators + past * legs
    step, entry = np.zeros((size, size)), np.zeros((size, legs))
    step[:n, :n] = plant.phi
    told = np.zeros((legs, size))
    told[:, :n] = -law.proportional @ plant.c
    if integrators:
        told[:, n : n + integrators] = -acting
        step[n : n + integrators, :n] = plant.tick * summed @ plant.c
        step[n : n + integrators, n : n + integrators] = np.eye(integrators)
    for place, share in ((plant.whole, plant.new), (plant.whole + 1, plant.old)):
        if place == 0:
            step[:n] += share @ told
            entry[:n] += share
        elif place <= past:
            at = n + integrators + (place - 1) * legs
            step[:n, at : at + legs] += share
    if past:
        at = n + integrators
        step[at : at + legs] = told
        entry[at : at + legs] = np.eye(legs)
        step[at + legs :, at:-legs] = np.eye((past - 1) * legs)
    return step, entry


def poles(loop: Loop) -> Complex:
    """Closed-loop poles in the z plane; stable inside the unit circle."""
    found: Complex = np.linalg.eigvals(closed_loop(loop)[0]).astype(np.complex128)
    return found


def _eigenvalues(matrix: Complex) -> Complex:
    return np.linalg.eigvals(matrix).astype(np.complex128)


def _largest(matrix: Complex) -> Array:
    """Largest singular value of the sensitivity (I + L)^-1, shape of the leading axes."""
    whole = np.eye(matrix.shape[-1]) + matrix
    if matrix.shape[-1] == 1:
        return np.asarray(1.0 / np.maximum(np.abs(whole[..., 0, 0]), 1e-300))
    return np.asarray(1.0 / np.maximum(np.linalg.svd(whole, compute_uv=False)[..., -1], 1e-300))


def margins(loop: Loop) -> Margins:
    """Margins of the true N x N loop, stability decided by the closed-loop poles.

    Gain and delay act in all channels at once; the sensitivity peak holds for any perturbation of the relative heights,
    structured or not.

    Raises
    ------
    ValueError
        If the law has no gain: then there is no loop.
    """
    if not (np.any(loop.law.proportional) or loop.law.integrates):
        raise ValueError("levelling.kc_per_mm = 0: without a gain there is no loop whose margins could be told")
    radius = float(np.max(np.abs(poles(loop))))
    along = loop.along()

    def matrix(omega: float) -> Complex:
        return loop.at(np.asarray(np.exp(1j * omega * loop.plant.tick)))

    loci = Loci(loop.plant.omega, tracked(_eigenvalues(along)), lambda omega: _eigenvalues(matrix(omega)), True)
    found, crossing = locus_margins(loci, _largest(along), lambda omega: float(_largest(matrix(omega))), radius < _INSIDE)
    mode = loop.modes[0]
    if crossing is not None and len(loop.modes) > 1:
        values, vectors = np.linalg.eig(matrix(crossing.omega))
        mode = loop.modes[int(np.argmax(np.abs(vectors[:, int(np.argmin(np.abs(values - crossing.value)))])))]
    return replace(found, radius=radius, mode=mode)


def peak(loop: Loop) -> float:
    """Peak of the sensitivity on the grid of the plant [-], inf for an unstable loop: quicker than ``margins``, for maps."""
    if float(np.max(np.abs(poles(loop)))) >= _INSIDE:
        return inf
    return float(np.max(_largest(loop.along())))


def scaled(law: LinearLaw, proportional: float, integral: float) -> LinearLaw:
    """A law with its gains multiplied."""
    return LinearLaw(law.proportional * proportional, law.integral * integral)


def unstable_poles(loop: Loop, indent: float = 1e-4) -> int:
    """Closed-loop poles outside the unit circle, counted by the encirclements of det(I + L) (generalised Nyquist).

    The contour is the unit circle, passed outside z = 1 at the distance ``indent``, so that integrators lie inside it.
    Open-loop poles outside are counted in.  The decision rests on ``poles``; this is the second way to it.
    """
    corner = 1.0 + indent * np.exp(1j * np.linspace(-0.5 * pi, 0.5 * pi, 401))
    start = float(np.angle(corner[-1]))

    def curve(points: int) -> Complex:
        along = np.exp(1j * np.geomspace(start, pi, points))
        contour = np.concatenate([corner[200:], along[1:], np.conj(along[-2::-1]), corner[:201]])
        return np.asarray(np.linalg.det(np.eye(len(loop.modes)) + loop.at(contour)), dtype=np.complex128)

    free = np.linalg.eigvals(loop.plant.phi)
    outside = int(np.sum((np.abs(free) > 1.0 + 1e-12) & (np.abs(free - 1.0) > indent)))
    return outside - turns(curve)


@dataclass(frozen=True)
class Response:
    """Heights of the relative modes [m], shape (K, M), duties [-], shape (K, N), at ``time`` [s]."""

    time: Array
    heights: Array
    duties: Array


def respond(loop: Loop, ticks: int, aim: Array | None = None, duty: Array | None = None, force: Array | None = None) -> Response:
    """Answer of the linear closed loop from rest to steps.

    Parameters
    ----------
    loop
        The loop.
    ticks
        How many.
    aim
        Step of the relative heights that the law is asked to reach [m], shape (M,).
    duty
        Step added to the duties [-], shape (N,).
    force
        Step of load down on the nuts [N], shape (N,).
    """
    plant, law = loop.plant, loop.law
    n, m, legs = len(plant.phi), len(plant.c), plant.new.shape[1]
    aim = np.zeros(m) if aim is None else aim
    duty = np.zeros(legs) if duty is None else duty
    push = np.zeros(n) if force is None else plant.force @ force
    state, total = np.zeros(n), np.zeros(m)
    past = np.zeros((plant.whole + 2, legs))
    heights, duties = np.zeros((ticks, m)), np.zeros((ticks, legs))
    for k in range(ticks):
        heights[k] = plant.c @ state
        lead = heights[k] - aim
        duties[k] = duty - law.proportional @ lead - law.integral @ total
        total += plant.tick * lead
        past = np.vstack([duties[k], past[:-1]])
        state = plant.phi @ state + plant.new @ past[plant.whole] + plant.old @ past[plant.whole + 1] + push
    return Response(np.asarray(plant.tick * np.arange(ticks), dtype=np.float64), heights, duties)
