"""Running detectors over a waveform, block by block."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from plant.kernel import kernel
from plant.signal.comparator import decide
from plant.signal.front_end import pass_front
from plant.signal.history import true_instants
from plant.signal.records import CHANNELS
from plant.signal.shape import check_shapes, prepare_shape
from plant.signal.wave import add_neighbour, prepare_line, synthesise
from scenarios.rig import records

__all__ = [
    "BLOCK_STEPS",
    "Chain",
    "Floats",
    "ShapeChain",
    "Source",
    "line_blocks",
    "listen",
    "pass_block",
    "prepare_source",
    "synthesise_into",
    "truth",
]

BLOCK_STEPS = 100
"""Sub-steps of a block: 10,000 samples at 1 MHz and 100 us, small enough for the cache."""

Floats = NDArray[np.float64]


@dataclass
class Chain:
    """A front end with the comparators behind it, and what they heard.

    Attributes
    ----------
    front
        Shape (1,) of ``FRONT``.
    comparators
        Shape (n,) of ``COMPARATOR``.
    room
        Pulses that each may give at most.
    """

    front: NDArray[np.void]
    comparators: NDArray[np.void]
    room: int = 1 << 16
    pulses: Floats = field(init=False)

    def __post_init__(self) -> None:
        """Make room for the pulses."""
        self.pulses = np.zeros((len(self.comparators), self.room))

    def take(self, block: Floats, samples: int, start_us: float, dt_us: float) -> None:
        """Run over a block."""
        values = np.empty(samples)
        _hear(records(self.front), records(self.comparators), block, (samples, start_us, dt_us), self.pulses, values)

    def heard(self, index: int = 0) -> Floats:
        """Instants [us] of the pulses of one comparator."""
        return self.pulses[index, : int(self.comparators["pulses"][index])].copy()


@dataclass
class ShapeChain:
    """A front end with the shape check behind it, and what it accepted.

    Attributes
    ----------
    front
        Shape (1,) of ``FRONT``.
    shape
        Shape (1,) of ``SHAPE``.
    room
        Pulses that it may give at most.
    estimates
        After each block: instant [us], speed [rad/s], direction, instant of the power-off seen [us], wear; where ``keep``.
    """

    front: NDArray[np.void]
    shape: NDArray[np.void]
    room: int = 1 << 16
    keep: bool = False
    pulses: Floats = field(init=False)
    estimates: list[tuple[float, float, int, float, float]] = field(default_factory=list)

    def __post_init__(self) -> None:
        """Make room for the pulses, forget everything."""
        self.pulses = np.zeros(self.room)
        _prepare_shape(records(self.shape))

    def take(self, block: Floats, samples: int, start_us: float, dt_us: float) -> None:
        """Run over a block."""
        values = np.empty(samples)
        _check(records(self.front), records(self.shape), block, (samples, start_us, dt_us), self.pulses, values)
        if self.keep:
            one = self.shape[0]
            at_us = start_us + dt_us * samples
            self.estimates.append((at_us, float(one["speed"]), int(one["direction"]), float(one["off_us"]), float(one["wear"])))

    @property
    def ended(self) -> tuple[int, ...]:
        """Candidates accepted, too soon, too small, unlike."""
        return tuple(int(one) for one in self.shape["ended"][0])

    def heard(self, index: int = 0) -> Floats:
        """Instants [us] of the accepted groups."""
        del index
        return self.pulses[: int(self.shape["pulses"][0])].copy()


@kernel
def _prepare(line: Any) -> None:
    prepare_line(line[0])


@kernel
def _synthesise(line: Any, history: Any, first: int, steps: int, out: Any) -> int:
    return synthesise(line[0], history, first, steps, out)


@kernel
def _add_neighbour(out: Any, other: Any, samples: int, share: float) -> None:
    add_neighbour(out, other, samples, share)


@kernel
def _hear(front: Any, comparators: Any, block: Any, span: tuple[int, float, float], pulses: Any, values: Any) -> None:
    """Front end and comparators on one block; ``values`` has room for the front end's output."""
    pass_front(front[0], block, span[0], values)
    for k in range(len(comparators)):
        decide(comparators[k], values, block, span, pulses[k])


