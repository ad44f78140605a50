"""From nut to rotor: the force on one nut, the torque that resists the rotor, break-away, and the losses."""

from __future__ import annotations

from typing import Any

from plant.deck import GRAVITY
from plant.kernel import inlined, kernel
from plant.spindle import friction_at, gear_torque, static_torque, thread_coefficients

__all__ = [
    "book_losses",
    "break_away",
    "drag_torque",
    "engaged",
    "guide_force",
    "nut_force",
    "resisting_torque",
    "spindle_friction",
    "stop_force",
]


@inlined
def stop_force(leg: Any, travel: float) -> float:
    """Force of the end stops on the nut [N], up positive, at ``travel`` [m]."""
    if travel < leg.stop_low:
        return leg.stop_stiffness * (leg.stop_low - travel)  # type: ignore[no-any-return]
    if travel > leg.stop_high:
        return leg.stop_stiffness * (leg.stop_high - travel)  # type: ignore[no-any-return]
    return 0.0


@inlined
def guide_force(leg: Any, bending: float, travel: float) -> float:
    """Friction of the leg's guide [N]: a constant part and 2 mu M / s from the ``bending`` moment [N m] of racking.

    ``s`` is the overlap of the guide at ``travel`` [m]. Source: two-point contact of a drawer-type guide.
    """
    friction: float = leg.guide_friction
    if bending > 0.0 and leg.guide_coefficient > 0.0:
        friction += 2.0 * leg.guide_coefficient * bending / (leg.guide_overlap - leg.guide_overlap_loss * travel)
    return friction


@inlined
def nut_force(leg: Any, bending: float, deck_force: float, travel: float, direction: int) -> float:
    """Axial force on the nut [N], down positive, when it moves in ``direction`` (1 up, -1 down)."""
    force: float = deck_force + leg.moving_mass * GRAVITY + direction * guide_force(leg, bending, travel) - stop_force(leg, travel)
    if force < 0.0 and leg.spindle.captive == 0:
        return 0.0
    return force


@inlined
def engaged(leg: Any, direction: int, force: float) -> int:
    """1 where the rotor has taken up the play in ``direction``; gravity closes the nut's play unless ``force`` [N] is negative."""
    if direction >= 0:
        return 1 if leg.play >= 0.0 else 0
    width = leg.spindle.gear_play
    if force < 0.0:
        width += leg.spindle.nut_play
    return 1 if leg.play <= -width else 0


@inlined
def drag_torque(motor: Any, speed: float) -> float:
    """Drag of motor, gear and seals at the motor [N m] at the magnitude ``speed`` [rad/s]: Coulomb, Stribeck, viscous."""
    coulomb: float = motor.coulomb
    if motor.stribeck_speed > 0.0:
        coulomb *= friction_at(1.0, motor.static_ratio, speed / motor.stribeck_speed)
    return coulomb + motor.viscous * speed  # type: ignore[no-any-return]


@kernel
def break_away(leg: Any, bending: float, travel: float, direction: int) -> float:
    """Motor torque [N m] that must be passed before a resting rotor turns in ``direction``."""
    force = nut_force(leg, bending, leg.scratch.deck_force, travel, direction)
    torque: float = leg.motor.coulomb * leg.motor.static_ratio
    if engaged(leg, direction, force) == 1:
        torque += static_torque(leg, force, direction)
    return torque


@inlined
def spindle_friction(leg: Any, speed: float) -> tuple[float, float, float, float]:
    """``thread_coefficients`` of the leg at the magnitude ``speed`` [rad/s] of its motor."""
    spindle = leg.spindle
    if spindle.stribeck_speed > 0.0:
        slide = speed * spindle.travel_per_radian / spindle.lead_sine
        if slide < 6.0 * spindle.stribeck_speed:
            friction = friction_at(spindle.friction, spindle.static_friction, slide / spindle.stribeck_speed)
            return thread_coefficients(spindle, friction)
    return leg.thread_resist, leg.thread_assist, leg.loss_resist, leg.loss_assist


@inlined
def resisting_torque(leg: Any, force: float, direction: int, speed: float) -> float:
    """Torque of the nut ``force`` [N] at the motor against motion in ``direction`` [N m], ``speed`` its magnitude [rad/s]."""
    spindle = leg.spindle
    resist, assist, _, _ = spindle_friction(leg, speed)
    size = force if force >= 0.0 else -force
    per_newton = assist if force * direction < 0.0 else resist
    return gear_torque(spindle, size * (per_newton + spindle.collar_friction * spindle.collar_radius))


@inlined
def book_losses(leg: Any, bending: float, turned: float, climbed: float, speed: float) -> None:
    """Book what friction turned into heat while the motor turned by ``turned`` [rad] and the nut climbed by ``climbed`` [m].

    Each loss is its own law: friction times sliding distance. ``speed`` is the mean speed [rad/s].
    """
    energy = leg.energy
    scratch = leg.scratch
    way = turned if turned >= 0.0 else -turned
    pace = speed if speed >= 0.0 else -speed
    energy.drag += drag_torque(leg.motor, pace) * way
    if scratch.engaged == 0:
        return
    spindle = leg.spindle
    force = scratch.nut_force
    size = force if force >= 0.0 else -force
    turn = way / spindle.ratio
    resist, assist, loss_resist, loss_assist = spindle_friction(leg, pace)
    helped = force * scratch.direction < 0.0
    collar = spindle.collar_friction * spindle.collar_radius
    energy.thread += size * (loss_assist if helped else loss_resist) * turn
    energy.collar += size * collar * turn
    torque = size * ((assist if helped else resist) + collar)
    if torque >= 0.0:
        energy.gear += torque * turn * (1.0 / spindle.efficiency - 1.0)
    else:
        energy.gear -= torque * turn * (1.0 - spindle.back_efficiency)
    path = climbed if climbed >= 0.0 else -climbed
    energy.guide += guide_force(leg, bending, leg.travel) * path
    energy.work += (leg.share + leg.moving_mass * GRAVITY) * climbed
