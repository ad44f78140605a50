"""The detectors of a leg, with gain and threshold computed where the file leaves them out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from scenarios.build_signal import build_line, build_ripple, build_shape, build_spikes, ring_frequency
from scenarios.files.leg import Leg
from scenarios.files.signal import SpikeDetector
from scenarios.signal_bench import Bench
from scenarios.signal_phases import Phase, phases
from scenarios.signal_run import Chain, Floats, ShapeChain, Source, line_blocks, pass_block, truth

__all__ = ["Setting", "chains", "measure", "sample_rate", "set_by", "setting_of"]

FILL = 0.4
"""Share of the swing that the median spike in running fills."""
SHARE = 0.15
"""Threshold over the median spike in running: the middle of the useful window of a tenth to a quarter."""
NOISES = 7.0
"""Least threshold over the noise at the comparator, rms."""
RING_LIMIT = 250e3
"""Above this ringing a million samples a second are too few."""


@dataclass(frozen=True)
class Setting:
    """Gain and threshold of a spike detector, and what they were computed from.

    Attributes
    ----------
    gain
        Of the chain [-].
    threshold
        Referred to the input [V].
    spike, noise
        Median spike in running, and noise at rest, both after the filters and referred to the input [V]; the noise is rms.
    """

    gain: float
    threshold: float
    spike: float
    noise: float


def sample_rate(leg: Leg) -> float:
    """Samples per second that the ringing on these wires needs."""
    ring = max(ring_frequency(leg.wires, one.ring_khz * 1e3) for one in (leg.commutator, leg.worn_commutator))
    return 1e6 if ring <= RING_LIMIT else 2e6


def measure(leg: Leg, bench: Bench, worn: bool, tables: Sequence[SpikeDetector]) -> list[tuple[float, float]]:
    """Median spike in running and noise at rest behind the filters of each table, referred to the input [V]; the noise is rms.

    Raises
    ------
    ValueError
        If no commutation was passed in running.
    """
    rate = sample_rate(leg)
    source = Source(build_line(bench.world, bench.place, leg, worn, rate), bench.history)
    bare = [table.model_copy(update={"fed_by_wires": False, "swing_v": 1e6}) for table in tables]
    fronts = [Chain(*build_spikes(table, 1.0 / rate, 1.0, 1e6), room=1) for table in bare]
    kind = phases(bench.history, bench.step, bench.load_steps)
    true = truth(source)
    running = true[kind[np.minimum((true * 1e-6 / bench.step).astype(np.int64), len(kind) - 1)] == Phase.RUN]
    if len(running) < 2:
        raise ValueError("the bench move reaches no steady running")
    tops = np.zeros((len(tables), len(running) - 1))
    rest_us = 1e6 * bench.step * int(np.argmax(kind != Phase.REST))
    squares = np.zeros(len(tables))
    quiet = 0

    def take(block: Floats, samples: int, start_us: float) -> None:
        nonlocal quiet
        at = start_us + 1e6 / rate * np.arange(samples)
        owner = np.searchsorted(running, at, side="right") - 1
        good = (owner >= 0) & (owner < tops.shape[1])
        silent = at < rest_us
        quiet += int(np.count_nonzero(silent))
        for k, front in enumerate(fronts):
            values = np.abs(pass_block(front, block, samples))
            squares[k] += float(np.sum(values[silent] ** 2))
            np.maximum.at(tops[k], owner[good], values[good])

    line_blocks(source, take)
    noise = np.sqrt(squares / max(quiet, 1))
    return [(float(np.median(one)), float(rms)) for one, rms in zip(tops, noise, strict=True)]


def set_by(table: SpikeDetector, spike: float, noise: float) -> Setting:
    """Gain and threshold for a median ``spike`` and a ``noise`` [V]; what the table gives is kept.

    Gain: the median spike in running fills four tenths of the swing, so that the largest are cut and the smallest of a
    coast are well above the offset of a comparator.  Threshold: 15 % of the median spike, but seven times the noise.
    """
    threshold = max(SHARE * spike, NOISES * noise) if table.threshold_mv is None else table.threshold_mv * 1e-3
    gain = FILL * table.swing_v / max(spike, 1e-9) if table.gain is None else table.gain
    return Setting(gain, threshold, spike, noise)


def setting_of(leg: Leg, bench: Bench, worn: bool = False) -> Setting:
    """Gain and threshold of the leg's spike detector on a bench run; raises ValueError where it never runs steadily."""
    spike, noise = measure(leg, bench, worn, [leg.spike_detector])[0]
    return set_by(leg.spike_detector, spike, noise)


def chains(leg: Leg, setting: Setting) -> dict[str, Chain | ShapeChain]:
    """Fresh chains of all detectors of a leg, by name."""
    dt = 1.0 / sample_rate(leg)
    return {
        "spikes": Chain(*build_spikes(leg.spike_detector, dt, setting.gain, setting.threshold)),
        "shape": ShapeChain(*build_shape(leg, dt, setting.gain, setting.threshold, setting.noise), keep=True),
        "ripple": Chain(*build_ripple(leg.ripple_detector, dt)),
    }
