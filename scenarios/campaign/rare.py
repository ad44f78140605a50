"""Importance sampling: the weight of a lift that was flown with tilted chances and distributions, and what weighted lifts say.

The weight is the ratio of what was asked to what was flown: of the densities of all tilted values, times that of all draws of the
detector.  Those draws depend on (seed, run, ordinal, leg) alone, so they are drawn again here, from the number of commutations.

Source: A. Owen, Monte Carlo theory, methods and examples, ch. 9 (importance sampling, defensive mixtures, effective sample size), from
memory; the effective sample size is that of L. Kish, Survey Sampling (1965), from memory.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import exp, inf, log, sqrt
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr, ndtri

from plant.draws import PURPOSE_COUNT
from scenarios.files.spread import Spread

__all__ = [
    "ENOUGH",
    "Estimate",
    "chances",
    "estimate",
    "estimate_words",
    "log_density",
    "log_ratio_of_chances",
    "log_weight",
    "mixed",
    "rates_of",
]

ENOUGH = 30.0
"""Effective number of broken lifts below which an estimate is called too thin."""

Rates = tuple[float, float, float]
"""Chances of a miss, a double and a false pulse per commutation."""


def log_density(spread: Spread, value: float | str) -> float:
    """Logarithm of the density (of a discrete distribution: of the probability) of a value."""
    if spread.values is not None:
        weights = spread.weights or (1.0,) * len(spread.values)
        return log(sum(w for v, w in zip(spread.values, weights, strict=True) if v == value) / sum(weights))
    x = float(value)
    match spread.distribution:
        case "uniform":
            return -log(_held(spread.high) - _held(spread.low))
        case "triangular":
            return _triangular(spread, x)
        case "log-normal":
            size = log(_held(spread.spread))
            return -0.5 * (log(x / _held(spread.median)) / size) ** 2 - log(size * x) - 0.5 * log(2.0 * np.pi)
        case _:
            mean, sd = _held(spread.mean), _held(spread.sd)
            whole = 1.0
            if spread.distribution == "truncated-normal":
                low, high = (_held(spread.low) - mean) / sd, (_held(spread.high) - mean) / sd
                whole = float(ndtr(high) - ndtr(low)) if low < 0.0 else float(ndtr(-low) - ndtr(-high))
            return -0.5 * ((x - mean) / sd) ** 2 - log(sd * whole) - 0.5 * log(2.0 * np.pi)


def _held(value: float | None) -> float:
    assert value is not None, "the file model sees that every figure a distribution needs is there"
    return value


def _triangular(spread: Spread, x: float) -> float:
    low, mode, high = _held(spread.low), _held(spread.mode), _held(spread.high)
    rise, fall = mode - low, high - mode
    share = (x - low) / rise if x < mode else (high - x) / fall if fall > 0.0 else 1.0
    return log(2.0 * share / (high - low)) if share > 0.0 else -inf


def chances(seed: int, run: int, key: int, commutations: int) -> NDArray[np.float64]:
    """Uniform numbers that ``plant.counting.hear`` draws for the first commutations of a leg, shape (commutations,).

    One block of four words serves four commutations: number n takes word n % 4 of block (n + 3) // 4.
    """
    below = np.array([0, PURPOSE_COUNT, key, 0], dtype=np.uint64)
    words = np.random.Philox(counter=below, key=np.array([seed, run], dtype=np.uint64)).random_raw(4 * ((commutations + 3) // 4))
    ordinals = np.arange(1, commutations + 1)
    drawn = words[((ordinals + 3) // 4 - 1) * 4 + ordinals % 4]
    return np.asarray((drawn >> np.uint64(11)) * 2.0**-53, dtype=np.float64)


def log_ratio_of_chances(drawn: NDArray[np.float64], asked: Rates, tilted: Rates, flown: Rates) -> float:
    """Logarithm of how much more probable what these draws came to is by the chances ``asked`` than by those ``tilted``.

    ``flown`` are the chances that decided what each draw came to: one of the two.
    """
    miss, double, false = flown
    edges = [0.0, miss, miss + double, miss + false + double]
    numbers = [int(np.sum((drawn >= low) & (drawn < high))) for low, high in pairwise(edges)]
    ratio = sum(n * log(p / q) for n, p, q in zip(numbers, asked, tilted, strict=True) if n)
    return ratio + (len(drawn) - sum(numbers)) * log((1.0 - sum(asked)) / (1.0 - sum(tilted)))


def mixed(log_ratio: float, nominal_share: float) -> float:
    """Logarithm of the weight where ``nominal_share`` of the lifts are flown as asked, whichever of the two this one was."""
    if nominal_share <= 0.0:
        return log_ratio
    return float(-np.logaddexp(log(nominal_share), log(1.0 - nominal_share) - log_ratio))


@dataclass(frozen=True)
class Estimate:
    """Share of all lifts that break something, estimated from weighted ones."""

    share: float
    low: float
    high: float | None
    """Ends of the interval; None: nothing broke, so that none follows."""
    broken: int
    effective_broken: float
    """Effective number of the broken lifts: (sum of weights)^2 / sum of squares."""
    effective_lifts: float
    """The same of all lifts: how far the tilt has cost what is not rare."""
    mean_weight: float
    """One but for chance; far from it the tilt has left something out, or too few lifts were flown."""


def estimate(broken: NDArray[np.bool_], log_weights: NDArray[np.float64], confidence: float) -> Estimate:
    """Plain, unbiased estimate with an interval that is normal in the logarithm of the share.

    Parameters
    ----------
    broken, log_weights
        Of each lift that was judged, shape (lifts,).
    confidence
        Of the interval.
    """
    weights = np.exp(log_weights)
    hits = np.where(broken, weights, 0.0)
    count, total = len(weights), float(np.sum(hits))
    squares, all_squares = float(np.sum(hits * hits)), float(np.sum(weights * weights))
    whole = float(np.sum(weights))
    share = total / count
    low, high = 0.0, None
    if total > 0.0:
        error = sqrt(max(squares / count - share * share, 0.0) / max(count - 1, 1)) / share
        reach = float(ndtri(0.5 * (1.0 + confidence))) * error
        low, high = share * exp(-reach), min(share * exp(min(reach, 700.0)), 1.0)
    effective = total * total / squares if squares > 0.0 else 0.0
    return Estimate(share, low, high, int(np.sum(broken)), effective, whole * whole / all_squares, whole / count)


def estimate_words(found: Estimate, confidence: float) -> str:
    """The estimate in words, with what it rests on."""
    if found.high is None:
        return "no tilted lift broke it: no bound follows from weighted lifts; tilt further"
    thin = "" if found.effective_broken >= ENOUGH else "; too few to rest on: fly more lifts or tilt otherwise"
    return (
        f"breaks with {found.share:.3g} ({found.low:.3g} to {found.high:.3g} at {100 * confidence:g} % confidence), from {found.broken} "
        f"broken lifts that count as {found.effective_broken:.3g}; mean weight {found.mean_weight:.3g}{thin}"
    )


def rates_of(detector: Any) -> Rates:
    """Chances of a miss, a double and a false pulse of a detector as a lift file has it."""
    return detector.run_miss, detector.run_double, detector.run_false


def log_weight(rig: NDArray[np.void], asked: Sequence[Any], factors: Rates, values: float, nominal_share: float) -> float:
    """Logarithm of the weight of a flown lift.

    Parameters
    ----------
    rig
        Shape (1,), flown.
    asked
        Detector of each leg as asked, before it was tilted.
    factors
        On the chances.
    values
        Logarithm of the ratio of the densities of its values.
    nominal_share
        Share of the lifts that are flown as asked.
    """
    world = rig["world"][0]
    ratio = values
    for leg, detector in zip(world["legs"], asked, strict=False):
        rates = rates_of(detector)
        tilted = (rates[0] * factors[0], rates[1] * factors[1], rates[2] * factors[2])
        if detector.kind == "hall" or tilted == rates:
            continue
        flown = (float(leg["detector"]["run_miss"]), float(leg["detector"]["run_double"]), float(leg["detector"]["run_false"]))
        drawn = chances(int(world["seed"]), int(world["run"]), int(leg["key"]), int(leg["motor"]["ordinal"]))
        ratio += log_ratio_of_chances(drawn, rates, tilted, flown)
    return mixed(ratio, nominal_share)
