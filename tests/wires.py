"""Wires for the tests of the signal level: set A on a bench move, with the plain front end of the reference table."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import lru_cache
from typing import Any

import machines
import numpy as np
from numpy.typing import NDArray

from scenarios.build_signal import build_line, build_spikes
from scenarios.files.signal import Commutator, RippleDetector, ShapeCheck, SpikeDetector, Wires, WornCommutator
from scenarios.signal_bench import Bench, Order, fly, ready
from scenarios.signal_run import Chain, Source, listen, truth

__all__ = ["BARE_WIRES", "PLAIN", "LegTables", "heard_by", "lowering", "nets", "source_of"]

BARE_WIRES = Wires(sense_at="motor", switching_ripple_mv=0.0, crosstalk=0.0)
"""Sensing at the motor, a clean supply."""

PLAIN = SpikeDetector(
    difference_khz=0.0, coupling_khz=8.0, lowpass_khz=150.0, lockout_us=350.0, blank_switch_us=300.0, swing_v=60.0, delay_us=0.0, gain=1.0
)
"""High-pass 8 kHz, low-pass 150 kHz, absolute value, Schmitt trigger with 50 % hysteresis, lockout 350 us."""


@dataclass
class Segments:
    """Where a leg's tables say how many segments the commutator has."""

    segments: int = 12
    commutations: int = 12


@dataclass
class LegTables:
    """The tables of a leg that the signal level reads."""

    commutator: Commutator = field(default_factory=Commutator)
    worn_commutator: WornCommutator = field(default_factory=WornCommutator)
    wires: Wires = BARE_WIRES
    spike_detector: SpikeDetector = PLAIN
    ripple_detector: RippleDetector = field(default_factory=RippleDetector)
    shape_check: ShapeCheck = field(default_factory=ShapeCheck)
    motor: Segments = field(default_factory=Segments)


@lru_cache
def lowering(cut: float = 0.3, span: float = 0.66) -> Bench:
    """Set A lowers 60 kg at full duty without a current limit, power is cut, it coasts to rest."""
    world = machines.set_a(60.0)
    leg = world[0]["legs"][0]
    leg["travel"] = leg["height"] = 0.4
    leg["detector"]["kind"] = 2
    leg["motor"]["ripple_emf"], leg["motor"]["ripple_resistance"] = 1.0 - np.cos(np.pi / 12), 0.75 / 12
    return fly(ready(world), [Order(0.0, machines.DRIVE, -1.0, 60.0), Order(cut, machines.COAST, 0.0, 60.0)], span)


def source_of(bench: Bench, tables: Any, worn: bool = False, seed: int = 0, rate: float = 1e6) -> Source:
    """Wires of the bench's leg with the sparks and noise of a seed."""
    line = build_line(bench.world, bench.place, tables, worn, rate)
    line["seed"] = seed
    return Source(line, bench.history)


def heard_by(source: Source, detector: SpikeDetector, thresholds: list[float], lockouts_us: list[float]) -> Chain:
    """Chain with one comparator for each threshold [V], or for each lockout, after it has listened."""
    front, one = build_spikes(detector, float(source.line["dt"][0]), 1.0, thresholds[0])
    comparators = np.repeat(one, max(len(thresholds), len(lockouts_us)))
    comparators["threshold"] = thresholds
    if lockouts_us:
        comparators["lockout"] = np.round(np.array(lockouts_us) * 1e-6 / float(source.line["dt"][0]))
    chain = Chain(front, comparators, room=4096)
    listen(source, [chain])
    return chain


def nets(tables: Any, worn: bool, seeds: range, thresholds: list[float], lockouts_us: list[float] | None = None) -> NDArray[np.int64]:
    """Heard less true of the lowering, shape (seeds, comparators)."""
    bench = lowering()
    rows = []
    for seed in seeds:
        source = source_of(bench, tables, worn, seed)
        chain = heard_by(source, tables.spike_detector, thresholds, lockouts_us or [])
        rows.append(chain.comparators["pulses"] - len(truth(source)))
    return np.array(rows)
