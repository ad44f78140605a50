"""The levelling loop's margins against an independent table, against the defining equations, and against limits known in closed form."""

from __future__ import annotations

from math import atan, degrees, exp, hypot, inf, pi

import numpy as np
import pytest
from scipy.optimize import brentq

from sync.loop import Loop, gain_without_overshoot, integral_without_overshoot, loop_delay, margins, response

# The 24 V drive: 0.055 N m/A, 0.9 ohm, 450 g cm2, 4 mm lead, gear 6.5; friction and load out of it.
SPEED = 24.0 / 0.055 * 0.004 / (2.0 * pi * 6.5)
TIME_CONSTANT = 4.5e-5 * 0.9 / 0.055**2
DELAYS = (0.005, 0.015, 0.065)

# Phase margin [deg] and gain margin at the three delays, by gain [1/mm]; two independent models of the same loop.
TABLE = {
    0.02: ((88.20, 87.22, 82.32), (123.7, 44.75, 12.19)),
    0.05: ((85.51, 83.06, 70.84), (49.48, 17.90, 4.875)),
    0.1: ((81.08, 76.21, 51.88), (24.74, 8.950, 2.438)),
    0.2: ((72.63, 63.07, 15.27), (12.37, 4.475, 1.219)),
    0.4: ((58.11, 40.06, -50.19), (6.185, 2.237, 0.609)),
}


def loop(gain_per_mm: float = 0.05, delay: float = 0.015, integral_per_mm_s: float = 0.0) -> Loop:
    return Loop(gain_per_mm * 1e3, SPEED, TIME_CONSTANT, delay, integral_per_mm_s * 1e3)


@pytest.mark.parametrize("gain", TABLE)
@pytest.mark.parametrize("place", range(3))
def test_margins_are_those_of_the_reference_table(gain: float, place: int) -> None:
    found = margins(loop(gain, DELAYS[place]))

    assert degrees(found.phase) == pytest.approx(TABLE[gain][0][place], rel=5e-3)
    assert found.gain == pytest.approx(TABLE[gain][1][place], rel=5e-3)


@pytest.mark.parametrize("gain", TABLE)
@pytest.mark.parametrize("delay", DELAYS)
def test_margins_are_those_of_the_defining_equations(gain: float, delay: float) -> None:
    """Crossovers by root finding on magnitude and phase of K exp(-s Td)/(s (tau s + 1)), no grid."""
    k = 2.0 * gain * 1e3 * SPEED
    one = brentq(lambda w: k / (w * hypot(1.0, w * TIME_CONSTANT)) - 1.0, 1e-6 * k, k)
    turned = brentq(lambda w: atan(w * TIME_CONSTANT) + w * delay - 0.5 * pi, 1e-6, 1e6)
    found = margins(loop(gain, delay))

    assert (found.crossover, found.phase_crossover) == pytest.approx((one, turned), rel=1e-4)
    assert found.phase == pytest.approx(0.5 * pi - atan(one * TIME_CONSTANT) - one * delay, abs=1e-4)
    assert found.gain == pytest.approx(turned * hypot(1.0, turned * TIME_CONSTANT) / k, rel=1e-4)


def test_the_delay_margin_added_leaves_no_phase() -> None:
    before = margins(loop())
    after = margins(loop(delay=0.015 + before.delay))

    assert after.phase == pytest.approx(0.0, abs=1e-4)
    assert after.gain == pytest.approx(1.0, abs=1e-3)


def test_a_loop_without_delay_and_lag_has_no_gain_margin_to_lose() -> None:
    found = margins(Loop(50.0, SPEED, 0.0, 0.0))

    assert found.gain == inf
    assert found.phase == pytest.approx(0.5 * pi)
    assert found.crossover == pytest.approx(2.0 * 50.0 * SPEED)


def test_an_integral_takes_phase_and_leaves_the_crossover_of_a_slow_loop() -> None:
    with_integral, without = margins(loop(integral_per_mm_s=0.05)), margins(loop())
    ratio = 0.05 / (0.05 * without.crossover)

    assert with_integral.phase == pytest.approx(without.phase - atan(ratio), abs=0.02)
    assert with_integral.crossover == pytest.approx(without.crossover, rel=0.03)


def test_the_modulus_margin_bounds_the_others() -> None:
    """GM >= Ms/(Ms - 1) and PM >= 2 asin(1/(2 Ms)): Astrom and Hagglund, PID Controllers, from memory; follows from geometry."""
    for gain in (0.05, 0.1, 0.2):
        found = margins(loop(gain))
        peak = 1.0 / found.modulus

        assert found.gain >= peak / (peak - 1.0)
        assert found.phase >= 2.0 * np.arcsin(0.5 / peak)


def step(gain: float, time_constant: float, delay: float, until: float = 3.0) -> np.ndarray:
    """Unit step of the closed loop, marched: v' = (2 Kc Kv e(t - Td) - v)/tau, e = 1 - x."""
    span = 1e-4
    lag = round(delay / span)
    x, v = np.zeros(round(until / span) + 1), 0.0
    for k in range(len(x) - 1):
        error = 1.0 - x[k - lag] if k >= lag else 0.0
        v += (1.0 - exp(-span / time_constant)) * (2.0 * gain * SPEED * error - v)
        x[k + 1] = x[k] + span * v
    return x


def test_the_gain_without_overshoot_does_not_overshoot_and_twice_of_it_does() -> None:
    most = gain_without_overshoot(SPEED, TIME_CONSTANT, 0.015)

    assert step(most, TIME_CONSTANT, 0.015).max() < 1.005  # the delay is counted as a lag, which it is not quite
    assert step(2.0 * most, TIME_CONSTANT, 0.015).max() > 1.03


def test_the_integral_without_overshoot_makes_the_slow_poles_meet() -> None:
    gain = 50.0
    most = integral_without_overshoot(gain, SPEED)
    roots = np.roots([1.0, 2.0 * gain * SPEED, 2.0 * most * SPEED])

    assert most == pytest.approx(53.0, rel=0.01)  # 0.053 per mm and s
    assert roots == pytest.approx([-gain * SPEED] * 2, rel=1e-6)


def test_the_delay_of_the_loop_is_half_a_tick_the_computing_and_half_a_count() -> None:
    assert loop_delay(0.01, 1e-4, 700.0) == pytest.approx(0.005 + 0.0001 + 0.000714, abs=1e-6)


def test_the_grid_spans_three_decades_either_side_of_the_crossover() -> None:
    omega = response(loop()).omega

    assert omega[0] < 1e-2 * margins(loop()).crossover
    assert omega[-1] > 1e2 * margins(loop()).crossover


@pytest.mark.parametrize(
    "bad", [Loop(0.0, SPEED, 0.01, 0.01), Loop(50.0, -1.0, 0.01, 0.01), Loop(50.0, SPEED, -0.01, 0.01), Loop(50.0, SPEED, 0.01, -0.01)]
)
def test_a_loop_that_cannot_be_is_refused(bad: Loop) -> None:
    with pytest.raises(ValueError, match="above zero"):
        margins(bad)
