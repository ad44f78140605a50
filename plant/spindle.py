"""Gear and spindle: torque at the motor for a nut force, in both directions, with thread, collar and gear losses."""

from __future__ import annotations

from typing import Any

from plant.kernel import inlined, kernel
from plant.portable import exponential

__all__ = [
    "STRIBECK_END",
    "flank_at",
    "friction_at",
    "gear_torque",
    "refresh_spindle",
    "static_torque",
    "thread_coefficients",
]

STRIBECK_END = 6.0
"""Stribeck speeds from which friction is taken as running: exp(-36) of the difference is left, less than rounding."""


@kernel
def thread_coefficients(spindle: Any, friction: float) -> tuple[float, float, float, float]:
    """Spindle torque and thread friction power per N of nut force.

    Parameters
    ----------
    spindle : SPINDLE record
    friction : float
        Coefficient of the thread [-].

    Returns
    -------
    resist, assist : float
        Spindle torque [N m per N] when the load resists and when it helps the motion; a negative ``assist`` overhauls.
        The collar is not in it.
    loss_resist, loss_assist : float
        Friction power of the thread [W per N and rad/s of the spindle].

    Notes
    -----
    The power is friction times normal force times sliding speed, so it is a law of its own and not a remainder.

    Source: power screw relations of the machine design textbooks (for example Shigley, section "The mechanics of power
    screws"), half flank angle in the axial plane.
    """
    mu = friction / spindle.flank_cosine
    t = spindle.lead_tangent
    r = spindle.mean_radius
    up = 1.0 - mu * t
    down = 1.0 + mu * t
    resist = r * (mu + t) / up
    assist = r * (mu - t) / down
    slide = r * mu * (1.0 + t * t)
    return resist, assist, slide / up, slide / down


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


@inlined
def gear_torque(spindle: Any, torque: float) -> float:
    """Motor torque [N m] for a spindle ``torque`` [N m] that resists (positive) or drives (negative) the motion."""
    if torque >= 0.0:
        value: float = torque / (spindle.ratio * spindle.efficiency)
        return value
    return torque * spindle.back_efficiency / spindle.ratio  # type: ignore[no-any-return]


@kernel
def flank_at(spindle: Any, friction: float, helped: bool) -> tuple[float, float, float]:
    """What 1 N of nut force does at the motor, at a ``friction`` of the thread [-], where it resists or helps the motion.

    Returns
    -------
    torque : float
        Against the motion, with collar and gear [N m].
    thread_heat, gear_heat : float
        Friction power of thread and gear per rad/s of the motor [W].
    """
    resist, assist, loss_resist, loss_assist = thread_coefficients(spindle, friction)
    torque = (assist if helped else resist) + spindle.collar_friction * spindle.collar_radius
    if torque >= 0.0:
        gear_heat = torque / spindle.ratio * (1.0 / spindle.efficiency - 1.0)
    else:
        gear_heat = -torque / spindle.ratio * (1.0 - spindle.back_efficiency)
    return gear_torque(spindle, torque), (loss_assist if helped else loss_resist) / spindle.ratio, gear_heat


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
