"""Gear and spindle: torque at the motor for a nut force, in both directions, with thread, collar and gear losses."""

from __future__ import annotations

from typing import Any

from plant.kernel import inlined, kernel
from plant.portable import exponential

__all__ = ["STRIBECK_END", "flank_at", "friction_at", "refresh_spindle", "static_torque"]

STRIBECK_END = 5.0
"""Stribeck speeds from which friction is taken as running: exp(-36) of the difference is left, less than rounding."""


@kernel
def friction_at(running: float, static: float, ratio: float) -> float:
    """Friction at ``ratio`` = speed over Stribeck speed, falling from ``static`` to ``running`` as exp(-ratio^2) [-].

    Source: the Stribeck curve in the exponential form of Armstrong-Helouvry, Dupont and Canudas de Wit, Automatica 30
    (1994), from memory.
    """
    square = ratio * ratio
    if square > STRIBECK_END * STRIBECK_END:
        return running
    return running + (static - running) * exponential(-square)


@kernel
def flank_at(spindle: Any, friction: float, helped: bool) -> tuple[float, float, float]:
    """What 1 N of nut force does at the motor, where it resists the motion or helps it.

    Parameters
    ----------
    spindle : SPINDLE record
    friction : float
        Coefficient of the thread [-].
    helped : bool
        Whether the load helps.

    Returns
    -------
    torque : float
        Against the motion, with collar and gear [N m]; negative: it overhauls.
    thread_heat, gear_heat : float
        Friction power of thread and gear per rad/s of the motor [W].

    Notes
    -----
    Each power is a law of its own and not a remainder: that of the thread is friction times normal force times sliding
    speed.

    Source: power screw relations of the machine design textbooks (for example Shigley, section "The mechanics of power
    screws"), half flank angle in the axial plane.
    """
    mu = friction * spindle.inverse_flank_cosine
    t = -spindle.lead_tangent if helped else spindle.lead_tangent
    lever = spindle.mean_radius / (1.0 - mu * t)
    torque = lever * (mu + t) + spindle.collar_friction * spindle.collar_radius
    thread_heat = lever * mu * (1.0 + t * t) * spindle.inverse_ratio
    if torque >= 0.0:
        return torque * spindle.drive_torque, thread_heat, torque * spindle.drive_heat
    return torque * spindle.back_torque, thread_heat, -torque * spindle.back_heat


@kernel
def _fill(flank: Any, spindle: Any, helped: bool) -> None:
    torque, thread_heat, gear_heat = flank_at(spindle, spindle.friction, helped)
    flank.torque = torque
    flank.thread_heat = thread_heat
    flank.gear_heat = gear_heat
    flank.collar_heat = spindle.collar_friction * spindle.collar_radius / spindle.ratio


@kernel
def refresh_spindle(leg: Any) -> None:
    """Derive what depends on the friction of the leg's thread, collar and gear; call after any change of it."""
    spindle = leg.spindle
    spindle.inverse_flank_cosine = 1.0 / spindle.flank_cosine
    spindle.inverse_ratio = 1.0 / spindle.ratio
    spindle.drive_torque = 1.0 / (spindle.ratio * spindle.efficiency)
    spindle.drive_heat = (1.0 / spindle.efficiency - 1.0) / spindle.ratio
    spindle.back_torque = spindle.back_efficiency / spindle.ratio
    spindle.back_heat = (1.0 - spindle.back_efficiency) / spindle.ratio
    _fill(leg.resist, spindle, False)
    _fill(leg.assist, spindle, True)
    leg.break_resist = flank_at(spindle, spindle.static_friction, False)[0]
    leg.break_assist = flank_at(spindle, spindle.static_friction, True)[0]
    slide = spindle.travel_per_radian / spindle.lead_sine
    spindle.stribeck_end = STRIBECK_END * spindle.stribeck_speed / slide


@inlined
def static_torque(leg: Any, force: float, direction: float) -> float:
    """Motor torque [N m] against break-away in ``direction`` under the nut ``force`` [N]; negative: it moves by itself."""
    size = force if force >= 0.0 else -force
    return size * (leg.break_assist if force * direction < 0.0 else leg.break_resist)  # type: ignore[no-any-return]
