"""The margins of the differential loop against the figures of an independent model, and against their definitions."""

from __future__ import annotations

from math import atan, exp, hypot, inf, pi

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.optimize import brentq

from sync.loop import (
    DifferentialLoop,
    frequency_response,
    gain_without_overshoot,
    integral_without_overshoot,
    loop_delay,
    margins,
)

# A 24 V column: K 0.055 V s/rad, R 0.9 ohm, J 4.5e-5 kg m2, 4 mm of lead behind a gear of 6.5.
SPEED = 24.0 / 0.055 * 4e-3 / (2.0 * pi * 6.5)
LAG = 4.5e-5 * 0.9 / 0.055**2

# Kc [1/mm]: phase margin [deg] and gain margin at a delay of 5, 15 and 65 ms; an independent model of the same loop.
TABLE = {
    0.02: ((88.20, 123.7), (87.22, 44.75), (82.32, 12.19)),
    0.05: ((85.51, 49.48), (83.06, 17.90), (70.84, 4.875)),
    0.1: ((81.08, 24.74), (76.21, 8.950), (51.88, 2.438)),
    0.2: ((72.63, 12.37), (63.07, 4.475), (15.27, 1.219)),
    0.4: ((58.11, 6.185), (40.06, 2.237), (-50.19, 0.609)),
}


def loop(kc_per_mm: float, delay_ms: float, ki_per_mm_s: float = 0.0) -> DifferentialLoop:
    return DifferentialLoop(1e3 * kc_per_mm, 1e3 * ki_per_mm_s, SPEED, LAG, 1e-3 * delay_ms)


@pytest.mark.parametrize("kc", list(TABLE))
@pytest.mark.parametrize("column", [0, 1, 2])
def test_margins_are_those_of_an_independent_model(kc: float, column: int) -> None:
    found = margins(loop(kc, (5.0, 15.0, 65.0)[column]))
    phase, gain = TABLE[kc][column]

    assert found.phase == pytest.approx(phase, rel=0.005)
    assert found.gain == pytest.approx(gain, rel=0.005)


def test_the_delay_margin_puts_the_loop_on_minus_one() -> None:
    before = loop(0.05, 15.0, 0.05)
    found = margins(before)
    late = DifferentialLoop(before.gain, before.integral_gain, SPEED, LAG, before.delay + found.delay)

    # By definition: that much more delay and the curve passes through the critical point.
    assert abs(frequency_response(late, np.array([found.crossover]))[0] + 1.0) < 1e-4


def test_the_peak_of_the_sensitivity_bounds_both_margins() -> None:
    found = margins(loop(0.1, 15.0, 0.1))

    # Astrom and Hagglund, from memory: GM >= Ms/(Ms - 1), PM >= 2 asin(1/(2 Ms)).
    assert found.gain >= found.sensitivity / (found.sensitivity - 1.0)
    assert found.phase >= np.degrees(2.0 * np.arcsin(0.5 / found.sensitivity))


def test_without_a_gain_there_is_no_loop() -> None:
    with pytest.raises(ValueError, match="kc_per_mm"):
        margins(loop(0.0, 5.0))


def test_the_delay_is_half_a_tick_the_computing_and_half_a_period() -> None:
    assert loop_delay(0.010, 0.0001, 0.0014) == pytest.approx(0.0058)


@pytest.mark.parametrize("kc", [0.0005, *TABLE])
@pytest.mark.parametrize("delay_ms", [5.0, 15.0, 65.0])
def test_margins_are_those_of_root_finding_without_a_grid(kc: float, delay_ms: float) -> None:
    """K exp(-s Td)/(s (tau s + 1)): magnitude 1 at the one crossover, phase -180 degrees at the other."""
    rate, delay = 2e3 * kc * SPEED, 1e-3 * delay_ms
    one = brentq(lambda w: rate / (w * hypot(1.0, w * LAG)) - 1.0, 1e-6 * rate, rate)
    turned = brentq(lambda w: atan(w * LAG) + w * delay - 0.5 * pi, 1e-6, 1e6)
    found = margins(loop(kc, delay_ms))

    # the grid is interpolated by a spline
    assert found.crossover == pytest.approx(one, rel=1e-5)
    assert found.phase == pytest.approx(np.degrees(0.5 * pi - atan(one * LAG) - one * delay), abs=1e-3)
    assert found.gain == pytest.approx(turned * hypot(1.0, turned * LAG) / rate, rel=1e-5)


def test_a_loop_without_delay_and_lag_has_an_infinite_gain_margin() -> None:
    found = margins(DifferentialLoop(50.0, 0.0, SPEED, 1e-9, 0.0))

    assert found.gain == inf
    assert found.phase == pytest.approx(90.0, abs=1e-3)


def step(gain: float, delay: float) -> NDArray[np.float64]:
    """Unit step of the closed loop, marched: v' = (2 Kc Kv e(t - Td) - v)/tau, e = 1 - x."""
    span = 1e-4
    lag, x, v = round(delay / span), np.zeros(30_001), 0.0
    for k in range(len(x) - 1):
        error = 1.0 - (x[k - lag] if k >= lag else 0.0)
        v += (1.0 - exp(-span / LAG)) * (2.0 * gain * SPEED * error - v)
        x[k + 1] = x[k] + span * v
    return x


def test_the_gain_without_overshoot_has_none_and_twice_of_it_has_some() -> None:
    most = gain_without_overshoot(SPEED, LAG, 0.015)

    assert step(most, 0.015).max() < 1.005
    assert step(2.0 * most, 0.015).max() > 1.03


def test_the_integral_without_overshoot_makes_the_slow_poles_meet() -> None:
    most = integral_without_overshoot(50.0, SPEED)

    assert most == pytest.approx(53.0, rel=0.01)  # 0.053 per mm and s, as the independent model has it
    assert np.roots([1.0, 2.0 * 50.0 * SPEED, 2.0 * most * SPEED]) == pytest.approx([-50.0 * SPEED] * 2, rel=1e-6)
