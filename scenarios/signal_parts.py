"""Component values for the spike detector from the E24 series, and the worst corners that their tolerances make.

Source: IEC 60063, preferred numbers of the series E6 and E24.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import floor, log10, pi
from typing import Any

import numpy as np

from scenarios.build_signal import build_spikes
from scenarios.files.signal import SpikeDetector
from scenarios.signal_detectors import Setting, sample_rate
from scenarios.signal_maps import errors_of
from scenarios.signal_run import Chain, listen, truth
from scenarios.signal_study import Flown

__all__ = ["E24", "Corner", "Part", "Proposal", "nearest_e24", "propose"]

E24 = (1.0, 1.1, 1.2, 1.3, 1.5, 1.6, 1.8, 2.0, 2.2, 2.4, 2.7, 3.0, 3.3, 3.6, 3.9, 4.3, 4.7, 5.1, 5.6, 6.2, 6.8, 7.5, 8.2, 9.1)
"""IEC 60063, one decade."""
TOLERANCES = (0.01, 0.05)
COUPLING_F, LOWPASS_F, LOCKOUT_F = 1e-9, 100e-12, 10e-9
INPUT_OHM, HYSTERESIS_OHM, DIVIDER_OHM = 10e3, 10e3, 10e3
LN3 = 1.0986122886681098
"""A monostable that ends at two thirds of its supply takes R C ln 3."""


def nearest_e24(value: float) -> float:
    """Value of the series nearest to ``value`` by ratio.

    Raises
    ------
    ValueError
        If ``value`` is not above zero.
    """
    if value <= 0.0:
        raise ValueError(f"{value:g} must be above zero")
    decade = 10.0 ** floor(log10(value))
    choices = [one * scale for scale in (0.1 * decade, decade, 10.0 * decade) for one in E24]
    return min(choices, key=lambda one: abs(log10(one / value)))


@dataclass(frozen=True)
class Part:
    """One proposed part: its value [ohm or F], what it sets, what was wanted and what it gives, in ``unit``."""

    name: str
    value: float
    kind: str
    sets: str
    wanted: float
    given: float
    unit: str


@dataclass(frozen=True)
class Corner:
    """Worst case of a tolerance: every part at its end, so that the detector is least or most sensitive; errors a move."""

    tolerance: float
    name: str
    coupling_khz: float
    lowpass_khz: float
    threshold_mv: float
    lockout_us: float
    missed: float
    extra: float


@dataclass(frozen=True)
class Proposal:
    """Parts, and the worst corners."""

    parts: tuple[Part, ...]
    corners: tuple[Corner, ...]

    def as_dict(self) -> dict[str, Any]:
        """For JSON."""
        return {"parts": [vars(part) for part in self.parts], "corners": [vars(corner) for corner in self.corners]}


def _parts(table: SpikeDetector, setting: Setting) -> tuple[Part, ...]:
    high = nearest_e24(1.0 / (2.0 * pi * table.coupling_khz * 1e3 * COUPLING_F))
    parts = [
        Part("C coupling", COUPLING_F, "C", "fixed", 1e9 * COUPLING_F, 1e9 * COUPLING_F, "nF"),
        Part("R coupling", high, "R", "coupling corner", table.coupling_khz, 1e-3 / (2.0 * pi * high * COUPLING_F), "kHz"),
    ]
    if table.lowpass_khz > 0.0:
        low = nearest_e24(1.0 / (2.0 * pi * table.lowpass_khz * 1e3 * LOWPASS_F))
        parts += [
            Part("C low-pass", LOWPASS_F, "C", "fixed", 1e12 * LOWPASS_F, 1e12 * LOWPASS_F, "pF"),
            Part("R low-pass", low, "R", "low-pass corner", table.lowpass_khz, 1e-3 / (2.0 * pi * low * LOWPASS_F), "kHz"),
        ]
    gain = nearest_e24(setting.gain * INPUT_OHM)
    upper = setting.gain * setting.threshold
    divider = nearest_e24(DIVIDER_OHM * (table.swing_v / upper - 1.0)) if upper < table.swing_v else nearest_e24(DIVIDER_OHM / 10)
    parts += [
        Part("R input", INPUT_OHM, "R", "fixed", INPUT_OHM, INPUT_OHM, "ohm"),
        Part("R feedback", gain, "R", "gain", setting.gain, gain / INPUT_OHM, "-"),
        Part("R divider foot", DIVIDER_OHM, "R", "fixed", DIVIDER_OHM, DIVIDER_OHM, "ohm"),
        Part("R divider head", divider, "R", "threshold", 1e3 * upper, 1e3 * table.swing_v * DIVIDER_OHM / (DIVIDER_OHM + divider), "mV"),
    ]
    width = table.hysteresis * upper
    if width > 0.0:
        back = nearest_e24(HYSTERESIS_OHM * (2.0 * table.swing_v / width - 1.0))
        given = 2e3 * table.swing_v * HYSTERESIS_OHM / (HYSTERESIS_OHM + back)
        parts += [
            Part("R comparator", HYSTERESIS_OHM, "R", "fixed", HYSTERESIS_OHM, HYSTERESIS_OHM, "ohm"),
            Part("R hysteresis", back, "R", "hysteresis", 1e3 * width, given, "mV"),
        ]
    if table.lockout_us > 0.0:
        lock = nearest_e24(table.lockout_us * 1e-6 / (LN3 * LOCKOUT_F))
        parts += [
            Part("C lockout", LOCKOUT_F, "C", "fixed", 1e9 * LOCKOUT_F, 1e9 * LOCKOUT_F, "nF"),
            Part("R lockout", lock, "R", "lockout", table.lockout_us, 1e6 * LN3 * lock * LOCKOUT_F, "us"),
        ]
    return tuple(parts)


def _corner_table(table: SpikeDetector, given: dict[str, float], tolerance: float, deaf: bool) -> tuple[SpikeDetector, float]:
    """The detector with every part at its end, and the factor of its threshold.

    A corner 1/(2 pi R C) moves by both its parts; the threshold by its divider, the gain and the reference together.
    """
    up, down = (1.0 + tolerance) ** 2, (1.0 - tolerance) ** 2
    changes = {
        "coupling_khz": given.get("coupling corner", table.coupling_khz) * (1.0 / down if deaf else 1.0 / up),
        "lowpass_khz": given.get("low-pass corner", table.lowpass_khz) * (1.0 / up if deaf else 1.0 / down),
        "lockout_us": given.get("lockout", table.lockout_us) * (up if deaf else down),
    }
    return table.model_copy(update=changes), (up / down if deaf else down / up)


def propose(flown: Sequence[Flown], condition: str, setting: Setting, seeds: range) -> Proposal:
    """Choose parts for the setting, and hear the moves with every part at the ends of its tolerance.

    Parameters
    ----------
    flown
        Moves of the leg.
    condition
        Of the motor that is heard.
    setting
        Of the spike detector.
    seeds
        Of sparks and noise.
    """
    leg = flown[0].leg
    parts = _parts(leg.spike_detector, setting)
    given = {part.sets: part.given for part in parts if part.sets != "fixed"}
    dt = 1.0 / sample_rate(leg)
    names = [(tolerance, deaf) for tolerance in (0.0, *TOLERANCES) for deaf in (True, False)][1:]
    tables = [_corner_table(leg.spike_detector, given, *name) for name in names]
    thresholds = [1e-3 * given["threshold"] / given["gain"] * factor for _, factor in tables]
    totals = np.zeros((len(names), 2))
    for one in flown:
        for seed in seeds:
            source = one.source(condition == "worn", seed)
            chains = [
                Chain(*build_spikes(table, dt, given["gain"], threshold), room=8192)
                for (table, _), threshold in zip(tables, thresholds, strict=True)
            ]
            listen(source, chains)
            true = truth(source)
            totals += np.array([errors_of(true, chain.heard()) for chain in chains])
    totals /= len(flown) * len(seeds)
    corners = [
        Corner(tolerance, "nominal" if tolerance == 0.0 else "least sensitive" if deaf else "most sensitive", *_shown(table), missed, extra)
        for (tolerance, deaf), table, (missed, extra) in zip(
            names, zip((one[0] for one in tables), thresholds, strict=True), totals.tolist(), strict=True
        )
    ]
    return Proposal(parts, tuple(corners))


def _shown(pair: tuple[SpikeDetector, float]) -> tuple[float, float, float, float]:
    table, threshold = pair
    return table.coupling_khz, table.lowpass_khz, 1e3 * threshold, table.lockout_us