@kernel
def _prepare_shape(shape: Any) -> None:
    prepare_shape(shape[0])


@kernel
def _check(front: Any, shape: Any, block: Any, span: tuple[int, float, float], pulses: Any, values: Any) -> None:
    """Front end and shape check on one block."""
    pass_front(front[0], block, span[0], values)
    check_shapes(shape[0], values, block, span, pulses)


@kernel
def _pass(front: Any, block: Any, samples: int, values: Any) -> None:
    pass_front(front[0], block, samples, values)


@kernel
def _truth(line: Any, history: Any, instants: Any) -> int:
    return true_instants(line[0], history, instants)


@dataclass
class Source:
    """A motor whose wires are heard: its line and its history, and the neighbour in the same harness if there is one.

    Attributes
    ----------
    line
        Shape (1,) of ``LINE``.
    history
        Shape (sub-steps + 1,) of ``HISTORY``.
    neighbour
        Its spikes are picked up by the share that ``line`` states; it is at rest after the end of its history.
    """

    line: NDArray[np.void]
    history: NDArray[np.void]
    neighbour: Source | None = None


def line_blocks(source: Source, take: Callable[[Floats, int, float], None]) -> None:
    """Make the waveform of a source and hand it on block by block.

    Parameters
    ----------
    source
        Its line is prepared here.
    take
        Is called with the block (it is overwritten by the next), the samples in it and the instant of the first [us].
    """
    one, rows = records(source.line), records(source.history)
    _prepare(one)
    samples = int(source.line["samples"][0])
    block = np.zeros((CHANNELS, BLOCK_STEPS * samples))
    steps = len(source.history) - 1
    step_us = 1e6 * float(source.line["step"][0])
    share = float(source.line["wires"]["crosstalk"][0])
    other = source.neighbour if share > 0.0 else None
    if other is not None:
        _prepare(records(other.line))
        beside = np.zeros_like(block)
    for first in range(0, steps, BLOCK_STEPS):
        wanted = min(BLOCK_STEPS, steps - first)
        number = _synthesise(one, rows, first, wanted, block)
        if other is not None and first + wanted < len(other.history):
            _synthesise(records(other.line), records(other.history), first, wanted, beside)
            _add_neighbour(block, beside, number, share)
        take(block, number, first * step_us)


def prepare_source(source: Source) -> None:
    """Derive what the line needs, and forget what it carried."""
    _prepare(records(source.line))


def synthesise_into(line: NDArray[np.void], history: NDArray[np.void], block: Floats) -> int:
    """Make the waveform of a whole stretch of history, carried on from the one before; the samples written."""
    return int(_synthesise(records(line), records(history), 0, len(history) - 1, block))


def pass_block(chain: Chain, block: Floats, samples: int) -> Floats:
    """Output of the front end on a block [V]; nothing is decided."""
    values = np.empty(samples)
    _pass(records(chain.front), block, samples, values)
    return values


def listen(source: Source, chains: Sequence[Chain | ShapeChain]) -> None:
    """Run chains over the waveform of a source; what they hear stays in them."""
    dt_us = 1e6 * float(source.line["dt"][0])

    def take(block: Floats, samples: int, start_us: float) -> None:
        for chain in chains:
            chain.take(block, samples, start_us, dt_us)

    line_blocks(source, take)


def truth(source: Source) -> Floats:
    """Instants [us] of the true commutations of a source."""
    line, history = source.line, source.history
    turned = float(np.sum(np.abs(np.diff(history["angle"]))))
    room = np.zeros(int(turned * int(line["commutations"][0]) / 6.28) + 64)
    return room[: _truth(records(line), records(history), room)]
