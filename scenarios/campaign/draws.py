"""From a place in the unit cube to a value: the inverse distribution functions, one lift at a time so that batches cannot differ."""

from __future__ import annotations

from math import exp, log, sqrt

from scipy.special import ndtr, ndtri

from scenarios.files.spread import Spread

__all__ = ["RARE", "ends_of", "grid_of", "value_of"]

RARE = 1e-3
"""Probability beyond the ends of a distribution that has none, for the check of ranges."""
CORNER = 0.025
"""The same for its corners: 95 % lie between them."""


def _given(value: float | None) -> float:
    assert value is not None, "the file model sees that every figure a distribution needs is there"
    return value


def _triangular(spread: Spread, share: float) -> float:
    low, mode, high = _given(spread.low), _given(spread.mode), _given(spread.high)
    whole = high - low
    if share * whole < mode - low:
        return low + sqrt(share * whole * (mode - low))
    return high - sqrt((1.0 - share) * whole * (high - mode))


def _normal(spread: Spread, share: float) -> float:
    mean, sd = _given(spread.mean), _given(spread.sd)
    if spread.distribution == "normal":
        return mean + sd * float(ndtri(share))
    low, high = _given(spread.low), _given(spread.high)
    # above the mean the upper tail keeps its digits where the lower one has run out of them
    flip = -1.0 if low > mean else 1.0
    first, last = sorted((flip * (low - mean) / sd, flip * (high - mean) / sd))
    below, above = float(ndtr(first)), float(ndtr(last))
    place = share if flip > 0 else 1.0 - share
    return min(max(mean + flip * sd * float(ndtri(below + place * (above - below))), low), high)


def _discrete(spread: Spread, share: float) -> float | str:
    values = spread.values or ()
    weights = spread.weights or (1.0,) * len(values)
    left = share * sum(weights)
    for value, weight in zip(values, weights, strict=True):
        left -= weight
        if left < 0.0:
            return value
    return values[-1]


def value_of(spread: Spread, share: float) -> float | str:
    """Value below which ``share`` of all values lie.

    Parameters
    ----------
    spread
        The distribution.
    share
        Strictly between 0 and 1.

    Notes
    -----
    Source: inverse distribution functions, any textbook of probability; the normal one is scipy's.
    """
    match spread.distribution:
        case "uniform":
            low, high = _given(spread.low), _given(spread.high)
            return low + share * (high - low)
        case "normal" | "truncated-normal":
            return _normal(spread, share)
        case "triangular":
            return _triangular(spread, share)
        case "log-normal":
            return _given(spread.median) * exp(log(_given(spread.spread)) * float(ndtri(share)))
        case _:
            return _discrete(spread, share)


def ends_of(spread: Spread, beyond: float = CORNER) -> tuple[float | str, ...]:
    """Least and largest value; where there is none, those beyond which ``beyond`` of all values lie; of words, all."""
    if spread.values is not None:
        numbers = [value for value in spread.values if not isinstance(value, str)]
        return tuple(spread.values) if len(numbers) < len(spread.values) else tuple(dict.fromkeys((min(numbers), max(numbers))))
    if spread.low is not None and spread.high is not None:
        return spread.low, spread.high
    return value_of(spread, beyond), value_of(spread, 1.0 - beyond)


def grid_of(spread: Spread) -> tuple[float | str, ...]:
    """Values evenly spaced between the ends; of a discrete distribution all of them; of one point the middle."""
    if spread.values is not None:
        return tuple(spread.values)
    low, high = ends_of(spread)
    assert isinstance(low, float | int)
    assert isinstance(high, float | int)
    if spread.points == 1:
        return (0.5 * (low + high),)
    return tuple(low + (high - low) * k / (spread.points - 1) for k in range(spread.points))
