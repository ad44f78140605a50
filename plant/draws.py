"""Random draws that depend on nothing but what they are drawn for.

A draw is keyed by (seed, run) and addressed by (ordinal, purpose, leg key): never by a running counter.  So it does not
matter which clock, thread, process or machine draws, or what else was drawn before.

Source: Philox4x64-10 of Salmon, Moraes, Dror and Shaw, "Parallel random numbers: as easy as 1, 2, 3", SC11 (2011); numpy's
``Philox`` is the same generator and is what the tests compare with.
"""

from __future__ import annotations

import numpy as np

from plant.kernel import inlined, kernel
from plant.portable import exponential

__all__ = [
    "PURPOSE_BOUNCE",
    "PURPOSE_BURST",
    "PURPOSE_COUNT",
    "PURPOSE_CROSSTALK",
    "PURPOSE_CURRENT",
    "PURPOSE_EDGE",
    "PURPOSE_INTERFERENCE",
    "PURPOSE_JITTER",
    "PURPOSE_NOISE",
    "PURPOSE_SECOND",
    "PURPOSE_SEGMENT",
    "PURPOSE_SPARK",
    "PURPOSE_START",
    "PURPOSE_STEP",
    "PURPOSE_SUPPLY",
    "PURPOSE_TWIN",
    "PURPOSE_WEAK",
    "block",
    "normals",
    "poisson",
    "uniform",
]

PURPOSE_COUNT = 1
PURPOSE_START = 3
PURPOSE_EDGE = 4
PURPOSE_CURRENT = 5
PURPOSE_SUPPLY = 6
PURPOSE_WEAK = 25
PURPOSE_CROSSTALK = 26
PURPOSE_INTERFERENCE = 27
PURPOSE_STEP = 28
PURPOSE_JITTER = 29
PURPOSE_SECOND = 35
# of the signal level: spread and jitter of a spark, its second pulse, segments, brush bounce, interference, noise of a sample
PURPOSE_SPARK = 40
PURPOSE_TWIN = 41
PURPOSE_SEGMENT = 42
PURPOSE_BOUNCE = 43
PURPOSE_BURST = 44
PURPOSE_NOISE = 45

_LOW = np.uint64(0xFFFFFFFF)
_S32 = np.uint64(32)
_S11 = np.uint64(11)
_M0_HIGH, _M0_LOW = np.uint64(0xD2E7470E), np.uint64(0xE14C6C93)
_M1_HIGH, _M1_LOW = np.uint64(0xCA5A8263), np.uint64(0x95121157)
_W0_HIGH, _W0_LOW = np.uint64(0x9E3779B9), np.uint64(0x7F4A7C15)
_W1_HIGH, _W1_LOW = np.uint64(0xBB67AE85), np.uint64(0x84CAA73B)
_ZERO = np.uint64(0)
_UNIT = 1.0 / 9007199254740992.0
_S16 = np.uint64(16)
_PAIRS = np.uint64(0x0000FFFF0000FFFF)
_PIECE_UNIT = 1.0 / 65536.0
_PIECE_SHIFT = 4.0 / 65536.0 - 4.0  # half a unit for each of eight pieces, less their mean
_ROOT_1_5 = 1.224744871391589


@inlined
def _product(a: np.uint64, high: np.uint64, low: np.uint64) -> tuple[np.uint64, np.uint64]:
    """High and low word of a 64 x 64 bit product, in 32-bit halves so that nothing overflows."""
    a_low = a & _LOW
    a_high = a >> _S32
    p0 = a_low * low
    p1 = a_low * high
    p2 = a_high * low
    first = p1 + (p0 >> _S32)
    second = p2 + (first & _LOW)
    top = a_high * high + (first >> _S32) + (second >> _S32)
    return top, (second & _LOW) << _S32 | (p0 & _LOW)


@inlined
def _sum(a: np.uint64, high: np.uint64, low: np.uint64) -> np.uint64:
    """Sum modulo 2**64 without overflow."""
    below = (a & _LOW) + low
    above = ((a >> _S32) + high + (below >> _S32)) & _LOW
    return above << _S32 | (below & _LOW)


@kernel
def block(
    key0: np.uint64, key1: np.uint64, c0: np.uint64, c1: np.uint64, c2: np.uint64
) -> tuple[np.uint64, np.uint64, np.uint64, np.uint64]:
    """Four random 64-bit words for the key (seed, run) and the counter (ordinal, purpose, leg key, 0)."""
    c3 = _ZERO
    for _ in range(10):
        high0, low0 = _product(c0, _M0_HIGH, _M0_LOW)
        high1, low1 = _product(c2, _M1_HIGH, _M1_LOW)
        c0 = high1 ^ c1 ^ key0
        c1 = low1
        c2 = high0 ^ c3 ^ key1
        c3 = low0
        key0 = _sum(key0, _W0_HIGH, _W0_LOW)
        key1 = _sum(key1, _W1_HIGH, _W1_LOW)
    return c0, c1, c2, c3


@kernel
def uniform(word: np.uint64) -> float:
    """Number in [0, 1) from the upper 53 bits of a word."""
    return float(word >> _S11) * _UNIT


@kernel
def normals(words: tuple[np.uint64, np.uint64, np.uint64, np.uint64]) -> tuple[float, float]:
    """Two standard normal numbers, each the sum of eight 16-bit pieces of a block.

    Eight uniform numbers: mean 0, variance 1, kurtosis 2.85 instead of 3, never beyond 4.9 standard deviations.
    """
    first = _pieces(words[0]) + _pieces(words[1])
    second = _pieces(words[2]) + _pieces(words[3])
    return (first * _PIECE_UNIT + _PIECE_SHIFT) * _ROOT_1_5, (second * _PIECE_UNIT + _PIECE_SHIFT) * _ROOT_1_5


@inlined
def _pieces(word: np.uint64) -> float:
    """Sum of the four 16-bit pieces of a word."""
    pairs = (word & _PAIRS) + ((word >> _S16) & _PAIRS)
    return float((pairs & _LOW) + (pairs >> _S32))


@kernel
def poisson(share: float, mean: float) -> int:
    """Poisson number of the given ``mean`` (up to about 50) by inversion of the uniform number ``share``."""
    if mean <= 0.0:
        return 0
    chance = exponential(-mean)
    below = chance
    n = 0
    while share > below and n < 1000:
        n += 1
        chance *= mean / n
        below += chance
    return n
