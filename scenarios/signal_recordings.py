"""Captured recordings: a waveform (CSV, WAV) or pulse trains (VCD), read in blocks of any size, with an optional reference.

CSV: a header line, then time [s], voltage between the wires [V] and, if there is a third column, a reference that rises
through the middle of its range at each true commutation.  WAV: PCM of 16, 24 or 32 bits, first channel the voltage, second
the reference; the voltage of full scale is told.  VCD: scalar wires; a rise is a pulse.
"""

from __future__ import annotations

import wave
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import islice
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from scenarios.errors import InputError

__all__ = ["Block", "Recording", "open_recording", "pulse_trains"]

Floats = NDArray[np.float64]
ROWS = 50_000
"""Samples of a block."""
UNEVEN = 1e-3
"""Largest relative deviation of a sample's spacing from the first."""


@dataclass(frozen=True)
class Block:
    """Some samples: voltage [V] and, where there is a reference, its rises [us] in this block."""

    start_us: float
    volts: Floats
    rises: Floats | None


@dataclass(frozen=True)
class Recording:
    """A waveform that is read when it is wanted.

    Attributes
    ----------
    path
        The file.
    dt
        Sample period [s].
    referenced
        Whether it has a reference.
    full_scale
        Voltage of full scale of a WAV file [V].
    """

    path: Path
    dt: float
    referenced: bool
    full_scale: float = 0.0

    def blocks(self) -> Iterator[Block]:
        """Blocks in order.

        Raises
        ------
        InputError
            If the file is damaged; names the line or the sample.
        """
        found = _wav_rows(self) if self.path.suffix.lower() == ".wav" else _csv_rows(self.path)
        done, high = 0, False
        low, top = np.inf, -np.inf
        for rows in found:
            start_us = 1e6 * self.dt * done
            rises: Floats | None = None
            if self.referenced:
                low, top = min(low, float(np.min(rows[:, 1]))), max(top, float(np.max(rows[:, 1])))
                above = np.concatenate(([high], rows[:, 1] > 0.5 * (low + top))) if top > low else np.zeros(len(rows) + 1, bool)
                rises = start_us + 1e6 * self.dt * np.flatnonzero(above[1:] & ~above[:-1]).astype(np.float64)
                high = bool(above[-1])
            yield Block(start_us, rows[:, 0], rises)
            done += len(rows)


def open_recording(path: Path, full_scale: float | None) -> Recording:
    """Look at the head of a recording.

    Parameters
    ----------
    path
        ``.csv`` or ``.wav``.
    full_scale
        Voltage of full scale of a WAV file [V].

    Raises
    ------
    InputError
        If it is no recording, or a WAV file comes without its full scale.
    """
    if not path.is_file():
        raise InputError([f"{path}: no such file"])
    kind = path.suffix.lower()
    if kind == ".wav":
        return _open_wav(path, full_scale)
    if kind != ".csv":
        raise InputError([f"{path}: must end in .csv, .wav or .vcd"])
    head = next(_csv_lines(path, 64), None)
    if head is None or len(head) < 16:
        raise InputError([f"{path}: has fewer than 16 samples"])
    dt = float(head[1, 0] - head[0, 0])
    if not dt > 0.0:
        raise InputError([f"{path}:3: time must ascend"])
    return Recording(path, float(head[-1, 0] - head[0, 0]) / (len(head) - 1), head.shape[1] > 2)


def _csv_lines(path: Path, rows: int) -> Iterator[Floats]:
    """Numbers of a CSV file, some lines at a time."""
    number, columns = 1, 0
    try:
        with path.open(encoding="utf-8") as file:
            next(file, None)
            while lines := list(islice(file, rows)):
                for line in lines:
                    number += 1
                    cells = line.split(",")
                    columns = columns or len(cells)
                    if len(cells) != columns or columns < 2:
                        raise InputError(
                            [f"{path}:{number}: has {len(cells)} columns, must have {max(columns, 2)}: time_s, volts, reference"]
                        )
                try:
                    block = np.array([line.split(",") for line in lines], dtype=np.float64)
                except ValueError:
                    first = number - len(lines) + 1
                    raise InputError([f"{path}:{_bad_line(lines, first)}: is not a row of numbers"]) from None
                if not np.all(np.isfinite(block)):
                    raise InputError([f"{path}: a value between lines {number - len(lines) + 1} and {number} is not finite"])
                yield block
    except UnicodeDecodeError:
        raise InputError([f"{path}: is not a text file in UTF-8"]) from None
    except OSError as error:
        raise InputError([f"{path}: cannot be read ({error.strerror or error})"]) from None


