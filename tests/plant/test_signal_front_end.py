"""Front end and comparator on waveforms made by hand: filters against their closed forms, hysteresis, lockout, blanking, feed."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from plant.closed_form.signal_path import rc_gain
from plant.signal.front_end import share_of
from plant.signal.records import AMPS, CHANNELS, COMMON, COMPARATOR, EDGE, FRONT, VOLTS
from scenarios.signal_run import Chain, pass_block

DT = 1e-6
Floats = NDArray[np.float64]


def front(**fields: Any) -> NDArray[np.void]:
    """Front end in which no stage acts but those that are named."""
    made = np.zeros(1, FRONT)
    for name, value in {"damping": 1.0, "band": 1.0, "low": 1.0, "gain": 1.0, **fields}.items():
        made[name] = value
    return made


def comparator(**fields: Any) -> NDArray[np.void]:
    made = np.zeros(1, COMPARATOR)
    for name, value in fields.items():
        made[name] = value
    return made


def block_of(volts: Floats, **rows: Floats) -> Floats:
    block = np.zeros((CHANNELS, len(volts)))
    block[VOLTS] = volts
    for name, row in {"common": COMMON, "amps": AMPS, "edge": EDGE}.items():
        if name in rows:
            block[row] = rows[name]
    return block


def pulses_of(made: NDArray[np.void], one: NDArray[np.void], block: Floats) -> Floats:
    chain = Chain(made, one)
    chain.take(block, block.shape[1], 0.0, 1e6 * DT)
    return chain.heard()


def sine(frequency: float, samples: int = 20_000) -> Floats:
    return np.sin(2.0 * np.pi * frequency * DT * np.arange(samples))


@pytest.mark.parametrize("frequency", [2e3, 8e3, 30e3])
def test_the_sampled_sections_have_the_gain_of_their_analogue_ones(frequency: float) -> None:
    block = block_of(sine(frequency))
    high = pass_block(Chain(front(high=share_of(8e3, DT)), comparator()), block, 20_000)
    low = pass_block(Chain(front(low=share_of(8e3, DT)), comparator()), block, 20_000)

    # the response to a held input lags by half a sample, which costs up to 2 % at 30 samples a period
    assert np.max(high[10_000:]) == pytest.approx(rc_gain(frequency, 8e3, high_pass=True), rel=0.03)
    assert np.max(low[10_000:]) == pytest.approx(rc_gain(frequency, 8e3), rel=0.03)


def test_a_step_leaves_the_low_pass_by_the_closed_form() -> None:
    out = pass_block(Chain(front(low=share_of(8e3, DT)), comparator()), block_of(np.r_[np.zeros(5), np.ones(200)]), 205)
    n = np.arange(1, 201)

    np.testing.assert_allclose(out[5:], 1.0 - np.exp(-2.0 * np.pi * 8e3 * DT * n), rtol=1e-12)


def test_common_mode_comes_through_at_the_rejection_and_one_wire_takes_it_whole() -> None:
    common = np.r_[np.zeros(10), np.full(90, 24.0)]
    block = block_of(np.zeros(100), common=common)
    pair = pass_block(Chain(front(rejection=1e-3), comparator()), block, 100)
    single = pass_block(Chain(front(one_wire=1), comparator()), block, 100)

    assert pair[-1] == pytest.approx(0.024)
    assert single[-1] == pytest.approx(24.0)


def test_the_output_never_leaves_the_swing() -> None:
    out = pass_block(Chain(front(gain=100.0, swing=2.5), comparator()), block_of(sine(1e3)), 20_000)

    assert np.max(out) == 2.5
    assert np.min(out) == -2.5


@given(st.floats(0.02, 2.0), st.floats(0.01, 0.6), st.integers(0, 2**32 - 1))
def test_hysteresis_wider_than_the_noise_never_adds_a_count(amplitude: float, half_width: float, seed: int) -> None:
    """A sine gives one count a cycle where it exceeds the thresholds by more than the noise, none where it never reaches one."""
    noise = 0.98 * half_width
    rng = np.random.default_rng(seed)
    cycles = 12
    wave = amplitude * sine(1e3, 1000 * cycles) + rng.uniform(-noise, noise, 1000 * cycles)
    # thresholds at plus and minus half_width about zero
    heard = len(pulses_of(front(), comparator(threshold=half_width, hysteresis=2.0), block_of(wave)))

    assert heard <= cycles
    if amplitude > half_width + noise:
        assert heard == cycles
    if amplitude + noise < half_width:
        assert heard == 0


def spikes_at(instants_us: list[int], samples: int = 10_000, height: float = 1.0) -> Floats:
    wave = np.zeros(samples)
    for at in instants_us:
        wave[at : at + 3] = height
    return wave


def test_lockout_drops_what_comes_too_soon_and_nothing_else() -> None:
    block = block_of(spikes_at([1000, 1200, 1400, 3000]))

    assert list(pulses_of(front(), comparator(threshold=0.5, hysteresis=0.5, lockout=350), block)) == [1000.0, 1400.0, 3000.0]


def test_an_adaptive_lockout_follows_the_period() -> None:
    block = block_of(spikes_at([1000, 3000, 3600, 5000, 5900, 7000]))
    made = comparator(threshold=0.5, hysteresis=0.5, lockout=100, adaptive=0.5, rest=50_000)

    assert list(pulses_of(front(), made, block)) == [1000.0, 3000.0, 5000.0, 7000.0]


def test_a_tracking_threshold_lets_small_pulses_beside_large_ones_fall_and_hears_them_later() -> None:
    wave = spikes_at([1000, 2000]) + spikes_at([1500], height=0.3) + spikes_at([9000], height=0.3)
    decay = np.exp(-1.0 / 3000.0)
    made = comparator(threshold=0.1, hysteresis=0.5, tracking=0.5, hold_decay=decay)

    assert list(pulses_of(front(), made, block_of(wave))) == [1000.0, 2000.0, 9000.0]


def test_blanking_hides_what_falls_into_it() -> None:
    edge = np.zeros(10_000)
    edge[1000] = 1.0
    edge[3000] = 2.0
    block = block_of(spikes_at([1003, 1010, 3100, 3400]), edge=edge)

    assert list(pulses_of(front(), comparator(threshold=0.5, hysteresis=0.5, blank_carrier=6, blank_switch=300), block)) == [1010.0, 3400.0]


def test_a_clamp_takes_the_step_of_an_edge_that_would_deafen_the_coupling() -> None:
    wave = np.r_[np.zeros(1000), np.full(9000, 24.0)] + spikes_at([1030, 3000], height=1.0)
    edge = np.zeros(10_000)
    edge[1000] = 1.0
    block = block_of(wave, edge=edge)
    one = comparator(threshold=0.4, hysteresis=0.5, blank_carrier=5)
    share = share_of(8e3, DT)

    assert list(pulses_of(front(high=share), one.copy(), block)) == [3000.0]
    assert list(pulses_of(front(high=share, clamp_carrier=5), one.copy(), block)) == [1030.0, 3000.0]


def test_a_front_end_fed_by_the_wires_wakes_late_and_swings_with_what_it_lives_on() -> None:
    volts = np.r_[np.zeros(1000), np.full(20_000, 12.0)] + spikes_at([1200, 15_000], 21_000, 20.0)
    fed = front(high=share_of(8e3, DT), fed=1, feed_rise=1e-3, feed_fall=1e-5, feed_least=5.0, wake_samples=2000)
    out = pass_block(Chain(fed, comparator()), block_of(volts), 21_000)

    assert np.max(np.abs(out[:3000])) == 0.0  # not awake yet
    assert 5.5 < np.max(out[15_000:15_010]) < 6.6  # half of the 12 V it has stored, not the 20 V of the spike


def test_without_current_a_gated_comparator_is_silent() -> None:
    amps = np.r_[np.full(5000, 2.0), np.zeros(5000)]
    block = block_of(spikes_at([1000, 7000]), amps=amps)

    assert list(pulses_of(front(), comparator(threshold=0.5, hysteresis=0.5, least_current=0.1), block)) == [1000.0]
