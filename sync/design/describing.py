"""Describing functions: what a sine of given amplitude sees of a quantiser, a relay, a play, a saturation; limit cycles.

Source: Gelb and Vander Velde, *Multiple-Input Describing Functions* (1968), and Astrom and Murray, *Feedback Systems*, both
from memory; each function is held to numerical Fourier integrals in the tests.
"""

from __future__ import annotations

from collections.abc import Callable
from math import asin, inf, pi, sqrt

__all__ = [
    "QUANTISER_PEAK",
    "backlash",
    "limit_cycle_amplitude",
    "quantiser",
    "quantiser_peak",
    "relay",
    "relay_cycle",
    "relay_ultimate_gain",
    "saturation",
    "saturation_cycle",
]

QUANTISER_PEAK = 4.0 / pi
"""Largest gain [-] of a mid-tread quantiser for a sine, at the amplitude step/sqrt 2."""


def quantiser(step: float, amplitude: float) -> float:
    """Gain [-] of a mid-tread uniform quantiser of ``step`` for a sine of ``amplitude`` (same unit)."""
    if amplitude <= 0.5 * step:
        return 0.0
    levels = int(amplitude / step + 0.5)
    total = sum(sqrt(max(0.0, 1.0 - ((i - 0.5) * step / amplitude) ** 2)) for i in range(1, levels + 1))
    return 4.0 * step / (pi * amplitude) * total


def quantiser_peak(step: float) -> tuple[float, float]:
    """Largest gain of the quantiser [-] and the amplitude at which a sine has it: 4/pi at step/sqrt 2."""
    amplitude = step / sqrt(2.0)
    return quantiser(step, amplitude), amplitude


def relay(level: float, hysteresis: float, amplitude: float) -> complex:
    """Complex gain of a relay that switches between +-``level`` at +-``hysteresis``, for a sine of ``amplitude``.

    Raises
    ------
    ValueError
        If the sine is too small to switch it.
    """
    if amplitude < hysteresis or amplitude <= 0.0:
        raise ValueError(f"a sine of amplitude {amplitude:g} does not switch a relay with hysteresis {hysteresis:g}")
    share = hysteresis / amplitude
    return complex(4.0 * level * sqrt(1.0 - share * share) / (pi * amplitude), -4.0 * level * share / (pi * amplitude))


def backlash(width: float, amplitude: float) -> complex:
    """Complex gain of friction-driven play of total ``width`` for a sine of ``amplitude``; 0 inside the play."""
    half = 0.5 * width
    if amplitude <= half:
        return 0.0j
    x = 1.0 - width / amplitude
    real = 0.5 + (asin(x) + x * sqrt(max(0.0, 1.0 - x * x))) / pi
    imaginary = -(width / amplitude) * (2.0 - width / amplitude) / pi
    return complex(real, imaginary)


def saturation(limit: float, amplitude: float) -> float:
    """Gain [-] of unit slope that saturates at +-``limit``, for a sine of ``amplitude``."""
    if amplitude <= limit:
        return 1.0
    x = limit / amplitude
    return 2.0 / pi * (asin(x) + x * sqrt(1.0 - x * x))


def limit_cycle_amplitude(gain: Callable[[float], float], wanted: float, low: float, high: float) -> float:
    """Amplitude in [low, high] at which a falling describing function ``gain`` is ``wanted``; inf if it stays above.

    With ``wanted`` = 1/|L| at a phase crossover of the loop this is a stable limit cycle there.
    """
    if gain(high) > wanted:
        return inf
    for _ in range(200):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if gain(middle) > wanted else (low, middle)
    return 0.5 * (low + high)


def relay_cycle(slope: float, delay: float, level: float) -> tuple[float, float]:
    """Limit cycle of an ideal relay of +-``level`` around an integrator of ``slope`` with ``delay`` [s]: amplitude, period [s].

    Source: exact, the ramp runs on for the delay after each zero crossing: slope level delay, and four delays.
    """
    return slope * level * delay, 4.0 * delay


def relay_ultimate_gain(level: float, amplitude: float) -> float:
    """Ultimate gain told by a relay test: 4 level/(pi amplitude).

    Source: Astrom and Hagglund (1984), from memory.  It takes the triangle for a sine: on an integrator with delay 19 % low.
    """
    return 4.0 * level / (pi * amplitude)


def saturation_cycle(limit: float, crossing: float) -> float:
    """Amplitude of the limit cycle of a loop that saturates at +-``limit`` and crosses the real axis at ``crossing`` < -1."""
    return limit_cycle_amplitude(lambda amplitude: saturation(limit, amplitude), -1.0 / crossing, limit, 1e6 * limit)
