"""Forces on something caught: thrust at a current limit or at stall, peaks on a spring, travel until a force."""

from __future__ import annotations

from math import sqrt

__all__ = ["contact_thrust", "current_step_force", "drive_thrust", "peak_after_power_off", "peak_after_reaction", "travel_to_force"]


def drive_thrust(current: float, torque_constant: float, coulomb: float, torque_per_newton: float) -> float:
    """Thrust at the nut [N] of a motor that stands or creeps at ``current`` [A]: (K I - Tc)/c_F, never below zero.

    ``torque_per_newton`` c_F [N m/N] is the motor torque per N of nut force, raising.
    """
    return max(0.0, (torque_constant * current - coulomb) / torque_per_newton)


def contact_thrust(thrust: float, weight: float, guide_friction: float) -> float:
    """Force left for what is caught above the deck [N]: nut thrust less the weight on the leg and its guide friction."""
    return max(0.0, thrust - weight - guide_friction)


def current_step_force(step: float, torque_constant: float, torque_per_newton: float) -> float:
    """Contact force [N] that raises the running current by ``step`` [A], steady speed."""
    return step * torque_constant / torque_per_newton


def travel_to_force(force: float, stiffness: float) -> float:
    """Travel [m] from contact until a spring of ``stiffness`` [N/m] pushes back with ``force`` [N]."""
    return force / stiffness


def peak_after_reaction(threshold: float, stiffness: float, speed: float, reaction: float, coast: float) -> float:
    """Peak force [N] on a spring [N/m]: threshold [N] plus stiffness times the travel in the reaction time [s] and the coast [m]."""
    return threshold + stiffness * (speed * reaction + coast)


def peak_after_power_off(force: float, resistance: float, stiffness: float, efficiency: float, energy_mass: tuple[float, float]) -> float:
    """Peak force [N] on a spring [N/m] after power is cut at contact force ``force`` [N]: rotor energy goes into spring and friction.

    ``resistance`` [N] is the drive's own resistance as nut force, ``efficiency`` that of raising (gear and screw),
    ``energy_mass`` the reflected mass [kg] and the speed [m/s] at the cut.
    F = -F0 + sqrt((F_d + F0)^2 + eta k M v^2).  Source: energy balance of rotor, spring and friction.
    """
    mass, speed = energy_mass
    start = force + resistance
    return -resistance + sqrt(start * start + efficiency * stiffness * mass * speed * speed)
