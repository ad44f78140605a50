"""What the motor feels of gear, spindle and load: torque both ways, travel per radian, inertia at the shaft, mass at the nut."""

from __future__ import annotations

from math import pi

__all__ = ["mass_at_nut", "motor_inertia", "motor_torque", "travel_per_radian"]


def motor_torque(spindle_torque: float, ratio: float, efficiency: float, back_efficiency: float) -> float:
    """Torque at the motor [N m] for ``spindle_torque`` [N m] resisting (positive) or driving (negative)."""
    if spindle_torque >= 0.0:
        return spindle_torque / (ratio * efficiency)
    return spindle_torque * back_efficiency / ratio


def travel_per_radian(lead: float, ratio: float) -> float:
    """Lift per motor radian [m/rad]."""
    return lead / (2.0 * pi * ratio)


def motor_inertia(rotor: float, spindle: float, ratio: float, mass: float, travel: float) -> float:
    """Inertia of rotor, spindle [kg m2] and lifted mass [kg] at the motor shaft [kg m2]; ``travel`` is lift per radian [m/rad]."""
    return rotor + spindle / (ratio * ratio) + mass * travel * travel


def mass_at_nut(inertia: float, travel: float) -> float:
    """Mass [kg] that ``inertia`` [kg m2] at the motor amounts to at the nut; ``travel`` is lift per radian [m/rad]."""
    return inertia / (travel * travel)
