"""Resistance of copper windings against temperature.

Source: IEC 60028 (annealed copper, 0.00393 per K at 20 C) in the form (234.5 + t2)/(234.5 + t1).
"""

from __future__ import annotations

__all__ = ["ZERO_POINT", "coefficient_at", "resistance_at", "resistance_ratio"]

ZERO_POINT = 234.5
"""Degrees below 0 C at which the straight line of copper resistance meets zero [K]."""


def resistance_ratio(from_celsius: float, to_celsius: float) -> float:
    """Resistance at ``to_celsius`` over that at ``from_celsius``."""
    return (ZERO_POINT + to_celsius) / (ZERO_POINT + from_celsius)


def resistance_at(resistance: float, from_celsius: float, to_celsius: float) -> float:
    """Resistance [ohm] at ``to_celsius`` of a winding that has ``resistance`` [ohm] at ``from_celsius``."""
    return resistance * resistance_ratio(from_celsius, to_celsius)


def coefficient_at(celsius: float) -> float:
    """Temperature coefficient of copper referred to ``celsius`` [1/K]."""
    return 1.0 / (ZERO_POINT + celsius)
