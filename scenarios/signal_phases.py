"""Phases of a move, from what the bridge and the rotor do: where in it a commutation falls."""

from __future__ import annotations

from collections.abc import Sequence
from enum import IntEnum
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from plant.bridge import BRAKE, COAST, DRIVE

__all__ = ["Phase", "phases"]

EDGE_S = 2e-3
"""After a change of the bridge: the reach of the flyback and of what the edge does to a front end."""
STEP_S = 0.1
"""After a change of load."""
STARTED = 0.9
"""Share of the speed of a stretch at which its start is over."""
TAIL = 0.25
"""Share of the speed at the cut below which a coast is its tail."""


class Phase(IntEnum):
    """Phase of a move."""

    REST = 0
    EDGE = 1
    START = 2
    RUN = 3
    LOAD_STEP = 4
    COAST = 5
    TAIL = 6
    BRAKING = 7
    REVERSAL = 8

    @property
    def word(self) -> str:
        """Name for a table."""
        return self.name.lower().replace("_", " ")


def _stretches(values: NDArray[np.int64]) -> list[tuple[int, int]]:
    """First and end index of each run of equal values."""
    cuts = np.flatnonzero(np.diff(values)) + 1
    edges = [0, *cuts.tolist(), len(values)]
    return list(pairwise(edges))


def phases(history: NDArray[np.void], step: float, load_steps: Sequence[float] = ()) -> NDArray[np.int64]:
    """Phase of every sub-step.

    Parameters
    ----------
    history
        Shape (sub-steps + 1,) of ``HISTORY``.
    step
        Sub-step [s].
    load_steps
        Instants at which the load changes [s].

    Returns
    -------
    numpy.ndarray
        Shape (sub-steps,) of ``Phase``.  An edge wins over what it leads into, a reversal over a start.
    """
    mode, speed = history["mode"][:-1], history["speed"][:-1]
    pace = np.abs(speed)
    sense = history["sense"][:-1]
    found = np.full(len(mode), int(Phase.REST), np.int64)
    drive = np.where(mode == DRIVE, 2 + sense, 0)
    for first, end in _stretches(mode * 10 + drive):
        part = slice(first, end)
        if mode[first] == DRIVE:
            # what still turns the other way has not started this way
            ahead = np.maximum(speed[part] * (drive[first] - 2), 0.0)
            full = float(np.max(ahead))
            slow = np.maximum.accumulate(ahead) < STARTED * full
            found[part] = np.where(slow, Phase.START, Phase.RUN)
            found[part][speed[part] * (drive[first] - 2) < 0.0] = Phase.REVERSAL
        elif mode[first] == BRAKE:
            found[part] = Phase.BRAKING
        else:
            assert mode[first] == COAST
            found[part] = np.where(pace[part] < TAIL * pace[first], Phase.TAIL, Phase.COAST)
        found[part][(pace[part] == 0.0) & (mode[part] != DRIVE)] = Phase.REST
        if first > 0 or mode[first] == DRIVE:
            found[first : min(end, first + round(EDGE_S / step))] = Phase.EDGE
    for at in load_steps:
        part = slice(round(at / step), round((at + STEP_S) / step))
        found[part] = np.where(found[part] == Phase.RUN, Phase.LOAD_STEP, found[part])
    return found
