"""Maps of the spike detector's working window: threshold against lockout, and its two corner frequencies."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from scenarios.build_signal import build_spikes
from scenarios.files.signal import SpikeDetector
from scenarios.signal_detectors import Setting, measure, sample_rate, set_by
from scenarios.signal_run import Chain, listen, truth
from scenarios.signal_score import match
from scenarios.signal_study import Flown

__all__ = ["Map", "corner_map", "errors_of", "window_map"]

Floats = NDArray[np.float64]
THRESHOLDS = 12
LOCKOUTS_US = (50.0, 100.0, 150.0, 200.0, 250.0, 300.0, 350.0, 450.0, 600.0, 800.0, 1000.0, 1200.0, 1500.0)
COUPLINGS_KHZ = (2.0, 4.0, 8.0, 12.0, 20.0)
LOWPASSES_KHZ = (40.0, 80.0, 150.0, 250.0, 400.0)
PLATEAU = 2.0
"""Counts by which a cell of the plateau may be worse than the best."""


@dataclass(frozen=True)
class Map:
    """Errors over two settings.

    Attributes
    ----------
    across, up
        Values of the axes; their names and units are in ``labels``.
    missed, extra
        Per move, shape (up, across).
    chosen
        The setting in force, as (across, up).
    """

    title: str
    labels: tuple[str, str]
    across: tuple[float, ...]
    up: tuple[float, ...]
    missed: Floats
    extra: Floats
    chosen: tuple[float, float]

    @property
    def wrong(self) -> Floats:
        """Missed and extra counts together."""
        return self.missed + self.extra

    @property
    def plateau(self) -> NDArray[np.bool_]:
        """Cells that are at most two counts a move worse than the best."""
        return np.asarray(self.wrong <= np.min(self.wrong) + PLATEAU, dtype=np.bool_)

    @property
    def on_plateau(self) -> bool:
        """Whether the cell nearest to the chosen point lies on the plateau."""
        column = int(np.argmin(np.abs(np.log(np.asarray(self.across) / self.chosen[0]))))
        row = int(np.argmin(np.abs(np.log(np.asarray(self.up) / self.chosen[1]))))
        return bool(self.plateau[row, column])

    def as_dict(self) -> dict[str, Any]:
        """For JSON."""
        return {
            "title": self.title,
            "labels": list(self.labels),
            "across": list(self.across),
            "up": list(self.up),
            "missed": self.missed.tolist(),
            "extra": self.extra.tolist(),
            "plateau": self.plateau.tolist(),
            "chosen": list(self.chosen),
            "chosen_on_plateau": self.on_plateau,
        }


def errors_of(true: Floats, heard: Floats) -> tuple[int, int]:
    """Missed and extra pulses."""
    made = match(true, heard)
    return int(np.count_nonzero(made.hit < 0)), int(np.count_nonzero(made.kind != 0))


def window_map(flown: Flown, condition: str, setting: Setting, seeds: range) -> Map:
    """Threshold against lockout; all comparators hear the same front end."""
    rate = sample_rate(flown.leg)
    low, high = max(3.0 * setting.noise, 0.02 * setting.spike), 0.9 * setting.spike
    thresholds = np.geomspace(low, high, THRESHOLDS)
    front, one = build_spikes(flown.leg.spike_detector, 1.0 / rate, setting.gain, setting.threshold)
    comparators = np.repeat(one, THRESHOLDS * len(LOCKOUTS_US))
    comparators["threshold"] = setting.gain * np.repeat(thresholds, len(LOCKOUTS_US))
    comparators["lockout"] = np.tile(np.round(np.array(LOCKOUTS_US) * 1e-6 * rate), THRESHOLDS)
    missed, extra = np.zeros(len(comparators)), np.zeros(len(comparators))
    for seed in seeds:
        source = flown.source(condition == "worn", seed)
        chain = Chain(front.copy(), comparators.copy(), room=8192)
        listen(source, [chain])
        true = truth(source)
        for k in range(len(comparators)):
            found = errors_of(true, chain.heard(k))
            missed[k] += found[0] / len(seeds)
            extra[k] += found[1] / len(seeds)
    shape = (THRESHOLDS, len(LOCKOUTS_US))
    return Map(
        f"{condition} motor, {flown.name}",
        ("lockout [us]", "threshold [mV]"),
        LOCKOUTS_US,
        tuple(1e3 * thresholds),
        missed.reshape(shape),
        extra.reshape(shape),
        (flown.leg.spike_detector.lockout_us, 1e3 * setting.threshold),
    )


def _corner_tables(table: SpikeDetector) -> list[SpikeDetector]:
    return [table.model_copy(update={"coupling_khz": high, "lowpass_khz": low}) for low in LOWPASSES_KHZ for high in COUPLINGS_KHZ]


def corner_map(flown: Flown, condition: str, seeds: range) -> Map:
    """The two corner frequencies, gain and threshold computed anew for each pair."""
    leg = flown.leg
    rate = sample_rate(leg)
    tables = _corner_tables(leg.spike_detector)
    settings = [set_by(table, *found) for table, found in zip(tables, measure(leg, flown.bench, False, tables), strict=True)]
    missed, extra = np.zeros(len(tables)), np.zeros(len(tables))
    for seed in seeds:
        source = flown.source(condition == "worn", seed)
        made = [Chain(*build_spikes(t, 1.0 / rate, s.gain, s.threshold), room=8192) for t, s in zip(tables, settings, strict=True)]
        listen(source, made)
        true = truth(source)
        _add(missed, extra, [errors_of(true, chain.heard()) for chain in made], len(seeds))
    shape = (len(LOWPASSES_KHZ), len(COUPLINGS_KHZ))
    return Map(
        f"{condition} motor, {flown.name}",
        ("coupling corner [kHz]", "low-pass corner [kHz]"),
        COUPLINGS_KHZ,
        LOWPASSES_KHZ,
        missed.reshape(shape),
        extra.reshape(shape),
        (leg.spike_detector.coupling_khz, leg.spike_detector.lowpass_khz or LOWPASSES_KHZ[-1]),
    )


def _add(missed: Floats, extra: Floats, found: Sequence[tuple[int, int]], seeds: int) -> None:
    missed += np.array([one[0] for one in found]) / seeds
    extra += np.array([one[1] for one in found]) / seeds
