"""No dead key: every number of the commutator, the wires and the detectors, a tenth more, is seen in some recorded stage."""

from __future__ import annotations

from functools import lru_cache
from hashlib import blake2b
from typing import Any

import machines
import numpy as np
import pytest
from pydantic import BaseModel
from wires import LegTables

from plant.signal.front_end import STAGES, pass_stages
from scenarios.build_signal import build_line, build_ripple, build_shape, build_spikes
from scenarios.files.signal import Commutator, RippleDetector, ShapeCheck, SpikeDetector, Wires, WornCommutator
from scenarios.rig import records
from scenarios.signal_bench import Bench, Order, fly, ready
from scenarios.signal_run import Chain, Floats, ShapeChain, Source, line_blocks

LIVELY: dict[str, Any] = {"weak_segment": 3, "double": 0.3, "cluster": 0.5, "bounce_per_s": 150.0}
TABLES: dict[str, BaseModel] = {
    "commutator": Commutator(**LIVELY),
    "worn_commutator": WornCommutator(**LIVELY),
    "wires": Wires(mains_ripple_v=1.0, bursts_per_s=60.0, choke_uh=1.0, crosstalk=0.05),
    "spike_detector": SpikeDetector(damping_khz=600.0, gain=0.5, threshold_mv=150.0, tracking=0.2, adaptive_lockout=0.5, swing_v=1.0),
    "ripple_detector": RippleDetector(),
    "shape_check": ShapeCheck(),
}
VARIANTS: list[dict[str, dict[str, Any]]] = [
    {},
    {"wires": {"capacitor_nf": 100.0}},
    {"wires": {"sense_at": "controller"}},
    {"spike_detector": {"fed_by_wires": True, "swing_v": 60.0, "adaptive_lockout": 0.0}},
    {"spike_detector": {"threshold_mv": 1200.0, "tracking": 0.0, "adaptive_lockout": 0.0}},
    {"spike_detector": {"threshold_mv": 60.0, "tracking": 0.0, "lockout_us": 0.0, "adaptive_lockout": 0.0}},
    {"ripple_detector": {"gate_ma": 2000.0}},
    {"shape_check": {"likeness": 0.9}},
    {"shape_check": {"least_size": 0.8}},
    {"shape_check": {"least_period": 0.9}},
    {"shape_check": {"value_us": 5.0}},
]
"""Settings beside the plain one in which a key must tell that cannot tell there."""
SIGNALS = ("commutator", "worn_commutator", "wires")


@lru_cache
def bench() -> Bench:
    """Start, a stretch with a carrier, power cut and coast, in the cold."""
    world = machines.set_a(60.0)
    leg = world[0]["legs"][0]
    leg["motor"]["winding"] = leg["motor"]["case"] = leg["motor"]["ambient"] = 0.0
    leg["motor"]["ripple_emf"], leg["motor"]["ripple_resistance"] = 0.034, 0.0625
    orders = [
        Order(0.0, machines.DRIVE, -1.0, 60.0),
        Order(0.05, machines.DRIVE, -0.9, 60.0),
        Order(0.12, machines.COAST, 0.0, 60.0),
        Order(0.16, machines.DRIVE, -1.0, 60.0),
    ]
    return fly(ready(world), orders, 0.22)


def recorded(changes: dict[str, dict[str, Any]], signal_alone: bool) -> str:
    """Digest of the wires, every stage of both front ends and every pulse; new, worn and with a neighbour."""
    made = {name: table.model_copy(update=changes.get(name, {})) for name, table in TABLES.items()}
    leg = LegTables(**made)  # type: ignore[arg-type]
    digest = blake2b(digest_size=12)
    for worn in (False, True):
        sources = [build_line(bench().world, 0, leg, worn) for _ in range(2)]
        sources[1]["seed"] = 9
        source = Source(sources[0], bench().history, Source(sources[1], bench().history))
        spikes = leg.spike_detector
        chains = [
            Chain(*build_spikes(spikes, 1e-6, spikes.gain or 1.0, 1e-3 * (spikes.threshold_mv or 100.0)), room=4096),
            Chain(*build_ripple(leg.ripple_detector, 1e-6), room=4096),
            ShapeChain(*build_shape(leg, 1e-6, spikes.gain or 1.0, 1e-3 * (spikes.threshold_mv or 100.0)), room=4096),  # type: ignore[arg-type]
        ]
        fronts = [chain.front.copy() for chain in chains]

        def take(block: Floats, samples: int, start_us: float, chains: Any = chains, fronts: Any = fronts) -> None:
            digest.update(block[:, :samples].tobytes())
            if signal_alone:
                return
            for chain, front in zip(chains, fronts, strict=True):
                stages = np.zeros((len(STAGES), samples))
                pass_stages(records(front)[0], block, samples, stages)
                digest.update(stages.tobytes())
                chain.take(block, samples, start_us, 1.0)

        line_blocks(source, take)
        for chain in chains:
            digest.update(chain.heard().tobytes())
            if isinstance(chain, ShapeChain):  # what it has learnt and how it has judged are its stages
                digest.update(chain.shape["pattern"].tobytes() + chain.shape["ended"].tobytes())
    return digest.hexdigest()


@lru_cache
def unmoved(variant: int, signal_alone: bool) -> str:
    return recorded(VARIANTS[variant], signal_alone)


def numbers(table: BaseModel) -> list[tuple[str, float]]:
    values = ((name, getattr(table, name)) for name in type(table).model_fields)
    return [(name, value) for name, value in values if isinstance(value, int | float) and not isinstance(value, bool)]


def moved(value: float) -> float:
    return (value + 1 if value != -1 else 1) if isinstance(value, int) else (1.1 * value if value else 0.1)


def seen(table: str, key: str, value: float) -> bool:
    alone = table in SIGNALS
    for k, variant in enumerate(VARIANTS):
        changes = {**variant, table: {**variant.get(table, {}), key: moved(variant.get(table, {}).get(key, value))}}
        if recorded(changes, alone) != unmoved(k, alone):
            return True
    return False


@pytest.mark.slow
@pytest.mark.parametrize("table", TABLES)
def test_every_number_of_the_signal_level_is_seen_in_a_recorded_stage(table: str) -> None:
    keys = numbers(TABLES[table])

    assert [key for key, value in keys if not seen(table, key, value)] == []
    assert len(keys) >= 4
