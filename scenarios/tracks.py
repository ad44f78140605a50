"""Read-only view of a recorded trace by signal and leg, and the thinning that keeps its peaks.

A trace is an array of rows over time; its columns are named ``signal_unit`` for the machine and ``leg.signal_unit`` for a leg.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

__all__ = ["Floats", "Tracks", "steps", "thin"]

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Tracks:
    """A trace: ``values`` [rows, columns] and the names of the columns."""

    values: Floats
    columns: tuple[str, ...]

    @property
    def names(self) -> tuple[str, ...]:
        """Names of the legs, in their order."""
        ending = ".height_m"
        return tuple(column.removesuffix(ending) for column in self.columns if column.endswith(ending))

    @property
    def empty(self) -> bool:
        """Whether there are too few rows to draw."""
        return self.values.ndim != 2 or self.values.shape[0] < 2

    @property
    def time(self) -> Floats:
        """Time of each row [s]."""
        return self.whole("time_s")

    def whole(self, signal: str) -> Floats:
        """Signal of the whole machine, shape (rows,)."""
        return self.values[:, self.columns.index(signal)]

    def leg(self, name: str, signal: str) -> Floats:
        """Signal of one leg, shape (rows,)."""
        return self.values[:, self.columns.index(f"{name}.{signal}")]

    def legs(self, signal: str) -> Floats:
        """Signal of every leg, shape (legs, rows)."""
        return np.array([self.leg(name, signal) for name in self.names])

    def row(self, at_s: float) -> int:
        """Index of the first row at or after ``at_s`` [s], the last row where there is none."""
        return min(int(np.searchsorted(self.time, at_s - 1e-9)), len(self.values) - 1)

    def rows(self, from_s: float, to_s: float) -> slice:
        """Rows from ``from_s`` to ``to_s`` [s], at least one."""
        first = self.row(from_s)
        return slice(first, max(int(np.searchsorted(self.time, to_s + 1e-9)), first + 1))


def thin(time: Floats, values: Floats, most: int = 1200) -> tuple[Floats, Floats]:
    """At most about ``most`` points that keep the smallest and the largest value of every stretch.

    Parameters
    ----------
    time, values
        Shape (rows,); ``values`` may hold NaN, which are left out of a stretch that has others.
    most
        Points wanted.

    Returns
    -------
    time, values
        The points kept, in order; first and last are always kept.
    """
    count = len(time)
    if count <= most:
        return time, values
    keep = {0, count - 1}
    for stretch in np.array_split(np.arange(count), max(most // 2, 1)):
        part = values[stretch]
        if np.all(np.isnan(part)):
            keep.add(int(stretch[0]))
            continue
        keep.update((int(stretch[np.nanargmin(part)]), int(stretch[np.nanargmax(part)])))
    chosen = np.array(sorted(keep))
    return time[chosen], values[chosen]


def steps(time: Floats, values: Sequence[float] | Floats) -> list[tuple[float, float, float]]:
    """Stretches of constant value as (from, to, value); used for modes."""
    array = np.asarray(values, dtype=np.float64)
    changes = [0, *(np.flatnonzero(np.diff(array)) + 1).tolist(), len(array)]
    last = len(array) - 1
    return [(float(time[a]), float(time[min(b, last)]), float(array[a])) for a, b in pairwise(changes)]
