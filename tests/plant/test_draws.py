"""The random draws against numpy's Philox and against scipy's distributions."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy import stats

from plant.draws import block, normals, poisson, uniform

WORD = st.integers(min_value=0, max_value=2**64 - 1)
MASK = 2**64 - 1


def numpy_block(key: tuple[int, int], counter: tuple[int, int, int, int]) -> list[int]:
    """The block of one counter; numpy's generator counts up before it makes the first block, so it is started one below."""
    whole = sum(word << (64 * k) for k, word in enumerate(counter)) - 1
    whole %= 2**256
    below = np.array([whole >> (64 * k) & MASK for k in range(4)], dtype=np.uint64)
    made = np.random.Philox(counter=below, key=np.array(key, dtype=np.uint64))
    return [int(word) for word in made.random_raw(4)]


Block = tuple[np.uint64, np.uint64, np.uint64, np.uint64]


def blocks(number: int, purpose: int = 1, leg: int = 1000) -> list[Block]:
    made = [block(np.uint64(7), np.uint64(0), np.uint64(k), np.uint64(purpose), np.uint64(leg)) for k in range(number)]
    # A word comes back from a compiled function as a plain int.
    return [(np.uint64(a), np.uint64(b), np.uint64(c), np.uint64(d)) for a, b, c, d in made]


@given(WORD, WORD, WORD, WORD, WORD)
def test_a_block_is_that_of_numpys_philox(seed: int, run: int, ordinal: int, purpose: int, leg: int) -> None:
    words = block(np.uint64(seed), np.uint64(run), np.uint64(ordinal), np.uint64(purpose), np.uint64(leg))

    assert [int(word) for word in words] == numpy_block((seed, run), (ordinal, purpose, leg, 0))


@given(WORD)
def test_a_uniform_number_is_numpys_own(word: int) -> None:
    share = uniform(np.uint64(word))

    assert 0.0 <= share < 1.0
    assert share == (word >> 11) / 2.0**53


def test_normal_numbers_have_the_stated_moments() -> None:
    number = 20_000
    drawn = np.array([normals(words) for words in blocks(number // 2)]).ravel()

    # Four standard errors; the fixed seed makes the outcome the same every time.
    assert abs(drawn.mean()) < 4.0 / np.sqrt(number)
    assert drawn.var() == pytest.approx(1.0, abs=4.0 * np.sqrt(1.85 / number))
    assert stats.kurtosis(drawn, fisher=False) == pytest.approx(2.85, abs=4.0 * np.sqrt(24.0 / number))
    assert stats.kstest(drawn, "norm").statistic < 0.015
    assert np.abs(drawn).max() < 4.9


@pytest.mark.parametrize("mean", [0.3, 2.0, 25.0])
def test_poisson_numbers_are_the_quantiles_of_the_distribution(mean: float) -> None:
    shares = (np.arange(2000) + 0.5) / 2000.0
    made = np.array([poisson(float(share), mean) for share in shares])
    expected: NDArray[np.float64] = stats.poisson.ppf(shares, mean)

    assert np.array_equal(made, expected)


def test_a_mean_of_zero_draws_nothing() -> None:
    assert poisson(0.999999, 0.0) == 0


def test_purpose_leg_and_ordinal_each_give_draws_of_their_own() -> None:
    first = [int(words[0]) for words in blocks(50)]
    others = [[int(words[0]) for words in blocks(50, purpose=3)], [int(words[0]) for words in blocks(50, leg=1007)]]

    assert len(set(first + others[0] + others[1])) == 150
