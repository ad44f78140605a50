"""Relative modes of N legs: tilts, warps, and what is left of the heights when their mean is taken away."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

__all__ = ["Array", "Basis", "Complex", "relative_basis"]

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]

_FLAT = 1e-9  # m: legs closer to a line than this stand on it


@dataclass(frozen=True)
class Basis:
    """Orthonormal relative modes of N legs.

    Attributes
    ----------
    names : tuple of str
        One per mode: "tilt x", "tilt y", "warp", "warp 2", ...
    columns : numpy.ndarray
        Shape (N, N - 1): heights of the legs [m] per unit of each mode; each column sums to zero.
    """

    names: tuple[str, ...]
    columns: Array


def relative_basis(places: Sequence[tuple[float, float]]) -> Basis:
    """Modes of legs at ``places`` (x, y) [m], by Gram-Schmidt on [1, x, y] and the complement.

    Parameters
    ----------
    places
        N pairs, N >= 2.

    Returns
    -------
    Basis
        Tilts first (only those that the places can tell), then warps.

    Raises
    ------
    ValueError
        If there are fewer than two legs: then nothing has to be held level.
    """
    n = len(places)
    if n < 2:
        raise ValueError("one leg alone has no levelling loop: at least two legs are needed")
    xy = np.asarray(places, dtype=np.float64)
    found = [np.full(n, 1.0 / np.sqrt(n))]
    names: list[str] = []
    for axis, name in ((0, "tilt x"), (1, "tilt y")):
        rest = xy[:, axis].copy()
        for _ in range(2):  # once more, against rounding
            for column in found:
                rest -= column * float(column @ rest)
        size = float(np.sqrt(rest @ rest))
        if size > _FLAT:
            found.append(rest / size)
            names.append(name)
    while len(found) < n:
        found.append(_next_warp(found, n))
        names.append("warp" if "warp" not in names else f"warp {sum(name.startswith('warp') for name in names) + 1}")
    return Basis(tuple(names), np.column_stack(found[1:]))


def _next_warp(found: list[Array], n: int) -> Array:
    """Unit vector across all found so far, from the leg that they leave the most of."""
    span = np.column_stack(found)
    across = np.eye(n) - span @ span.T
    column = across[:, int(np.argmax(np.diag(across)))]
    for _ in range(2):
        column = column - span @ (span.T @ column)
    return np.asarray(column / np.sqrt(column @ column), dtype=np.float64)
