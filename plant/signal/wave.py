"""The waveform of one motor, block by block: any length in a fixed memory."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from plant.bridge import BRAKE, COAST, DRIVE
from plant.draws import PURPOSE_BOUNCE, PURPOSE_BURST, PURPOSE_NOISE, PURPOSE_SEGMENT, block, normals, uniform
from plant.kernel import inlined, kernel
from plant.portable import cosine, exponential
from plant.signal.base import conducting, flyback_end, slow_parts
from plant.signal.pulses import add_pulse, apply_edges, decay_pulses
from plant.signal.records import AMPS, COMMON, EDGE, SPIKE, VOLTS
from plant.signal.sparks import break_height, pass_edges, residual_current

__all__ = ["add_neighbour", "prepare_line", "synthesise"]

_PI = 3.141592653589793
_NODE = 10
_LOW16 = np.uint64(0xFFFF)
_S16, _S32, _S48 = np.uint64(16), np.uint64(32), np.uint64(48)
_FOUR_UNIT = 1.7320508075688772 / 65536.0
_FOUR_SHIFT = 1.7320508075688772 * (2.0 / 65536.0 - 2.0)
_NOTHING = 1e-30
_BURST_PULSES = 5
_BURST_SPACING_US = 20.0


@kernel
def prepare_line(line: Any) -> None:
    """Derive decays per sample and the factors of the segments; the state is that of a motor at rest, nothing on the wires."""
    spark, wires = line.spark, line.wires
    line.samples = int(line.step / line.dt + 0.5)
    line.coil_inductance = 4.0 * line.inductance / line.segments
    line.rise_decay = exponential(-line.dt / spark.rise) if line.dt < 600.0 * spark.rise else 0.0
    decay = exponential(-_PI * wires.ring * line.dt / spark.quality)
    line.ring_real = decay * cosine(wires.ring * line.dt)
    line.ring_imag = decay * cosine(wires.ring * line.dt - 0.25)
    line.switcher_real = cosine(wires.switcher_frequency * line.dt)
    line.switcher_imag = cosine(wires.switcher_frequency * line.dt - 0.25)
    line.ripple_real, line.ripple_imag = 1.0, 0.0
    for k in range(line.commutations):
        number = normals(block(line.seed, line.run, np.uint64(k), np.uint64(PURPOSE_SEGMENT), line.key))[0]
        line.segment[k] = exponential(spark.segment_spread * number)
    if spark.weak_segment >= 0:
        line.segment[spark.weak_segment % line.commutations] = spark.weak_factor
    line.notch_until_us = -1.0
    line.mode = COAST
    line.on = 1


@inlined
def _four(word: np.uint64) -> float:
    """Normal number from the four 16-bit pieces of a word: mean 0, variance 1, never beyond 3.5 standard deviations.

    What the front end passes sums many of them, so the tails of what it decides on are normal.
    """
    pieces = (word & _LOW16) + ((word >> _S16) & _LOW16) + ((word >> _S32) & _LOW16) + (word >> _S48)
    return float(pieces) * _FOUR_UNIT + _FOUR_SHIFT


@kernel
def _bounce(line: Any, row: Any, now_us: float) -> None:
    """Chance of a jumping brush in this sub-step: the current is broken by an arc of more than the usual energy."""
    spark = line.spark
    if spark.bounce_rate <= 0.0 or row.speed == 0.0:
        return
    words = block(line.seed, line.run, np.uint64(line.steps), np.uint64(PURPOSE_BOUNCE), line.key)
    if uniform(words[0]) >= spark.bounce_rate * line.step:
        return
    at_us = now_us + 1e6 * line.step * uniform(words[1])
    length = spark.bounce_low + uniform(words[2]) * (spark.bounce_high - spark.bounce_low)
    residual = residual_current(line, abs(row.current), abs(row.speed))
    left = line.wires.driven * spark.driven if row.mode == DRIVE else line.wires.coasting * spark.coasting
    height = spark.bounce_gain * break_height(line, residual) * left
    sign = 1.0 if row.speed > 0.0 else -1.0
    add_pulse(line, at_us, sign * height, spark.base_width)
    add_pulse(line, at_us + 1e6 * length, -sign * height, spark.base_width)
    if row.mode == DRIVE:
        line.notch_until_us = at_us + 1e6 * length


@kernel
def _burst(line: Any, now_us: float) -> None:
    """Chance of an interference burst in this sub-step: a few pulses of either sign, 20 us apart."""
    wires = line.wires
    if wires.burst_rate <= 0.0:
        return
    words = block(line.seed, line.run, np.uint64(line.steps), np.uint64(PURPOSE_BURST), line.key)
    if uniform(words[0]) >= wires.burst_rate * line.step:
        return
    at_us = now_us + 1e6 * line.step * uniform(words[1])
    for k in range(_BURST_PULSES):
        size = wires.burst * (2.0 * uniform(words[k % 4]) - 1.0)
        add_pulse(line, at_us + _BURST_SPACING_US * k, size, 1e-6)


@inlined
def _switched(line: Any, row: Any, now_us: float) -> bool:
    """Whether the on-time of the duty holds at ``now_us`` [us]."""
    size = abs(row.duty)
    if size >= 1.0 or line.wires.carrier <= 0.0:
        return True
    turns = 1e-6 * now_us * line.wires.carrier
    return turns - math.floor(turns) < size  # type: ignore[no-any-return]


@kernel
def _wires(line: Any, row: Any, out_us: float, now_us: float, slow: tuple[float, float, float]) -> tuple[float, float]:
    """Voltage between the wires and their mean against ground at ``now_us`` [us]; the current is out at ``out_us``."""
    rail, emf, _ = slow
    if row.mode == DRIVE:
        on = _switched(line, row, now_us)
        volts = conducting(line, row, on, rail, emf)
        return volts, 0.5 * abs(volts) if on else 0.0
    if row.mode == BRAKE:
        return -line.bridge_resistance * row.current, 0.0
    if now_us < out_us:
        sign = 1.0 if row.current > 0.0 else -1.0
        if line.freewheel == 1:
            return -sign * line.diode_drop, -0.5 * line.diode_drop
        return -sign * (row.supply + 2.0 * line.diode_drop), 0.5 * row.supply
    return emf, 0.0


@kernel
def _step(line: Any, row: Any, end: Any, out: Any, first: int) -> None:
    """One sub-step of samples into ``out`` from column ``first`` on."""
    now_us = 1e6 * line.steps * line.step
    pass_edges(line, row, end, now_us)
    _bounce(line, row, now_us)
    _burst(line, now_us)
    out_us = now_us + 1e6 * flyback_end(line, row, end) if row.mode == COAST else now_us
    changed = line.mode != row.mode
    line.mode = row.mode
    if changed:
        line.on = 1
    share = 1.0 / line.samples
    mains = line.wires.mains
    j = 0
    while j < line.samples:
        n = line.samples - j if line.samples - j < _NODE else _NODE
        a = slow_parts(line, row, end, j * share)
        b = slow_parts(line, row, end, (j + n) * share)
        swing = 0.5 * mains * cosine(1e-6 * (now_us + 1e6 * j * line.dt) * line.wires.mains_frequency) if mains > 0.0 else 0.0
        for k in range(n):
            at_us = now_us + 1e6 * (j + k) * line.dt
            part = k / n
            slow = (a[0] + part * (b[0] - a[0]) + swing, a[1] + part * (b[1] - a[1]), a[2])
            volts, common = _wires(line, row, out_us, at_us, slow)
            out[VOLTS, first + j + k] = volts
            out[COMMON, first + j + k] = common
            out[AMPS, first + j + k] = a[2] + part * (b[2] - a[2])
            edge = (2.0 if row.mode == DRIVE else 3.0) if changed and j + k == 0 else 0.0
            if row.mode == DRIVE:
                on = 1 if _switched(line, row, at_us) else 0
                edge = 1.0 if edge == 0.0 and on != line.on else edge
                line.on = on
            out[EDGE, first + j + k] = edge
        j += n
    _spikes(line, now_us, out, first)
    if line.wires.switcher > 0.0:
        _switcher(line, row, out, first)
    _noise(line, out, first)
    line.steps += 1


@kernel
def _spikes(line: Any, now_us: float, out: Any, first: int) -> None:
    """Add the pulses, and the notch of a jumping brush, to a sub-step of samples."""
    common = line.wires.burst_common if line.wires.burst_rate > 0.0 else 0.0
    for j in range(line.samples):
        at_us = now_us + 1e6 * j * line.dt
        if line.waiting > 0 and line.at_us[0] <= at_us:
            apply_edges(line, at_us)
        spike = line.standing - line.rising + line.swing_real
        out[SPIKE, first + j] = spike
        out[VOLTS, first + j] += spike
        out[COMMON, first + j] += common * spike
        decay_pulses(line)
        if at_us < line.notch_until_us:
            out[AMPS, first + j] = 0.0
    if line.waiting == 0 and abs(line.rising) + abs(line.swing_real) + abs(line.swing_imag) < _NOTHING:
        # what is left would decay into numbers that processors are slow with
        line.rising = line.swing_real = line.swing_imag = 0.0


@kernel
def _switcher(line: Any, row: Any, out: Any, first: int) -> None:
    """Add the ripple of a switching supply to a sub-step of samples: it reaches the wires while they are driven."""
    half = 0.5 * line.wires.switcher if row.mode == DRIVE else 0.0
    real, imag = line.ripple_real, line.ripple_imag
    for j in range(line.samples):
        out[VOLTS, first + j] += half * real
        real, imag = real * line.switcher_real - imag * line.switcher_imag, real * line.switcher_imag + imag * line.switcher_real
    # the pointer keeps its length: one Newton step of 1/sqrt
    size = 1.5 - 0.5 * (real * real + imag * imag)
    line.ripple_real, line.ripple_imag = real * size, imag * size


@kernel
def _noise(line: Any, out: Any, first: int) -> None:
    """Add white noise to voltage and current of a sub-step of samples; one block serves two samples."""
    volts, amps = line.wires.noise, line.wires.current_noise
    if volts <= 0.0 and amps <= 0.0:
        return
    base = line.steps * line.samples
    key = np.uint64(PURPOSE_NOISE)
    for j in range(0, line.samples, 2):
        w0, w1, w2, w3 = block(line.seed, line.run, np.uint64(base + j), key, line.key)
        out[VOLTS, first + j] += volts * _four(w0)
        out[AMPS, first + j] += amps * _four(w1)
        if j + 1 < line.samples:
            out[VOLTS, first + j + 1] += volts * _four(w2)
            out[AMPS, first + j + 1] += amps * _four(w3)


@kernel
def synthesise(line: Any, history: Any, first: int, steps: int, out: Any) -> int:
    """Fill ``out`` with the samples of ``steps`` sub-steps of the history from row ``first`` on.

    Parameters
    ----------
    line : LINE record
        Carried from block to block, so that blocks join without a seam.
    history : array of HISTORY records
        Row k is the state at the start of sub-step k; one row more than there are sub-steps.
    first, steps : int
        Sub-steps that are wanted.
    out : array
        Shape (CHANNELS, samples); see ``plant.signal.records``.

    Returns
    -------
    int
        Samples written.
    """
    for k in range(steps):
        _step(line, history[first + k], history[first + k + 1], out, k * line.samples)
    return steps * line.samples  # type: ignore[no-any-return]


@kernel
def add_neighbour(out: Any, other: Any, samples: int, share: float) -> None:
    """Add ``share`` of another motor's spikes in the same harness to the voltage of this one."""
    for j in range(samples):
        out[VOLTS, j] += share * other[SPIKE, j]
