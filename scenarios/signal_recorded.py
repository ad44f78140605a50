"""Running the voltage detectors over a recording, and writing one: what a captured waveform is worth to each of them."""

from __future__ import annotations

import io
import struct
import wave
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from plant.bridge import DRIVE
from plant.signal.records import CHANNELS, VOLTS
from scenarios.build_signal import build_shape, build_spikes
from scenarios.errors import InputError
from scenarios.files.leg import Leg
from scenarios.signal_detectors import Setting, sample_rate
from scenarios.signal_recordings import Recording, pulse_trains
from scenarios.signal_run import Chain, Floats, ShapeChain, line_blocks, truth
from scenarios.signal_score import match
from scenarios.signal_study import Flown

__all__ = ["FULL_SCALE_V", "hear_recording", "recorded_lines", "score_pulses", "simulated_wav"]

FULL_SCALE_V = 40.0
"""Of the WAV files that are written here."""
BEFORE_S, AFTER_S = 0.04, 0.08
REFERENCE_US = 100.0
"""Length of a reference pulse."""


def _scored(true: Floats | None, heard: Floats) -> dict[str, int]:
    if true is None:
        return {"heard": len(heard)}
    made = match(true, heard)
    return {
        "true": len(true),
        "heard": len(heard),
        "missed": int(np.count_nonzero(made.hit < 0)),
        "doubled": int(np.count_nonzero(made.kind == 1)),
        "false": int(np.count_nonzero(made.kind == 2)),
    }


def hear_recording(leg: Leg, setting: Setting, recording: Recording) -> dict[str, Any]:
    """Run the spike detector and the shape check of a leg over a recording; scored where it has a reference.

    Raises
    ------
    InputError
        If the file is damaged.

    Notes
    -----
    A recording says nothing of the driver's edges, so nothing is blanked, and it holds no current, so the ripple detector
    has nothing to hear.
    """
    dt = recording.dt
    spikes = Chain(*build_spikes(leg.spike_detector, dt, setting.gain, setting.threshold))
    shape = ShapeChain(*build_shape(leg, dt, setting.gain, setting.threshold, setting.noise))
    rises: list[Floats] = []
    samples = 0
    for part in recording.blocks():
        block = np.zeros((CHANNELS, len(part.volts)))
        block[VOLTS] = part.volts
        for chain in (spikes, shape):
            chain.take(block, len(part.volts), part.start_us, 1e6 * dt)
        if part.rises is not None:
            rises.append(part.rises)
        samples += len(part.volts)
    true = np.concatenate(rises) if recording.referenced else None
    return {
        "recording": str(recording.path),
        "seconds": samples * dt,
        "samples_per_s": 1.0 / dt,
        "detectors": {"spikes": _scored(true, spikes.heard()), "shape": _scored(true, shape.heard())},
    }


def score_pulses(path: Path, reference: str | None) -> dict[str, Any]:
    """Score the pulse trains of a VCD file against its wire ``reference``; without one they are counted.

    Raises
    ------
    InputError
        If the file is damaged or has no such wire.
    """
    trains = pulse_trains(path)
    if reference is not None and reference not in trains:
        raise InputError([f"--reference {reference}: {path} has the wires {', '.join(trains)}"])
    true = None if reference is None else trains[reference]
    return {"recording": str(path), "detectors": {name: _scored(true, one) for name, one in trains.items() if name != reference}}


def recorded_lines(found: dict[str, Any]) -> list[str]:
    """Lines for the terminal."""
    lines = [
        f"{found['recording']}"
        + (f": {found['seconds']:.3g} s at {found['samples_per_s']:.6g} samples a second" if "seconds" in found else "")
    ]
    for name, one in found["detectors"].items():
        if "true" in one:
            tail = f" of {one['true']} true; {one['missed']} missed, {one['doubled']} doubled, {one['false']} false"
        else:
            tail = "; no reference, so nothing is scored"
        lines.append(f"  {name}: {one['heard']} heard{tail}")
    return lines


def simulated_wav(flown: Flown, worn: bool, seed: int) -> bytes:
    """The power-off of a move as a WAV file: voltage and a reference of the true commutations, marked as simulated.

    Parameters
    ----------
    flown
        The move.
    worn
        Whether the worn motor sparks.
    seed
        Of sparks and noise.
    """
    source = flown.source(worn, seed)
    rate = sample_rate(flown.leg)
    mode = flown.bench.history["mode"][:-1]
    cut = int(np.flatnonzero((mode[:-1] == DRIVE) & (mode[1:] != DRIVE))[-1]) + 1
    low, high = ((cut * flown.bench.step + off) * 1e6 for off in (-BEFORE_S, AFTER_S))
    kept: list[Floats] = []

    def take(block: Floats, samples: int, start_us: float) -> None:
        at = start_us + 1e6 / rate * np.arange(samples)
        kept.append(block[VOLTS, :samples][(at >= low) & (at < high)])

    line_blocks(source, take)
    volts = np.concatenate(kept)
    reference = np.zeros(len(volts))
    for at in truth(source):
        if low <= at < high:
            first = round((at - low) * 1e-6 * rate)
            reference[first : first + round(REFERENCE_US * 1e-6 * rate)] = 5.0
    return _wav(np.stack((volts, reference), axis=1), round(rate), f"simulated by levelrig, {flown.name}, full scale {FULL_SCALE_V:g} V")


def _wav(both: NDArray[np.float64], rate: int, about: str) -> bytes:
    """PCM of 16 bits with a comment."""
    raw = io.BytesIO()
    with wave.open(raw, "wb") as file:
        file.setnchannels(2)
        file.setsampwidth(2)
        file.setframerate(rate)
        file.writeframes(np.round(32767.0 * np.clip(both / FULL_SCALE_V, -1.0, 1.0)).astype("<i2").tobytes())
    text = about.encode() + b"\0" * (2 - len(about.encode()) % 2)
    note = b"INFO" + b"ICMT" + struct.pack("<I", len(text)) + text
    content = raw.getvalue() + b"LIST" + struct.pack("<I", len(note)) + note
    return content[:4] + struct.pack("<I", len(content) - 8) + content[8:]
