"""Reference counters on the shaft: hall, optical or switch, single or in quadrature, on the motor shaft or the spindle.

A wheel of n slots gives an edge at each of n fixed angles of its shaft.  A single channel has no sign: it counts what goes
backwards as well.  Quadrature gives four edges a slot with their sign.  A mechanical switch bounces: each closure is
followed by up to a few more within a millisecond; a debounce counts nothing for a time after a count, and so loses edges
that come faster.

Source: geometry; bounce and debounce times are common practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

__all__ = ["BOUNCE_S", "DEBOUNCE_S", "Wheel", "counted", "edges"]

Floats = NDArray[np.float64]

BOUNCE_S = 1e-3
"""Within which a switch bounces."""
DEBOUNCE_S = 2e-3
MOST_BOUNCES = 4
TURN = 2.0 * np.pi


@dataclass(frozen=True)
class Wheel:
    """A wheel of ``slots`` on a shaft that turns once in ``ratio`` turns of the motor."""

    slots: int
    ratio: float = 1.0
    quadrature: bool = False
    bounces: bool = False


def edges(history: NDArray[np.void], step: float, wheel: Wheel) -> tuple[Floats, Floats]:
    """Edges of a wheel.

    Parameters
    ----------
    history
        Of the leg.
    step
        Sub-step [s].
    wheel
        What turns.

    Returns
    -------
    instants, signs
        When [s], and 1 upwards or -1 downwards, shape (edges,); within a sub-step the angle goes straight.
    """
    pitch = TURN * wheel.ratio / (wheel.slots * (4 if wheel.quadrature else 1))
    places = history["angle"] / pitch
    floors = np.floor(places)
    rows = np.flatnonzero(np.diff(floors))
    instants: list[float] = []
    signs: list[float] = []
    for k in rows:
        low, high = places[k], places[k + 1]
        up = high > low
        crossed = np.arange(floors[k] + 1, floors[k + 1] + 1) if up else np.arange(floors[k], floors[k + 1], -1.0)
        instants += (step * (k + (crossed - low) / (high - low))).tolist()
        signs += [1.0 if up else -1.0] * len(crossed)
    return np.array(instants), np.array(signs)


def counted(history: NDArray[np.void], step: float, wheel: Wheel, seed: int) -> tuple[int, int]:
    """What a counter makes of a move, and what is true.

    Parameters
    ----------
    history, step, wheel
        As in :func:`edges`.
    seed
        Of the bounces.

    Returns
    -------
    counted, true
        Net edges.  Without quadrature the sign is taken from the first motion, as a controller takes it from its command.
    """
    instants, signs = edges(history, step, wheel)
    true = int(np.sum(signs))
    if wheel.quadrature:
        return true, true
    sense = 1 if true >= 0 else -1
    if not wheel.bounces:
        return sense * len(instants), true
    rng = np.random.Generator(np.random.Philox(seed))
    extra = [at + rng.uniform(0.0, BOUNCE_S, rng.integers(0, MOST_BOUNCES + 1)) for at in instants]
    closures = np.sort(np.concatenate([instants, *extra])) if len(instants) else instants
    number, last = 0, -np.inf
    for at in closures.tolist():
        if at - last >= DEBOUNCE_S:
            number, last = number + 1, at
    return sense * number, true
