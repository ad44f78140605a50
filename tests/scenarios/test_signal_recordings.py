"""Recordings: what the tool writes it reads back and scores; damaged files are told by line or sample."""

from __future__ import annotations

import json
import wave
from pathlib import Path

import numpy as np
import pytest
import wires
from click.testing import CliRunner
from numpy.typing import NDArray
from rehearsals import EXAMPLES
from wires import LegTables

from plant.signal.records import VOLTS
from scenarios.cli import cli
from scenarios.errors import InputError
from scenarios.signal_recordings import open_recording, pulse_trains
from scenarios.signal_run import line_blocks, truth

WORKTOP = str(EXAMPLES / "worktop" / "worktop.toml")
SAMPLE = EXAMPLES / "worktop" / "simulated-wires.wav"
Floats = NDArray[np.float64]


def waveform() -> tuple[Floats, Floats]:
    """Voltage of set A from 0.28 s on for 60 ms, and the true commutations in it [us]."""
    source = wires.source_of(wires.lowering(), LegTables(), seed=4)
    parts: list[Floats] = []
    line_blocks(source, lambda block, samples, _: parts.append(block[VOLTS, :samples].copy()))
    true = truth(source) - 280_000.0
    return np.concatenate(parts)[280_000:340_000], true[(true > 100.0) & (true < 59_000.0)]


def with_reference(volts: Floats, true: Floats) -> Floats:
    reference = np.zeros(len(volts))
    for at in np.round(true).astype(int):
        reference[at : at + 100] = 5.0
    return reference


def write_csv(path: Path, volts: Floats, reference: Floats | None) -> Path:
    columns = [1e-6 * np.arange(len(volts)), volts] + ([] if reference is None else [reference])
    np.savetxt(path, np.stack(columns, axis=1), delimiter=",", header="time_s,volts,reference", comments="", fmt="%.9g")
    return path


def write_wav(path: Path, volts: Floats, reference: Floats, full_scale: float) -> Path:
    both = np.stack((volts, reference), axis=1) / full_scale
    with wave.open(str(path), "wb") as file:
        file.setnchannels(2)
        file.setsampwidth(2)
        file.setframerate(1_000_000)
        file.writeframes(np.round(32767 * np.clip(both, -1.0, 1.0)).astype("<i2").tobytes())
    return path


def scored(*words: str) -> dict[str, dict[str, int]]:
    done = CliRunner().invoke(cli, ["signal", WORKTOP, *words, "--json", "-"], catch_exceptions=False)

    assert done.exit_code == 0, done.output
    found: dict[str, dict[str, int]] = json.loads(done.output)["detectors"]
    return found


def test_a_csv_with_a_reference_is_scored_against_it(tmp_path: Path) -> None:
    volts, true = waveform()
    found = scored("--recording", str(write_csv(tmp_path / "scope.csv", volts, with_reference(volts, true))))

    assert found["spikes"]["true"] == len(true)
    assert found["spikes"]["missed"] <= 2
    assert found["spikes"]["heard"] >= len(true) - 2


def test_csv_and_wav_of_one_waveform_are_heard_alike(tmp_path: Path) -> None:
    volts, true = waveform()
    reference = with_reference(volts, true)
    csv = scored("--recording", str(write_csv(tmp_path / "scope.csv", volts, reference)))
    wav = scored("--recording", str(write_wav(tmp_path / "scope.wav", volts, reference, 40.0)), "--full-scale-v", "40")

    assert wav["spikes"]["true"] == csv["spikes"]["true"]
    assert abs(wav["spikes"]["heard"] - csv["spikes"]["heard"]) <= 1


def test_without_a_reference_pulses_are_counted_and_nothing_is_scored(tmp_path: Path) -> None:
    volts, true = waveform()
    found = scored("--recording", str(write_csv(tmp_path / "scope.csv", volts, None)))

    assert abs(found["spikes"]["heard"] - len(true)) < 6
    assert "missed" not in found["spikes"]


def test_the_shipped_sample_is_marked_as_simulated_and_scores_well() -> None:
    found = scored("--recording", str(SAMPLE), "--full-scale-v", "40")

    assert "simulated" in SAMPLE.name
    assert found["spikes"]["true"] > 60
    assert found["spikes"]["missed"] + found["spikes"]["false"] <= 4


def test_a_pulse_list_is_scored_against_its_reference_wire(tmp_path: Path) -> None:
    target = tmp_path / "pulses.vcd"
    CliRunner().invoke(cli, ["signal", WORKTOP, "--moves", "1", "--quiet", "--vcd", str(target)], catch_exceptions=False)
    trains = pulse_trains(target)
    found = scored("--recording", str(target), "--reference", "true")

    assert found["spikes"]["true"] == len(trains["true"])
    assert found["spikes"]["heard"] == len(trains["spikes"])


def test_a_large_file_is_read_in_blocks(tmp_path: Path) -> None:
    volts = np.tile(np.linspace(-20.0, 20.0, 1000), 130)
    path = write_csv(tmp_path / "long.csv", volts, None)
    blocks = list(open_recording(path, None).blocks())

    assert [len(block.volts) for block in blocks] == [50_000, 50_000, 30_000]
    np.testing.assert_allclose(np.concatenate([block.volts for block in blocks]), volts, rtol=1e-8)


@pytest.mark.parametrize(
    ("name", "content", "message"),
    [
        ("a.csv", b"time_s,volts\n" + b"".join(b"%d,1\n" % k for k in range(20)) + b"20,x\n", "a.csv:22: is not a row of numbers"),
        ("b.csv", b"time_s,volts\n" + b"".join(b"%d,1\n" % (k if k < 15 else k + 3) for k in range(20)), "not evenly spaced"),
        ("c.csv", b"time_s,volts\n1,2\n", "fewer than 16"),
        ("d.csv", b"time_s,volts\n" + b"1,2,3\n" + b"1,2\n" * 30, "d.csv:3: has 2 columns"),
        ("e.csv", b"\xff\xfe\x00\n" * 30, "not a text file"),
        ("f.wav", b"RIFF nothing", "not a PCM WAV"),
        ("g.vcd", b"$var wire 1 ! a $end $enddefinitions", "value change dump"),
        ("h.bin", b"1", "must end in"),
    ],
)
def test_damaged_files_are_told(tmp_path: Path, name: str, content: bytes, message: str) -> None:
    path = tmp_path / name
    path.write_bytes(content)
    with pytest.raises(InputError) as error:
        CliRunner().invoke(cli, ["signal", WORKTOP, "--recording", str(path), "--full-scale-v", "40"], catch_exceptions=False)

    assert message in str(error.value)


def test_a_wav_that_ends_early_is_told(tmp_path: Path) -> None:
    volts, true = waveform()
    path = write_wav(tmp_path / "scope.wav", volts, with_reference(volts, true), 40.0)
    path.write_bytes(path.read_bytes()[:-40_000])
    with pytest.raises(InputError, match="before the length"):
        list(open_recording(path, 40.0).blocks())


def test_a_wav_without_its_full_scale_is_refused(tmp_path: Path) -> None:
    volts, true = waveform()
    with pytest.raises(InputError, match="--full-scale-v"):
        open_recording(write_wav(tmp_path / "scope.wav", volts, with_reference(volts, true), 40.0), None)
