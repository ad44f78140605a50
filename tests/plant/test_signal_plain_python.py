"""The kernels of the signal level are ordinary Python as well: the same bytes with and without the compiler."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np

from plant.signal.records import COMPARATOR, FRONT, HISTORY, LINE, ORDER, SHAPE

ROOMS = Path(__file__).resolve().parents[2]
CODE = """
import sys
sys.path.insert(0, sys.argv[1])
from hashlib import blake2b
from types import SimpleNamespace
import numpy as np
from plant.signal.records import HISTORY
from scenarios.build_signal import build_line, build_ripple, build_shape, build_spikes
from scenarios.files.signal import SpikeDetector, Wires, WornCommutator
from scenarios.signal_run import Chain, ShapeChain, Source, line_blocks, truth
import machines
import wires

steps = 60
history = np.zeros(steps + 1, HISTORY)
history["speed"] = np.linspace(400.0, 300.0, steps + 1)
history["angle"] = np.cumsum(np.r_[0.0, 0.5e-4 * (history["speed"][1:] + history["speed"][:-1])])
history["current"] = np.where(np.arange(steps + 1) < 30, 3.0, 0.0)
history["current"][30] = 1.0
history["supply"] = 24.0
history["duty"] = np.where(np.arange(steps + 1) < 30, 0.8, 0.0)
history["mode"] = np.where(np.arange(steps + 1) < 30, 1, 0)
world = machines.set_a(60.0)
for field, source in (("hot_resistance", "resistance"), ("hot_constant", "torque_constant")):
    world[0]["legs"][0]["motor"][field] = world[0]["legs"][0]["motor"][source]
world[0]["legs"][0]["motor"]["ripple_emf"], world[0]["supply"]["voltage"] = 0.034, 24.0
world[0]["seed"] = 7
loud = Wires(mains_ripple_v=0.5, bursts_per_s=500.0)
worn = WornCommutator(double=0.5, bounce_per_s=200.0)
leg = wires.LegTables(worn_commutator=worn, wires=loud, spike_detector=SpikeDetector(tracking=0.2))
source, beside = (Source(build_line(world, 0, leg, True, 2e5), history) for _ in range(2))
source.neighbour = beside
chains = [
    Chain(*build_spikes(leg.spike_detector, 5e-6, 1.0, 0.1), room=64),
    Chain(*build_ripple(leg.ripple_detector, 5e-6), room=64),
    ShapeChain(*build_shape(leg, 5e-6, 1.0, 0.1), room=64),
]
digest = blake2b(digest_size=12)

def take(block, samples, start_us):
    digest.update(np.ascontiguousarray(block[:, :samples]).tobytes())
    for chain in chains:
        chain.take(block, samples, start_us, 5.0)

line_blocks(source, take)
for chain in chains:
    digest.update(chain.heard().tobytes())
print(len(truth(source)), *(len(chain.heard()) for chain in chains), digest.hexdigest())
"""


RECORDS = (COMPARATOR, FRONT, HISTORY, LINE, ORDER, SHAPE)


def fields(record: np.dtype[Any]) -> Iterator[str]:
    """Names of all fields, those of records inside included."""
    for name in record.names or ():
        yield name
        yield from fields(record[name])


def test_no_field_is_named_like_an_attribute_of_numpy() -> None:
    """Plain Python takes the attribute instead."""
    taken = set(dir(np.recarray)) | set(dir(np.record))

    assert [name for record in RECORDS for name in fields(record) if name in taken] == []


def told(plain: bool) -> str:
    environment = {key: value for key, value in os.environ.items() if key != "NUMBA_DISABLE_JIT"}
    environment |= {"PYTHONPATH": os.environ.get("PYTHONPATH", str(ROOMS))}
    if plain:
        environment["NUMBA_DISABLE_JIT"] = "1"
    words = [sys.executable, "-W", "ignore::RuntimeWarning", "-c", CODE, str(ROOMS / "tests")]
    done = subprocess.run(words, capture_output=True, text=True, env=environment, check=False)
    assert done.returncode == 0, done.stderr
    return done.stdout


def test_the_wires_are_the_same_bytes_with_and_without_the_compiler() -> None:
    compiled = told(False)

    assert int(compiled.split()[0]) == 4
    assert compiled == told(True)
