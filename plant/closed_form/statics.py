"""A rigid deck on N springy legs: how a load and unequal heights share out, and which legs lift off."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from math import inf

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = ["Support", "deck_support", "rigid_shares", "share_load"]

BALANCE = 1e-11
"""Share of the load (and its moment about 1 m) to which the forces must balance."""
DAMPING = 1e-9
MOST_STEPS = 100


@dataclass(frozen=True)
class Support:
    """Forces on the legs [N], shape (N,), plane ``z0, slope x, slope y`` [m, 1, 1] and which legs the deck has left, shape (N,)."""

    forces: NDArray[np.float64]
    plane: NDArray[np.float64]
    lifted: NDArray[np.bool_]


def deck_support(
    places: ArrayLike, stiffness: ArrayLike, load: float, at: tuple[float, float], heights: ArrayLike | None = None, captive: bool = False
) -> Support:
    """Equilibrium of a rigid deck on springs.

    Parameters
    ----------
    places : (N, 2) plan positions of the legs [m]
    stiffness : (N,) axial stiffness of each leg [N/m]
    load, at : weight [N] and the plan position of its centre [m]
    heights : (N,) unloaded heights of the leg tops [m], default all zero
    captive : True where the nuts can also pull the deck down; otherwise a leg that would pull lets go

    Raises
    ------
    ValueError
        If the load is outside the ground that the legs span, so that no equilibrium exists.

    Notes
    -----
    f_i = k_i (h_i - z_i) where that is a push, z = z0 + a x + b y, sum of f (1, x, y) = load (1, x, y): the minimum of a convex
    energy, found by Newton steps of searched length.  One and two legs, or legs in a line, need the load on that line.
    Source: elementary statics with elastic supports.
    """
    plan = np.column_stack([np.ones(len(np.atleast_2d(places))), np.atleast_2d(places)])
    springs = np.asarray(stiffness, dtype=np.float64)
    tops = np.zeros(len(plan)) if heights is None else np.asarray(heights, dtype=np.float64)
    moments = load * np.array([1.0, *at])
    plane = np.array([tops.min() - load / springs.sum(), 0.0, 0.0])

    def missing(trial: NDArray[np.float64]) -> NDArray[np.float64]:
        return _missing(plan, springs, tops - plan @ trial, moments, captive)

    for _ in range(MOST_STEPS):
        gaps = tops - plan @ plane
        bears = np.ones(len(plan), dtype=bool) if captive else gaps > 0.0
        lack = missing(plane)
        if np.abs(lack).max() <= BALANCE * max(load, 1e-9):
            return Support(springs * bears * gaps, plane, ~bears)
        # The damping keeps the step defined where the bearing legs do not span the plan; it does not move the solution.
        matrix = plan.T @ ((springs * bears)[:, None] * plan) + DAMPING * springs.sum() * np.eye(3)
        step = np.linalg.solve(matrix, lack)
        plane = plane + _length(plane, step, missing) * step
    raise ValueError("the load lies outside the ground that the legs span: the deck would tip")


def share_load(
    places: ArrayLike, stiffness: ArrayLike, load: float, at: tuple[float, float], heights: ArrayLike | None = None, captive: bool = False
) -> NDArray[np.float64]:
    """Forces on the legs [N], shape (N,), of `deck_support`."""
    return deck_support(places, stiffness, load, at, heights, captive).forces


def rigid_shares(places: ArrayLike, load: float, at: tuple[float, float]) -> NDArray[np.float64]:
    """Forces [N], shape (N,), of equally stiff legs at ``places`` [m], shape (N, 2), under ``load`` [N] at ``at`` [m].

    f = pinv([1 x y])^T (load, load x, load y); a moment that the legs cannot take (about the line they stand on) is left
    to the guides.  Source: least-norm solution of the equilibrium.
    """
    plan = np.column_stack([np.ones(len(np.atleast_2d(places))), np.atleast_2d(places)])
    return np.asarray(np.linalg.pinv(plan, rcond=1e-9).T @ (load * np.array([1.0, *at])), dtype=np.float64)


def _missing(
    plan: NDArray[np.float64], springs: NDArray[np.float64], gaps: NDArray[np.float64], moments: NDArray[np.float64], captive: bool
) -> NDArray[np.float64]:
    """What the springs' force and moments [N, N m, N m] are ahead of the load's: minus the gradient of the (convex) energy."""
    pressed = gaps if captive else np.maximum(gaps, 0.0)
    return np.asarray(plan.T @ (springs * pressed) - moments, dtype=np.float64)


def _length(plane: NDArray[np.float64], step: NDArray[np.float64], missing: Callable[[NDArray[np.float64]], NDArray[np.float64]]) -> float:
    """Multiple of ``step`` at which the slope of the energy along it has fallen to less than half, found by doubling and halving.

    Slopes, not energies, are compared: they keep their digits near the minimum.
    """
    first = float(missing(plane) @ step)
    low, high, length = 0.0, inf, 1.0
    for _ in range(MOST_STEPS):
        slope = float(missing(plane + length * step) @ step)
        if abs(slope) <= 0.5 * first:
            break
        if slope > 0.0:
            low = length
        else:
            high = length
        length = 0.5 * (low + high) if high < inf else 2.0 * length
    return length
