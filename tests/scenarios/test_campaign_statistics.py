"""Statistics of campaigns; the published figures stand in checks.toml."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import binom

from scenarios.campaign.statistics import (
    bound_order,
    claim,
    claim_of_plan,
    exact_interval,
    none_broken_bound,
    quantile_interval,
    runs_needed,
    share_at_least,
    upper_bound,
)


@pytest.mark.parametrize("share", [0.002, 0.02, 0.1, 0.5])
@pytest.mark.parametrize("runs", [20, 59, 300])
def test_an_exact_interval_holds_the_true_share_at_least_as_often_as_it_says(share: float, runs: int) -> None:
    """By simulation; three standard errors of 4000 draws are allowed below 95 %."""
    ends = [exact_interval(broken, runs) for broken in range(runs + 1)]
    drawn = np.random.default_rng(7).binomial(runs, share, size=4000)
    held = np.mean([ends[broken].low <= share <= ends[broken].high for broken in drawn])

    assert held >= 0.95 - 3.0 * np.sqrt(0.95 * 0.05 / 4000)


@pytest.mark.parametrize("share", [0.01, 0.05, 0.3])
def test_a_claim_is_wrong_at_most_as_often_as_its_confidence_allows(share: float) -> None:
    """Exactly, from the binomial distribution: how probable are the counts of which the claim says too much."""
    runs = 100
    wrong = sum(float(binom.pmf(k, runs, share)) for k in range(runs + 1) if share_at_least(k, runs) > 1.0 - share)

    assert wrong <= 0.05


@pytest.mark.parametrize(("runs", "share"), [(59, 0.95), (93, 0.95), (500, 0.95), (299, 0.99)])
def test_the_bound_of_a_quantile_is_below_it_in_at_most_five_of_a_hundred_campaigns(runs: int, share: float) -> None:
    """By simulation with exponential values, whose quantile is -ln(1 - share); three standard errors of 3000 campaigns."""
    drawn = np.sort(np.random.default_rng(3).exponential(size=(3000, runs)), axis=1)
    bounds = drawn[:, -bound_order(runs, share)]
    below = np.mean(bounds < -np.log(1.0 - share))

    assert below <= 0.05 + 3.0 * np.sqrt(0.05 * 0.95 / 3000)


def test_a_second_campaign_exceeds_the_largest_value_of_the_first_as_often_as_not() -> None:
    """Pal and Makai (2013): the 95/95 bound of 59 runs is itself a draw, not a figure that repeats."""
    drawn = np.random.default_rng(11).normal(size=(4000, 2, 59)).max(axis=2)

    assert abs(np.mean(drawn[:, 1] > drawn[:, 0]) - 0.5) < 3.0 * np.sqrt(0.25 / 4000)


def test_58_runs_bound_nothing_at_95_95_and_59_do() -> None:
    values = [float(k) for k in range(59)]

    assert (upper_bound(values[:58], 0.95), upper_bound(values, 0.95)) == (None, 58.0)


def test_the_order_of_a_bound_is_the_one_that_the_number_of_runs_first_allows() -> None:
    needed = [runs_needed(0.95, 0.95, order) for order in range(1, 8)]

    assert [bound_order(runs, 0.95) for runs in needed] == [1, 2, 3, 4, 5, 6, 7]
    assert [bound_order(runs - 1, 0.95) for runs in needed] == [0, 1, 2, 3, 4, 5, 6]


def test_the_interval_of_a_median_closes_around_it() -> None:
    low, middle, high = quantile_interval([float(k) for k in range(1, 102)], 0.5)

    assert low is not None
    assert high is not None
    assert low < middle == 51.0 < high
    assert (51.0 - low, high - 51.0) == (10.0, 10.0)  # 101 tosses of a coin: 40 or fewer heads 2.3 %, 41 or fewer 3.7 %


def test_a_claim_says_what_can_be_said_and_no_more() -> None:
    assert claim(0, 59) == "0 of 59 broke it: at least 95 % of lifts pass, at 95 % confidence"
    assert claim(0, 299) == "0 of 299 broke it: at least 99 % of lifts pass, at 95 % confidence"
    assert claim(20, 20) == "20 of 20 broke it: at least 0 % of lifts pass, at 95 % confidence"
    assert claim(0, 0) == "no lift was judged: nothing can be said"
    for broken, runs in ((0, 58), (1, 400), (3, 10**6), (7, 20)):
        told = float(claim(broken, runs).split("at least ")[1].split(" %")[0])
        true = 100.0 * share_at_least(broken, runs)

        assert true - 0.1 * (100.0 - true) - 1.0 <= told <= true


def test_a_plan_is_told_what_it_can_claim_before_it_flies() -> None:
    told = claim_of_plan(100)

    assert told.startswith(
        "100 lifts, if none breaks a limit: at least 97 % of lifts pass, at 95 % confidence; a claim of 99 % 299, 99.9 % 2995"
    )


def test_three_over_n_is_above_the_exact_bound_by_five_per_cent_at_thirty() -> None:
    """Hanley and Lippman-Hand 1983; 5.2 % at 30 runs, 1.7 % at 100."""
    over = [3.0 / runs / none_broken_bound(runs) - 1.0 for runs in (30, 100)]

    assert over == pytest.approx([0.052, 0.017], abs=0.0007)
