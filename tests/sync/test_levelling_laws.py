"""Each levelling law alone, on the controller's own records: what it does with given counts."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from scenarios.build_law import plane_basis
from scenarios.rig import records
from sync.levelling import level
from sync.modes import Law
from sync.records import memory_dtype, settings_dtype

LAWS = [Law.CROSS_COUPLING, Law.FOLLOW, Law.COMMON_REFERENCE, Law.RING, Law.MODAL]
KC, KI, TICK = 50.0, 50.0, 0.01
BASE = 0.6
PER_METRE = 20_000.0
SQUARE = ((0.5, 0.5), (-0.5, 0.5), (-0.5, -0.5), (0.5, -0.5))


def duties(
    law: Law, counts: Sequence[int], direction: int = 1, changes: dict[str, Any] | None = None, calls: int = 1
) -> NDArray[np.float64]:
    """Duty of each leg after ``calls`` of the law, the counts standing still."""
    n = len(counts)
    told, memory = np.zeros(1, settings_dtype(n)), np.zeros(1, memory_dtype(n))
    told["n_legs"], told["law"], told["tick"], told["control_every"] = n, law, TICK / 10, 10
    told["gain"], told["integral_gain"], told["integral_limit"] = KC, KI, 0.3
    told["warp_gain"], told["warp_integral_gain"] = KC, KI
    told["base_duty"], told["slow_duty"] = 0.8, 0.3
    told["legs"]["counts_per_metre"] = PER_METRE
    places = np.array(SQUARE[:n]) if n > 2 else np.array([[-0.6, 0.0], [0.6, 0.0]])
    told["legs"]["plane"][0] = plane_basis(places[:, 0], places[:, 1])
    told["reference_window"] = 1e-3
    memory["direction"] = direction
    memory["legs"]["counts"], memory["legs"]["on"] = counts, 1
    memory["reference"] = np.mean((np.asarray(counts) + 0.5) / PER_METRE)
    for name, value in (changes or {}).items():
        told[name] = value
    for _ in range(calls):
        level(records(told)[0], records(memory)[0], BASE, True)
    result: NDArray[np.float64] = memory["legs"]["duty"][0].copy()
    return result


@pytest.mark.parametrize("law", LAWS)
@pytest.mark.parametrize("direction", [1, -1])
def test_no_spread_in_no_correction_out(law: Law, direction: int) -> None:
    for n in (2, 3, 4):
        assert duties(law, [1234] * n, direction, calls=50) == pytest.approx(BASE, abs=1e-12)


@pytest.mark.parametrize("law", LAWS)
def test_the_leg_that_leads_in_the_direction_of_the_move_gets_less(law: Law) -> None:
    up, down = duties(law, [1000, 1004]), duties(law, [1000, 1004], -1)

    assert up[1] < up[0]
    assert down[1] > down[0]


@pytest.mark.parametrize("law", LAWS)
def test_two_legs_are_one_differential_loop_of_gain_two_kc_under_every_law(law: Law) -> None:
    apart = 4 / PER_METRE
    first, second = duties(law, [1000, 1004])

    # u1 - u2 = 2 Kc (x2 - x1); the sums of the laws differ, and with it the common speed
    assert first - second == pytest.approx(2.0 * KC * apart, rel=1e-12)


@pytest.mark.parametrize("law", LAWS)
def test_the_integral_adds_two_ki_times_difference_and_time(law: Law) -> None:
    apart = 4 / PER_METRE
    once, later = (np.diff(duties(law, [1000, 1004], calls=calls))[0] for calls in (1, 21))

    assert once - later == pytest.approx(2.0 * KI * apart * 20 * TICK, rel=1e-12)


@given(st.lists(st.integers(0, 60), min_size=2, max_size=4), st.sampled_from([Law.CROSS_COUPLING, Law.RING, Law.COMMON_REFERENCE]))
@settings(max_examples=40, deadline=None)
def test_renumbering_the_legs_around_the_ring_renumbers_the_duties(counts: list[int], law: Law) -> None:
    turned = counts[1:] + counts[:1]
    plain, moved = duties(law, counts, calls=3), duties(law, turned, calls=3)

    assert np.roll(plain, -1) == pytest.approx(moved, abs=1e-12)


@pytest.mark.parametrize("leader", [0, 1, 2])
def test_the_leader_is_never_corrected_and_renumbering_it_renumbers_the_duties(leader: int) -> None:
    counts = [1000, 1003, 996]
    result = duties(Law.FOLLOW, counts, changes={"leader": leader})
    order = [leader, *(q for q in range(3) if q != leader)]

    assert result[leader] == BASE
    assert result[order] == pytest.approx(duties(Law.FOLLOW, [counts[q] for q in order]), abs=1e-12)


@pytest.mark.parametrize("mode", [1, 2, 3])
def test_a_ring_has_the_mode_gains_of_its_published_formula(mode: int) -> None:
    """4 Kc sin^2(pi j/N), the eigenvalues of a ring of N equal links; N = 4 here."""
    shape = np.round(20 * np.cos(2.0 * np.pi * mode * np.arange(4) / 4)).astype(int)
    correction = BASE - duties(Law.RING, (1000 + shape).tolist())

    assert correction == pytest.approx(4.0 * KC * np.sin(np.pi * mode / 4) ** 2 * shape / PER_METRE, abs=1e-9)


def test_the_modal_law_holds_tilt_and_warp_each_with_its_own_gain() -> None:
    soft = {"warp_gain": 0.1 * KC}
    tilted = BASE - duties(Law.MODAL, [1010, 1010, 990, 990], changes=soft)
    warped = BASE - duties(Law.MODAL, [1010, 990, 1010, 990], changes=soft)

    assert tilted == pytest.approx(2.0 * KC * np.array([10, 10, -10, -10]) / PER_METRE, rel=1e-9)
    assert warped == pytest.approx(0.2 * KC * np.array([10, -10, 10, -10]) / PER_METRE, rel=1e-9)


@given(st.lists(st.integers(0, 60), min_size=3, max_size=4))
@settings(max_examples=30, deadline=None)
def test_the_modal_law_with_equal_gains_is_cross_coupling(counts: list[int]) -> None:
    assert duties(Law.MODAL, counts, calls=3) == pytest.approx(duties(Law.CROSS_COUPLING, counts, calls=3), abs=1e-12)


def test_the_common_reference_waits_for_a_leg_that_lags_by_the_window() -> None:
    running = {"reference_speed": 0.03, "reference_slow": 0.01}
    together = duties(Law.COMMON_REFERENCE, [1000, 1000], changes=running)
    lagging = duties(Law.COMMON_REFERENCE, [1000, 960], changes=running)
    plain = duties(Law.COMMON_REFERENCE, [1000, 960])

    # at a duty of 0.6 between 0.3 and 0.8 the reference runs at 0.022 m/s; 20 counts of lag are the whole window of 1 mm
    assert together - BASE == pytest.approx(2.0 * KC * 0.022 * TICK, rel=1e-9)
    assert lagging == pytest.approx(plain, abs=1e-12)


def test_the_basis_of_four_legs_leaves_one_warp_and_that_of_a_line_one_tilt() -> None:
    square, line = np.array(SQUARE), np.array([[-0.6, 0.0], [0.6, 0.0]])
    of_square, of_line = plane_basis(square[:, 0], square[:, 1]), plane_basis(line[:, 0], line[:, 1])

    assert of_square.T @ of_square == pytest.approx(np.eye(3), abs=1e-12)
    assert of_square.T @ np.array([1.0, -1.0, 1.0, -1.0]) == pytest.approx(0.0, abs=1e-12)
    assert of_line.T @ of_line == pytest.approx(np.diag([1.0, 1.0, 0.0]), abs=1e-12)
