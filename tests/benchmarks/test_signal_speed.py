"""How fast the signal level is, and how much memory it takes."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path
from time import perf_counter

import pytest
import wires
from wires import LegTables

from scenarios.build_signal import build_spikes
from scenarios.files.signal import SpikeDetector
from scenarios.signal_run import Chain, listen

ROOMS = Path(__file__).resolve().parents[2]


@pytest.mark.benchmark
def test_waveform_and_spike_detector_of_one_motor_run_faster_than_real_time() -> None:
    bench = wires.lowering()
    detector = SpikeDetector()
    seconds = []
    for seed in range(4):
        source = wires.source_of(bench, LegTables(), seed=seed)
        chain = Chain(*build_spikes(detector, 1e-6, 1.0, 0.2), room=4096)
        begin = perf_counter()
        listen(source, [chain])
        seconds.append(perf_counter() - begin)
    best = min(seconds)
    print(f"1 MHz waveform and spike detector: {bench.span / best:.1f} times real time, {1e3 * best / bench.span:.0f} ns a sample")

    assert best < bench.span


@pytest.mark.slow
def test_twenty_seconds_of_two_motors_need_less_than_half_a_gigabyte() -> None:
    """Peak of the whole process, interpreter and compiled kernels included; the waveform alone would be 1.6 GB."""
    code = """
import resource
from scenarios import cache
cache.prepare()
import sys
sys.path.insert(0, sys.argv[1])
import machines
import wires
from scenarios.build_signal import build_spikes
from scenarios.files.signal import SpikeDetector
from scenarios.signal_bench import Order, fly, ready
from scenarios.signal_run import Chain, Source, listen
bench = fly(ready(machines.set_a(60.0)), [Order(0.0, 1, 1.0, 60.0), Order(12.0, 0, 0.0, 60.0)], 20.0)
leg = wires.LegTables(wires=wires.BARE_WIRES.model_copy(update={"crosstalk": 0.02}))
source, other = (wires.source_of(bench, leg, seed=k) for k in (1, 2))
chain = Chain(*build_spikes(SpikeDetector(), 1e-6, 1.0, 0.2))
listen(Source(source.line, source.history, other), [chain])
assert int(chain.comparators["pulses"][0]) > 7000
print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024)
"""
    done = subprocess.run([sys.executable, "-c", code, str(ROOMS / "tests")], capture_output=True, text=True, check=True)
    print(f"peak {done.stdout.strip()} MB")

    assert int(done.stdout) < 500
