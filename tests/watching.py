"""A flight on the flat clock, a tick at a time, with what the invariants of the controller look at written down every tick."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from plant.kernel import kernel
from scenarios.flat import fly_flat
from scenarios.rig import TRACE_GLOBAL, TRACE_LEG, records
from scenarios.trace import record_arrays
from scenarios.wiring import advance_arrays, sense_arrays
from sync.tick import tick_arrays

__all__ = ["SEEN", "SEEN_LEG", "Spoiler", "Watched", "floats_of_memory", "fly_watched"]

SEEN = ("called", "trips", "direction")
"""Beside the trace, once a tick: whether the controller was called, how often it has decided on a pinch, and where its move goes."""
SEEN_LEG = ("told_mode", "told_duty", "inserted", "travel", "stuck")
"""The same for every leg: what the controller commands, counts inserted, true travel of the nut, and whether bridge or wires are faulty."""
_SEEN, _LEG = len(SEEN), len(SEEN_LEG)

Spoiler = Callable[[Any], None]
"""Changes the rig, an array of shape (1,), between the controller's call and what the bridges get."""


@kernel
def observe(rig: Any, row: Any, floats: Any, places: Any, extremes: Any) -> None:
    """Write the tick just flown into ``row``; keep the largest magnitude of every number of the memory, 1e300 if not finite."""
    one = rig[0]
    row[0] = one.tick_due
    row[1] = one.memory.pinch.trips
    row[2] = one.memory.direction
    for q in range(one.world.n_legs):
        told, leg = one.outputs.legs[q], one.world.legs[q]
        at = _SEEN + _LEG * q
        row[at] = told.mode
        row[at + 1] = told.duty
        row[at + 2] = one.memory.legs[q].inserted
        row[at + 3] = leg.travel
        row[at + 4] = leg.bridge.trouble.active
    for k in range(len(places)):
        size = floats[places[k]]
        size = size if size >= 0.0 else -size
        if not size < 1e300:
            size = 1e300
        if size > extremes[k]:
            extremes[k] = size


@lru_cache
def floats_of_memory(dtype: np.dtype[np.void], legs: int) -> tuple[tuple[str, ...], NDArray[np.int64]]:
    """Names of all floats of the controller's memory for so many legs, and their places in the rig taken as 8-byte words."""
    names: list[str] = []
    places: list[int] = []

    def walk(kind: Any, at: int, name: str) -> None:
        if kind.subdtype is not None:
            base, shape = kind.subdtype
            number = min(shape[0], legs) if name == "legs" else int(np.prod(shape))
            for k in range(number):
                walk(base, at + k * base.itemsize, name)
        elif kind.fields is not None:
            for field, (part, offset, *_) in kind.fields.items():
                walk(part, at + offset, f"{name}.{field}" if name else field)
        elif kind.kind == "f":
            names.append(name)
            places.append(at // 8)

    fields = dtype.fields
    assert fields is not None
    memory, at = fields["memory"][:2]
    walk(memory, at, "")
    return tuple(names), np.array(places, dtype=np.int64)


@dataclass(frozen=True)
class Watched:
    """A flown sequence: the trace and what was seen beside it, a row each guard tick.

    Attributes
    ----------
    told : record
        The settings as they were before the flight.
    extremes : dict
        Largest magnitude that each float field of the memory has had, 1e300 where one was not finite.
    """

    rig: NDArray[np.void]
    told: Any
    trace: NDArray[np.float64]
    seen: NDArray[np.float64]
    extremes: dict[str, float]

    @property
    def legs(self) -> int:
        """Number of legs."""
        return int(self.rig["world"]["n_legs"][0])

    @property
    def tick(self) -> float:
        """Guard tick [s]."""
        return float(self.told["tick"])

    def whole(self, name: str) -> NDArray[np.float64]:
        """Signal of the whole machine, shape (rows,)."""
        if name in SEEN:
            return self.seen[:, SEEN.index(name)]
        return self.trace[:, TRACE_GLOBAL.index(name)]

    def each(self, name: str) -> NDArray[np.float64]:
        """Signal of every leg, shape (rows, legs)."""
        if name in SEEN_LEG:
            return self.seen[:, _SEEN + SEEN_LEG.index(name) :: _LEG]
        return self.trace[:, len(TRACE_GLOBAL) + TRACE_LEG.index(name) :: len(TRACE_LEG)]


def _fly_spoilt(rig: Any, trace: NDArray[np.float64], row: int, spoil: Spoiler) -> None:
    """One tick of the flat clock with ``spoil`` between the controller and the bridges."""
    sense_arrays(rig)
    if rig["tick_due"][0]:
        tick_arrays(rig["settings"], rig["memory"], rig["inputs"], rig["outputs"])
        spoil(rig)
    record_arrays(rig, trace, row)
    advance_arrays(rig)


def fly_watched(rig: NDArray[np.void], spoil: Spoiler | None = None) -> Watched:
    """Fly a prepared rig in place to its end."""
    rig = records(rig)
    one = rig[0]
    told = one["settings"].copy()
    legs = int(one["world"]["n_legs"])
    ticks = int(one["end_us"]) // (int(one["world"]["sub_step_us"]) * int(one["world"]["steps_per_tick"]))
    trace = np.zeros((ticks, len(TRACE_GLOBAL) + len(TRACE_LEG) * legs))
    seen = np.zeros((ticks, _SEEN + _LEG * legs))
    names, places = floats_of_memory(rig.dtype, legs)
    words = rig.view(np.float64)
    extremes = np.zeros(len(places))
    for k in range(ticks):
        if spoil is None:
            fly_flat(rig, trace[k : k + 1], k + 1)
        else:
            _fly_spoilt(rig, trace, k, spoil)
        observe(rig, seen[k], words, places, extremes)
    most: dict[str, float] = {}
    for name, size in zip(names, extremes, strict=True):
        most[name] = max(most.get(name, 0.0), float(size))
    return Watched(rig, told, trace, seen, most)
