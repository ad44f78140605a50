"""Run lengths of the shipped CUSUM against published tables, by simulation of the kernel itself."""

from __future__ import annotations

from typing import Any

import numba
import numpy as np
import pytest
from numpy.typing import NDArray

from sync.cusum import accumulate, alarm, decision_interval, restart, run_length
from sync.kernel import kernel

SHORTER = 200 if numba.config.DISABLE_JIT else 1  # type: ignore[attr-defined]
"""Fewer draws where the kernels run as plain Python; the tolerances follow the number found."""
SUMS = np.dtype([("high", np.float64), ("low", np.float64)], align=True)

# Shift in standard deviations: 0, 0.25, 0.5, 0.75, 1, 1.5, 2, 2.5, 3, 4.  Two-sided, k 0.5.
# Source: NIST/SEMATECH e-Handbook 6.3.2.3.1 and Montgomery's table (168, 74.2, 26.6, 13.3, 8.38 ... and 465, 139, 38.0, 17.0, 10.4 ...),
# from memory; digits by the integral equation.
SHIFTS = (0.0, 0.25, 0.5, 0.75, 1.0, 1.5, 2.0, 2.5, 3.0, 4.0)
TABLES = {
    4.0: (167.7, 74.22, 26.63, 13.29, 8.383, 4.747, 3.343, 2.620, 2.194, 1.708),
    5.0: (465.4, 139.5, 38.00, 17.05, 10.38, 5.747, 4.009, 3.114, 2.573, 2.013),
}


@kernel
def _run(sums: Any, draws: Any, shift: float, settings: Any, lengths: Any) -> int:
    """Run lengths that fit into ``draws``; ``settings`` are k, h, and 1 for both sides; their number."""
    found, since = 0, 0
    restart(sums[0])
    for i in range(len(draws)):
        since += 1
        accumulate(sums[0], draws[i] + shift, settings[0])
        side = alarm(sums[0], settings[1])
        if side > 0 or (side < 0 and settings[2] > 0.0):
            lengths[found] = since
            found += 1
            since = 0
            restart(sums[0])
    return found


def blank() -> Any:
    """Sums at zero, with attributes where the kernels run as plain Python."""
    return np.zeros(1, SUMS).view(np.recarray) if SHORTER > 1 else np.zeros(1, SUMS)


def simulated(h: float, k: float = 0.5, shift: float = 0.0, sides: int = 2, number: int = 4_000_000) -> tuple[float, float]:
    """Mean run length and its standard error."""
    draws = np.random.default_rng(11).standard_normal(number // SHORTER)
    lengths = np.zeros(number, np.int64)
    found = _run(blank(), draws, shift, np.array([k, h, sides - 1.0]), lengths)
    return float(lengths[:found].mean()), float(lengths[:found].std() / np.sqrt(found))


@pytest.mark.parametrize("h", [4.0, 5.0])
def test_run_lengths_at_every_shift_are_those_of_the_table(h: float) -> None:
    for shift, expected in zip(SHIFTS, TABLES[h], strict=True):
        mean, error = simulated(h, shift=shift)
        print(f"ST-8/9: h {h:g}, shift {shift:g}: {mean:.3f} +- {error:.3f}, table {expected:g}")

        assert mean == pytest.approx(expected, abs=max(3.0 * error, 6e-4 * expected))


def test_one_side_alone_runs_twice_as_long_and_the_two_add_as_rates() -> None:
    # ST-10: 335.4 and 930.9; NIST prints 336 and 930 (from memory)
    for h, expected in ((4.0, 335.4), (5.0, 930.9)):
        one, error = simulated(h, sides=1, number=20_000_000)
        both, _ = simulated(h, number=20_000_000)
        print(f"ST-10: h {h:g}: {one:.1f} +- {error:.1f}, table {expected:g}")

        assert one == pytest.approx(expected, abs=3.0 * error)
        assert 1.0 / both == pytest.approx(2.0 / one, rel=5.0 * error / one)


@pytest.mark.parametrize(("k", "h"), [(0.25, 8.008), (0.5, 4.774), (0.75, 3.339), (1.0, 2.516), (1.25, 1.986)])
def test_the_intervals_of_the_table_give_a_run_length_of_370(k: float, h: float) -> None:
    # ST-11, Hawkins 1993, from memory
    mean, error = simulated(h, k, number=20_000_000)
    print(f"ST-11: k {k:g}, h {h:g}: {mean:.1f} +- {error:.1f}")

    assert mean == pytest.approx(370.0, abs=3.0 * error + 0.5)


def test_the_worked_table_of_the_handbook_alarms_at_its_fourteenth_mean() -> None:
    # ST-12: NIST/SEMATECH 6.3.2.3, target 325, k 0.3175, h 4.1959; data from memory, the sums are those it prints
    means = (324.925, 324.675, 324.725, 324.350, 325.350, 325.225, 324.125, 324.525, 325.225, 324.600)
    means += (324.625, 325.150, 328.325, 327.250, 327.825, 328.500, 326.675, 327.775, 326.875, 328.350)
    sums: Any = np.zeros(1, SUMS).view(np.recarray)
    highs, lows, sides = [], [], []
    step, look = getattr(accumulate, "py_func", accumulate), getattr(alarm, "py_func", alarm)
    for mean in means:
        step(sums[0], mean - 325.0, 0.3175)
        highs.append(float(sums[0].high))
        lows.append(float(sums[0].low))
        sides.append(look(sums[0], 4.1959))

    assert max(lows) == pytest.approx(0.715, abs=0.005)
    assert lows.index(max(lows)) == 7
    assert highs[12] == pytest.approx(3.007, abs=0.005)
    assert highs[13:] == pytest.approx([4.940, 7.447, 10.630, 11.988, 14.445, 16.002, 19.035], abs=0.005)
    assert sides.index(1) == 13
    assert -1 not in sides


def test_siegmunds_approximation_gives_its_published_figures() -> None:
    # ST-13: Montgomery, from memory; exact are 930.9 and 10.38
    assert run_length(5.0) == pytest.approx(938.2, rel=1e-4)
    assert run_length(5.0, shift=1.0) == pytest.approx(10.34, abs=5e-3)


@pytest.mark.parametrize(("tests", "expected"), [(1, 5.75), (4, 7.13)])
def test_the_interval_follows_from_the_number_of_tests_per_move(tests: int, expected: float) -> None:
    h = decision_interval(tests)
    number = (60_000_000 if tests == 4 else 20_000_000) // SHORTER
    draws: NDArray[np.float64] = np.random.default_rng(5).standard_normal(number)
    lengths = np.zeros(100_000, np.int64)
    found = _run(blank(), draws, 0.0, np.array([0.5, h, 1.0]), lengths)
    moves = len(draws) / tests
    print(f"{tests} tests a move: h {h:.3f}, {1e3 * found / moves:.3f} false alarms per 1,000 moves")

    assert h == pytest.approx(expected, abs=0.01)
    # Siegmund's approximation is 1 % on the long side
    assert found / moves == pytest.approx(1e-3, rel=0.01 + 3.0 / np.sqrt(max(found, 1)))
