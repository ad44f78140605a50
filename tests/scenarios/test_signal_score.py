"""Matching pulses to commutations: alignment, doubles, intervals, phases."""

from __future__ import annotations

import numpy as np
import pytest
import wires
from hypothesis import given
from hypothesis import strategies as st

from scenarios.signal_phases import Phase, phases
from scenarios.signal_score import PhaseScore, Score, add, match, proportion_interval, rate_interval, score

TRUE = np.arange(1.0, 21.0) * 1000.0


def test_a_miss_and_a_false_pulse_do_not_cancel() -> None:
    heard = np.sort(np.r_[np.delete(TRUE, 5) + 3.0, 12_480.0])
    made = match(TRUE, heard)

    assert len(heard) == len(TRUE)
    assert list(np.flatnonzero(made.hit < 0)) == [5]
    assert list(heard[made.kind == 2]) == [12_480.0]


def test_a_second_pulse_soon_after_is_a_double_and_a_late_one_is_false() -> None:
    made = match(TRUE, np.sort(np.r_[TRUE + 2.0, 3100.0, 7450.0]))

    assert np.count_nonzero(made.hit < 0) == 0
    assert np.count_nonzero(made.kind == 1) == 1
    assert np.count_nonzero(made.kind == 2) == 1


def test_pulses_before_and_after_everything_are_false() -> None:
    made = match(TRUE, np.r_[100.0, TRUE, 60_000.0])

    assert list(made.kind) == [2] + [0] * 20 + [2]


@given(st.lists(st.booleans(), min_size=20, max_size=20), st.floats(-200.0, 200.0))
def test_whatever_is_left_out_is_missed_and_nothing_else(kept: list[bool], latency: float) -> None:
    keep = np.array(kept)
    made = match(TRUE, TRUE[keep] + latency)

    assert np.array_equal(made.hit >= 0, keep)
    assert not np.any(made.kind)


def test_without_pulses_all_is_missed_and_without_commutations_all_is_false() -> None:
    assert np.all(match(TRUE, np.zeros(0)).hit == -1)
    assert list(match(np.zeros(0), TRUE).kind) == [2] * 20


def test_the_interval_of_a_proportion_is_the_published_one() -> None:
    """NIST/SEMATECH e-Handbook 7.2.4.2: 4 of 20, 90 %: 0.071354 to 0.401028; 0 of 10, 95 % (Clopper, Pearson 1934)."""
    assert proportion_interval(4, 20, 0.90) == pytest.approx((0.071354, 0.401028), abs=2e-6)
    assert proportion_interval(0, 10) == pytest.approx((0.0, 0.308497), abs=1e-6)
    assert proportion_interval(0, 0) == (0.0, 1.0)


def test_the_interval_of_a_rate_is_the_exact_one_of_poisson() -> None:
    """No event in n trials: the upper end is -ln(0.025)/n, which follows from the law itself."""
    assert rate_interval(0, 100) == pytest.approx((0.0, -np.log(0.025) / 100), rel=1e-9)
    low, high = rate_interval(10, 1)

    assert (low, high) == pytest.approx((4.795, 18.390), abs=0.001)  # tables of the Poisson distribution, from memory


def test_scores_add_up() -> None:
    one = Score({Phase.RUN: PhaseScore(100, 2, 1, 3, 980.0)})
    both = add([one, Score({Phase.RUN: PhaseScore(50, 0, 0, 0, 100.0), Phase.COAST: PhaseScore(10, 5, 0, 0, 0.0)})])

    assert both.moves == 2
    assert both.phases[Phase.RUN] == PhaseScore(150, 2, 1, 3, 1080.0)
    assert both.whole.missed == 7
    assert both.net == 4 - 7
    assert both.phases[Phase.RUN].latency == pytest.approx(1080.0 / 148)
    assert PhaseScore(3, 3, 0, 0, 0.0).latency is None


def test_a_lowering_has_edge_start_run_coast_and_tail_in_this_order() -> None:
    bench = wires.lowering()
    kind = phases(bench.history, bench.step)
    order = [Phase(int(kind[first])) for first in np.r_[0, np.flatnonzero(np.diff(kind)) + 1]]

    assert order == [Phase.EDGE, Phase.START, Phase.RUN, Phase.EDGE, Phase.COAST, Phase.TAIL, Phase.REST]


def test_latency_and_phase_of_a_score() -> None:
    kind = np.full(300, int(Phase.RUN))
    kind[100:] = int(Phase.COAST)
    made = score(TRUE, np.delete(TRUE, 15) + 5.0, kind, 100.0)

    assert made.phases[Phase.RUN] == PhaseScore(9, 0, 0, 0, 45.0)
    assert made.phases[Phase.COAST].missed == 1
    assert made.phases[Phase.COAST].latency == pytest.approx(5.0)
