"""Commutation counts: how many per revolution and per metre, how fast they come, how deep the EMF ripple is."""

from __future__ import annotations

from math import cos, lcm, pi

__all__ = ["counts_per_metre", "counts_per_revolution", "emf_ripple", "ripple_frequency"]


def counts_per_revolution(segments: int, poles: int) -> int:
    """Commutations per motor revolution: the least common multiple of commutator segments and poles.

    Source: Vazquez-Sanchez, Sottile, Gomez-Gil, Applied Sciences 7(1):14, 2017; it follows from the geometry of equally
    spaced segments that pass equally spaced brushes.
    """
    if segments < 2 or poles < 2 or poles % 2:
        raise ValueError(f"{segments} segments on {poles} poles: needs at least 2 segments and an even number of poles")
    return lcm(segments, poles)


def counts_per_metre(per_revolution: int, ratio: float, lead: float) -> float:
    """Counts per metre of lift: counts per revolution times gear ratio over lead [m]."""
    return per_revolution * ratio / lead


def ripple_frequency(per_revolution: int, speed: float) -> float:
    """Commutation frequency [Hz] at the motor speed [rad/s]."""
    return per_revolution * speed / (2.0 * pi)


def emf_ripple(per_revolution: int) -> float:
    """Ripple of the rectified back-EMF, peak to peak over peak, of a 2-pole machine with sinusoidal coil EMFs: 1 - cos(pi/m).

    Source: identity of the rectified polyphase sine.  Valid for two poles; trapezoidal fields give less.
    """
    return 1.0 - cos(pi / per_revolution)
