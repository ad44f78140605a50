"""Power screw: torque to raise and to lower, efficiency and self-locking of square and trapezoidal threads.

The half flank angle is taken in the axial plane.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import atan, cos, pi, tan

__all__ = [
    "Screw",
    "arm_force",
    "best_lead_angle",
    "collar_diameter_worn",
    "collar_torque",
    "drive_power",
    "efficiency",
    "friction_angle",
    "guided_torque_down",
    "guided_torque_up",
    "is_self_locking",
    "lead_angle",
    "least_locking_friction",
    "locking_limit_efficiency",
    "locking_margin",
    "peak_thread_efficiency",
    "thread_efficiency",
    "thread_torque_down",
    "thread_torque_up",
    "torque_down",
    "torque_from_efficiency",
    "torque_up",
]


@dataclass(frozen=True)
class Screw:
    """Geometry and friction of a screw: lengths [m], half flank angle [rad] (0: square), frictions [1]."""

    mean_diameter: float
    lead: float
    friction: float
    half_angle: float = 0.0
    collar_friction: float = 0.0
    collar_diameter: float = 0.0


def lead_angle(screw: Screw) -> float:
    """Lead angle at the mean diameter [rad]."""
    return atan(screw.lead / (pi * screw.mean_diameter))


def friction_angle(friction: float, half_angle: float = 0.0) -> float:
    """Angle of friction of a thread with the half flank angle ``half_angle`` [rad] in the axial plane: atan(f / cos a) [rad]."""
    return atan(friction / cos(half_angle))


def thread_torque_up(force: float, screw: Screw) -> float:
    """Torque on the thread alone that raises ``force`` [N], in N m.

    Raises
    ------
    ValueError
        If the screw jams: lead angle plus friction angle reach 90 degrees.

    Source: power-screw equations with the half flank angle (machine design textbooks, raising torque with sec a).
    """
    slope = screw.friction / cos(screw.half_angle)
    room = pi * screw.mean_diameter - slope * screw.lead
    if room <= 0.0:
        raise ValueError(f"the screw jams: friction {screw.friction} with lead {screw.lead} m on {screw.mean_diameter} m")
    return 0.5 * force * screw.mean_diameter * (screw.lead + pi * slope * screw.mean_diameter) / room


def thread_torque_down(force: float, screw: Screw) -> float:
    """Torque on the thread alone that lowers ``force`` [N], in N m; negative where the load drives the screw.

    Source: as `thread_torque_up`, lowering.
    """
    slope = screw.friction / cos(screw.half_angle)
    return (
        0.5
        * force
        * screw.mean_diameter
        * (pi * slope * screw.mean_diameter - screw.lead)
        / (pi * screw.mean_diameter + slope * screw.lead)
    )


def collar_torque(force: float, screw: Screw) -> float:
    """Torque of the thrust collar under ``force`` [N], in N m: f_c F d_c / 2."""
    return 0.5 * screw.collar_friction * screw.collar_diameter * force


def collar_diameter_worn(outer: float, inner: float) -> float:
    """Mean friction diameter of a worn-in collar [m] (uniform wear)."""
    return 0.5 * (outer + inner)


def torque_up(force: float, screw: Screw) -> float:
    """Torque that raises ``force`` [N], thread and collar, in N m."""
    return thread_torque_up(force, screw) + collar_torque(force, screw)


def torque_down(force: float, screw: Screw) -> float:
    """Torque that lowers ``force`` [N], thread and collar, in N m."""
    return thread_torque_down(force, screw) + collar_torque(force, screw)


def guided_torque_up(weight: float, guide_friction: float, screw: Screw) -> float:
    """Torque that raises a guided weight [N m]: the nut carries weight plus guide friction [N]."""
    return torque_up(weight + guide_friction, screw)


def guided_torque_down(weight: float, guide_friction: float, screw: Screw) -> float:
    """Torque that lowers a guided weight [N m]: the guide friction [N] carries its part."""
    return torque_down(weight - guide_friction, screw)


def efficiency(screw: Screw) -> float:
    """Efficiency of raising, thread and collar: F l / (2 pi T)."""
    return screw.lead / (2.0 * pi * torque_up(1.0, screw))


def thread_efficiency(screw: Screw) -> float:
    """Efficiency of raising with the thread alone: tan(lambda) / tan(lambda + phi)."""
    return screw.lead / (2.0 * pi * thread_torque_up(1.0, screw))


def torque_from_efficiency(force: float, lead: float, efficiency: float) -> float:
    """Torque that raises ``force`` [N] with a screw of known efficiency: F l / (2 pi e), in N m."""
    return force * lead / (2.0 * pi * efficiency)


def is_self_locking(screw: Screw) -> bool:
    """Tell whether the load cannot turn the screw, collar included where there is one (lowering torque above zero)."""
    return torque_down(1.0, screw) > 0.0


def locking_margin(screw: Screw) -> float:
    """Angle [rad] by which the screw holds its load, collar included; negative where the load drives it.

    atan(T_down / (F d/2)); for the thread alone that is friction angle less lead angle.
    """
    return atan(2.0 * torque_down(1.0, screw) / screw.mean_diameter)


def least_locking_friction(screw: Screw) -> float:
    """Thread friction above which the thread alone holds its load: l cos(a) / (pi d)."""
    return screw.lead / (pi * screw.mean_diameter) * cos(screw.half_angle)


def locking_limit_efficiency(friction: float) -> float:
    """Raising efficiency of a square thread that is just self-locking: (1 - tan^2 phi) / 2, always below one half."""
    return 0.5 * (1.0 - friction * friction)


def best_lead_angle(friction: float, half_angle: float = 0.0) -> float:
    """Lead angle of greatest thread efficiency [rad]: 45 degrees less half the friction angle."""
    return 0.25 * pi - 0.5 * friction_angle(friction, half_angle)


def peak_thread_efficiency(friction: float, half_angle: float = 0.0) -> float:
    """Thread efficiency at the best lead angle."""
    angle = best_lead_angle(friction, half_angle)
    return tan(angle) / tan(angle + friction_angle(friction, half_angle))


def arm_force(torque: float, radius: float, arms: int = 1) -> float:
    """Force on each of ``arms`` hand arms of ``radius`` [m] that makes ``torque`` [N m], in N."""
    return torque / (radius * arms)


def drive_power(force: float, screw: Screw, speed: float) -> float:
    """Power into the screw [W] that raises ``force`` [N] at the screw speed [rad/s]."""
    return torque_up(force, screw) * speed
