"""Rigs of a campaign side by side: the parts of a rig that a lift can use, without the room that it cannot.

A rig has room for sixteen legs, 256 script rows and 64 moves; where a million of them lie beside each other, or each is one thread's own
memory on a card, that room costs more than the flight.  A ``Compact`` layout keeps of every array what the lifts of one campaign can
reach.  Same fields, same names: the kernels are the same.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from plant.records import CAPACITY
from scenarios.rig import MAX_EVENTS, MAX_MOVES, MAX_ROWS, rig_dtype

__all__ = ["WHOLE", "Compact", "compact_of"]

EVENTS = 64
"""Events that are kept of a lift; one that has more is flown again elsewhere, see :meth:`Compact.overflowed`."""


def _trimmed(source: Any, target: Any) -> None:
    """Copy a record into one with the same names and arrays that are at most as long, element by element."""
    for name in target.dtype.names:
        one, other = source[name], target[name]
        if other.dtype.names is None:
            other[...] = one[tuple(slice(0, n) for n in other.shape[: one.ndim])] if other.shape else one
        elif other.shape[1:]:
            for k in range(other.shape[1]):
                _trimmed(one[:, k], other[:, k])
        else:
            _trimmed(one, other)


@dataclass(frozen=True)
class Compact:
    """Layout of the rigs of one campaign.

    Parameters
    ----------
    capacity
        Legs there is room for.
    moves, rows, events
        Scored moves, script rows and logged events there is room for.
    """

    capacity: int
    moves: int
    rows: int
    events: int = EVENTS

    @cached_property
    def dtype(self) -> np.dtype[np.void]:
        """The record."""
        return rig_dtype(self.capacity, self.moves, self.rows, self.events)

    @cached_property
    def _places(self) -> NDArray[np.int64]:
        """Where each word of the compact record stands in the whole one, counted in words of eight bytes."""
        whole = rig_dtype()
        counted = np.arange(whole.itemsize // 8).view(whole)
        places = np.full(self.dtype.itemsize // 8, -1).view(self.dtype)
        _trimmed(counted, places)
        found = places.view(np.int64)
        if (found < 0).any():
            raise ValueError("the records have fields that are not of eight bytes: the compact copy would lose them")
        return found

    def pack(self, rig: NDArray[np.void]) -> NDArray[np.void]:
        """A whole rig, shape (1,), as a compact one of the same shape."""
        return rig.view(np.int64)[self._places].view(self.dtype)

    def unpack(self, packed: NDArray[np.void]) -> NDArray[np.void]:
        """A compact rig, shape (1,), as a whole one; what had no room is zero."""
        rig = np.zeros(1, dtype=rig_dtype())
        rig.view(np.int64)[self._places] = packed.view(np.int64)
        return rig

    def fits(self, rig: NDArray[np.void]) -> bool:
        """Whether a prepared rig has room here."""
        return int(rig["world"]["n_legs"][0]) <= self.capacity and int(rig["rows"][0]) <= self.rows

    def overflowed(self, flown: NDArray[np.void]) -> NDArray[np.bool_]:
        """Which of flown compact rigs, shape (lifts,), ran out of room for moves or events: their records are not whole."""
        return np.asarray((flown["events"] > self.events) | (flown["moves"] >= self.moves), dtype=np.bool_)


WHOLE = Compact(CAPACITY, MAX_MOVES, MAX_ROWS, MAX_EVENTS)
"""The layout that leaves nothing out."""


def compact_of(rig: NDArray[np.void]) -> Compact:
    """Layout for lifts that are like a prepared rig: its legs up to a power of two, its rows, and a move more than its rows order."""
    rows = int(rig["rows"][0])
    legs = int(rig["world"]["n_legs"][0])
    moves = int(rig["script"]["move"][0][:rows].sum())
    return Compact(1 << (legs - 1).bit_length(), moves + 2, max(rows, 1))