def _bad_line(lines: list[str], first: int) -> int:
    for k, line in enumerate(lines):
        try:
            [float(cell) for cell in line.split(",")]
        except ValueError:
            return first + k
    return first


def _csv_rows(path: Path) -> Iterator[Floats]:
    """Voltage and reference of a CSV file; time must go on evenly."""
    step, last, line = 0.0, None, 2
    for block in _csv_lines(path, ROWS):
        time = block[:, 0] if last is None else np.concatenate(([last], block[:, 0]))
        gaps = np.diff(time)
        step = step or float(np.median(gaps))
        uneven = np.flatnonzero(np.abs(gaps - step) > UNEVEN * step + 1e-9 * abs(float(time[-1])))
        if len(uneven):
            where = line + int(uneven[0]) + (1 if last is None else 0)
            raise InputError([f"{path}:{where}: samples are not evenly spaced: {gaps[uneven[0]]:g} s after {step:g} s"])
        last, line = float(block[-1, 0]), line + len(block)
        yield block[:, 1:] if block.shape[1] > 2 else block[:, 1:2]


def _open_wav(path: Path, full_scale: float | None) -> Recording:
    if full_scale is None:
        raise InputError([f"{path}: a WAV file has no volts; tell the voltage of full scale with --full-scale-v"])
    try:
        with wave.open(str(path), "rb") as file:
            if file.getsampwidth() not in (2, 3, 4):
                raise InputError([f"{path}: has {8 * file.getsampwidth()} bits a sample, must have 16, 24 or 32"])
            if file.getnframes() < 16:
                raise InputError([f"{path}: has fewer than 16 samples"])
            return Recording(path, 1.0 / file.getframerate(), file.getnchannels() > 1, full_scale)
    except (wave.Error, EOFError, OSError) as error:
        raise InputError([f"{path}: is not a PCM WAV file ({error})"]) from None


def _wav_rows(recording: Recording) -> Iterator[Floats]:
    """Voltage and reference of a WAV file."""
    with wave.open(str(recording.path), "rb") as file:
        channels, width = file.getnchannels(), file.getsampwidth()
        left = file.getnframes()
        while left > 0:
            raw = file.readframes(min(ROWS, left))
            got = len(raw) // (channels * width)
            if got == 0:
                raise InputError([f"{recording.path}: ends {left} samples before the length that its head states"])
            left -= got
            values = _integers(raw[: got * channels * width], width).reshape(got, channels)
            yield values[:, :2] * (recording.full_scale / 2.0 ** (8 * width - 1))


def _integers(raw: bytes, width: int) -> Floats:
    """Little-endian integers of 2, 3 or 4 bytes."""
    if width == 3:
        bytes_of = np.frombuffer(raw, np.uint8).reshape(-1, 3)
        padded = np.zeros((len(bytes_of), 4), np.uint8)
        padded[:, 1:] = bytes_of
        return padded.view("<i4").ravel().astype(np.float64) / 256.0
    return np.frombuffer(raw, "<i2" if width == 2 else "<i4").astype(np.float64)


def pulse_trains(path: Path) -> dict[str, Floats]:
    """Rises of every scalar wire of a VCD file [us], by name.

    Raises
    ------
    InputError
        If it is damaged or holds no wire of one bit.
    """
    from vcd.common import VarType
    from vcd.reader import TokenKind, VCDParseError, tokenize

    names: dict[str, str] = {}
    rises: dict[str, list[float]] = {}
    scale, now = 1e-3, 0.0
    try:
        with path.open("rb") as file:
            for token in tokenize(file):
                if token.kind is TokenKind.TIMESCALE:
                    scale = _microseconds(int(token.timescale.magnitude), token.timescale.unit.value)
                elif token.kind is TokenKind.VAR and token.var.size == 1 and token.var.type_ in (VarType.wire, VarType.reg):
                    names[token.var.id_code] = token.var.reference
                    rises[token.var.reference] = []
                elif token.kind is TokenKind.CHANGE_TIME:
                    now = token.time_change * scale
                elif token.kind is TokenKind.CHANGE_SCALAR and token.scalar_change.value == "1" and token.scalar_change.id_code in names:
                    rises[names[token.scalar_change.id_code]].append(now)
    except (VCDParseError, OSError, UnicodeDecodeError, ValueError) as error:
        raise InputError([f"{path}: is not a value change dump ({error})"]) from None
    if not rises:
        raise InputError([f"{path}: holds no wire of one bit"])
    return {name: np.array(instants) for name, instants in rises.items()}


def _microseconds(magnitude: int, unit: str) -> float:
    return magnitude * {"s": 1e6, "ms": 1e3, "us": 1.0, "ns": 1e-3, "ps": 1e-6, "fs": 1e-9}[unit]
