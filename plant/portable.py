"""Arithmetic that gives the same bytes everywhere: only + - * / and comparisons, no library transcendental.

libm differs between builds and processors, so the kernels use these.  The stated errors are held by tests against numpy.
"""

from __future__ import annotations

import math

from plant.kernel import inlined, kernel

__all__ = ["brush_share", "cosine", "exponential", "first_zero"]

_LOG2_E = 1.4426950408889634
_LN2_HIGH = 0.693147180369123816490
_LN2_LOW = 1.90821492927058770002e-10
_PI = 3.141592653589793
_E2, _E3, _E4, _E5 = 1.0 / 2.0, 1.0 / 6.0, 1.0 / 24.0, 1.0 / 120.0
_E6, _E7, _E8, _E9 = 1.0 / 720.0, 1.0 / 5040.0, 1.0 / 40320.0, 1.0 / 362880.0
_E10, _E11, _E12, _E13 = 1.0 / 3628800.0, 1.0 / 39916800.0, 1.0 / 479001600.0, 1.0 / 6227020800.0
_S3, _S5, _S7, _S9 = -1.0 / 6.0, 1.0 / 120.0, -1.0 / 5040.0, 1.0 / 362880.0
_S11, _S13, _S15 = -1.0 / 39916800.0, 1.0 / 6227020800.0, -1.0 / 1307674368000.0


@kernel
def exponential(x: float) -> float:
    """Exponential of ``x`` [-], for -700 < x < 700; relative error below 4e-16 times (1 + |x|).

    Source: argument reduction by ln 2 in two parts and the Taylor polynomial of degree 13.
    """
    n = math.floor(x * _LOG2_E + 0.5)
    r = (x - n * _LN2_HIGH) - n * _LN2_LOW
    r2 = r * r
    r4 = r2 * r2
    # the inverse factorials of 2 to 13 in pairs, which do not wait for each other
    low = (_E2 + _E3 * r) + r2 * (_E4 + _E5 * r)
    middle = (_E6 + _E7 * r) + r2 * (_E8 + _E9 * r)
    high = (_E10 + _E11 * r) + r2 * (_E12 + _E13 * r)
    p = 1.0 + (r + r2 * (low + r4 * (middle + r4 * high)))
    base = 2.0 if n >= 0 else 0.5
    left = n if n >= 0 else -n
    while left > 0:
        if left % 2 == 1:
            p *= base
        base *= base
        left //= 2
    return p


@kernel
def cosine(turns: float) -> float:
    """Cosine of ``turns`` [revolutions]; absolute error below 1e-10.

    Source: cos(2 pi t) = 1 - 2 sin(pi t)^2 with the Taylor polynomial of the sine on +-pi/2.
    """
    a = _PI * (turns - math.floor(turns + 0.5))
    a2 = a * a
    # inverse factorials, because a chain of quotients is slow
    p = a2 * (_S7 + a2 * (_S9 + a2 * (_S11 + a2 * (_S13 + a2 * _S15))))
    s = a * (1.0 + a2 * (_S3 + a2 * (_S5 + p)))
    return 1.0 - 2.0 * s * s


@inlined
def brush_share(x: float) -> float:
    """Share [-1, 1] of the full brush drop at the current ratio ``x`` = i/Ib; within 1.2e-4 of tanh(x).

    Source: the [7/6] Pade approximant of tanh, clipped to +-1.
    """
    if x > 4.97:
        return 1.0
    if x < -4.97:
        return -1.0
    q = x * x
    share: float = x * (135135.0 + q * (17325.0 + q * (378.0 + q))) / (135135.0 + q * (62370.0 + q * (3150.0 + 28.0 * q)))
    if share > 1.0:
        return 1.0
    if share < -1.0:
        return -1.0
    return share


@kernel
def first_zero(value: float, slope: float, end_slope: float, span: float) -> float:
    """First zero in (0, span] of the parabola with ``value`` and ``slope`` at 0 and ``end_slope`` at ``span``; else ``span``.

    The parabola is what a trapezoidal step assumes inside itself, so an event found on it is as exact as the step.
    """
    bend = (end_slope - slope) / (2.0 * span)
    root = slope * slope - 4.0 * bend * value
    if root < 0.0:
        return span
    q = slope + math.sqrt(root) if slope >= 0.0 else slope - math.sqrt(root)
    best = span
    if q != 0.0:
        t = -2.0 * value / q
        if 0.0 < t < best:
            best = t
    if bend != 0.0:
        t = -q / (2.0 * bend)
        if 0.0 < t < best:
            best = t
    return best
