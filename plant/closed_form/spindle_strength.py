"""Strength of the spindle as a column, and the pressure on the nut's flanks."""

from __future__ import annotations

from math import pi, sqrt

__all__ = ["STEEL_MODULUS", "critical_load", "nut_pressure", "transition_slenderness"]

STEEL_MODULUS = 206e9
"""Young's modulus of steel [Pa]."""


def transition_slenderness(fixity: float, yield_stress: float, modulus: float = STEEL_MODULUS) -> float:
    """Slenderness l/k at which Euler's and Johnson's curves touch: sqrt(2 pi^2 C E / Sy)."""
    return sqrt(2.0 * pi * pi * fixity * modulus / yield_stress)


def critical_load(length: float, core_diameter: float, fixity: float, yield_stress: float, modulus: float = STEEL_MODULUS) -> float:
    """Load [N] at which a round spindle buckles: Euler where slender, Johnson's parabola where not.

    Parameters
    ----------
    length : free length [m]
    core_diameter : of the thread [m]
    fixity : end-condition constant C: 1 both ends hinged, 1/4 one end free, about 1.2 to 2 held, 4 both built in
    yield_stress, modulus : of the spindle [Pa]

    Source: columns with central loading in machine design textbooks (Euler and J. B. Johnson formulas), from memory.
    """
    radius = core_diameter / 4.0  # of gyration of a round bar
    area = 0.25 * pi * core_diameter * core_diameter
    slenderness = length / radius
    if slenderness > transition_slenderness(fixity, yield_stress, modulus):
        return area * fixity * pi * pi * modulus / (slenderness * slenderness)
    drop = yield_stress * slenderness / (2.0 * pi)
    return area * (yield_stress - drop * drop / (fixity * modulus))


def nut_pressure(force: float, pitch_diameter: float, nut_length: float) -> float:
    """Mean pressure on the flanks of a trapezoidal nut [Pa]: F / (pi d2 H1 z), flank height H1 = P/2, z = length/P turns.

    The pitch P cancels, so the number of starts does not enter either; lengths [m].
    Source: common machine-design practice for motion screws; flank height of ISO 2904.
    """
    return force / (pi * pitch_diameter * 0.5 * nut_length)
