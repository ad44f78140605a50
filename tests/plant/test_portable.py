"""The portable arithmetic against numpy, within the errors its docstrings state."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from plant.portable import brush_share, cosine, exponential, first_zero


@given(st.floats(min_value=-699.0, max_value=699.0))
def test_the_exponential_keeps_its_stated_error(x: float) -> None:
    assert exponential(x) == pytest.approx(math.exp(x), rel=4e-16 * (1.0 + abs(x)), abs=0.0)


@given(st.floats(min_value=-1e5, max_value=1e5))
def test_the_cosine_keeps_its_stated_error(turns: float) -> None:
    # The angle itself is known to an ulp of the turns; the whole turns are taken off exactly for the reference.
    whole = math.fmod(turns, 1.0)

    assert cosine(turns) == pytest.approx(math.cos(math.tau * whole), abs=1e-10, rel=0.0)


def test_the_brush_law_keeps_its_stated_distance_from_tanh_and_never_falls() -> None:
    x = np.arange(-2400, 2401) * 0.005
    share = np.array([brush_share(value) for value in x])

    assert np.max(np.abs(share - np.tanh(x))) < 1.2e-4
    assert np.all(np.diff(share) >= 0.0)
    assert np.all(share == -share[::-1])
    assert share[0] == -1.0
    assert share[-1] == 1.0


@given(
    st.floats(min_value=0.01, max_value=0.99),
    st.floats(min_value=-50.0, max_value=50.0),
    st.floats(min_value=0.1, max_value=10.0),
)
def test_the_first_zero_of_a_parabola_is_found(place: float, other: float, scale: float) -> None:
    """Parabola scale (t - place) (t - other) over a span of 1."""
    # Where it only touches zero, rounding decides whether it does.
    assume(abs(place - other) > 1e-4)
    zeros = [t for t in (place, other) if 0.0 < t < 1.0]
    found = first_zero(scale * place * other, -scale * (place + other), scale * (2.0 - place - other), 1.0)

    assert found == pytest.approx(min(zeros), abs=1e-9)


def test_a_parabola_without_a_zero_inside_gives_the_span() -> None:
    assert first_zero(1.0, 0.0, 1.0, 0.25) == 0.25
    assert first_zero(1.0, -1.0, -1.0, 0.25) == 0.25
