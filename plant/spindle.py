"""Gear and spindle: torque at the motor for a nut force, in both directions, with thread, collar and gear losses."""

from __future__ import annotations

from typing import Any

from plant.kernel import inlined, kernel
from plant.portable import exponential

__all__ = ["friction_at", "gear_torque", "refresh_spindle", "static_torque", "thread_coefficients"]


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
    if square > 36.0:
        return running
    return running + (static - running) * exponential(-square)


@kernel
def refresh_spindle(leg: Any) -> None:
    """Derive what depends on the running friction of the leg's thread; call after any change of it."""
    resist, assist, loss_resist, loss_assist = thread_coefficients(leg.spindle, leg.spindle.friction)
    leg.thread_resist = resist
    leg.thread_assist = assist
    leg.loss_resist = loss_resist
    leg.loss_assist = loss_assist


@inlined
def gear_torque(spindle: Any, torque: float) -> float:
    """Motor torque [N m] for a spindle ``torque`` [N m] that resists (positive) or drives (negative) the motion."""
    if torque >= 0.0:
        value: float = torque / (spindle.ratio * spindle.efficiency)
        return value
    return torque * spindle.back_efficiency / spindle.ratio  # type: ignore[no-any-return]


@kernel
def static_torque(leg: Any, force: float, direction: int) -> float:
    """Motor torque [N m] against break-away in ``direction`` under the nut ``force`` [N]; negative: it moves by itself."""
    spindle = leg.spindle
    friction = spindle.static_friction
    resist, assist, _, _ = thread_coefficients(spindle, friction)
    size = force if force >= 0.0 else -force
    per_newton = resist if force * direction >= 0.0 else assist
    return gear_torque(spindle, size * (per_newton + spindle.collar_friction * spindle.collar_radius))
