"""A rigid deck on N springy legs: how a load and unequal heights share out, and which legs lift off."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = ["Support", "deck_support", "rigid_shares", "share_load"]

LIFT = 1e-12
"""Share of the load below which a pull counts as zero."""


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
    captive : True where the nuts can also pull the deck down; otherwise a leg that would pull lets go (active set)

    Raises
    ------
    ValueError
        If the load is outside the ground that the legs span, so that no equilibrium exists.

    Notes
    -----
    f_i = k_i (h_i - z_i), z = z0 + a x + b y, sum of f (1, x, y) = load (1, x, y).  One and two legs (or legs in a line)
    are solved in the least-norm sense and the moments are checked.  Source: elementary statics with elastic supports.
    """
    shape = np.asarray(places, dtype=np.float64)
    springs = np.asarray(stiffness, dtype=np.float64)
    tops = np.zeros(len(shape)) if heights is None else np.asarray(heights, dtype=np.float64)
    plan = np.column_stack([np.ones(len(shape)), shape])
    moments = load * np.array([1.0, *at])
    bears = np.ones(len(shape), dtype=bool)
    for _ in range(4 * len(shape) + 4):
        plane, forces = _equilibrium(plan, springs * bears, moments, tops)
        pulls = bears & (forces < -LIFT * load)
        touches = ~bears & (tops - plan @ plane > 0.0)
        if captive or not (pulls.any() or touches.any()):
            return Support(np.where(bears, forces, 0.0), plane, ~bears)
        # One change at a time: the worst pull first, so that the active set cannot swing between two wrong ones.
        if pulls.any():
            bears[int(np.argmin(np.where(pulls, forces, 0.0)))] = False
        else:
            bears[int(np.argmax(np.where(touches, tops - plan @ plane, -np.inf)))] = True
    raise ValueError("no set of bearing legs found: the active set did not settle")


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


def _equilibrium(
    plan: NDArray[np.float64], springs: NDArray[np.float64], moments: NDArray[np.float64], tops: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    matrix = plan.T @ (springs[:, None] * plan)
    plane: NDArray[np.float64] = np.linalg.lstsq(matrix, plan.T @ (springs * tops) - moments, rcond=1e-12)[0].astype(np.float64)
    forces = springs * (tops - plan @ plane)
    gap = np.abs(plan.T @ forces - moments)
    if np.any(gap > 1e-9 * max(abs(moments[0]), 1e-9)):
        raise ValueError("the load lies outside the ground that the bearing legs span: the deck would tip")
    return plane, forces
