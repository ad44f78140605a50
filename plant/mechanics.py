"""From nut to rotor: the force on one nut, the torque that resists the rotor, break-away, and the losses."""

from __future__ import annotations

from typing import Any

from plant.deck import GRAVITY
from plant.kernel import inlined, kernel
from plant.spindle import STRIBECK_END, flank_at, friction_at, static_torque

__all__ = [
    "book_losses",
    "break_away",
    "drag_torque",
    "engaged",
    "guide_force",
    "guide_share",
    "nut_force",
    "resisting_torque",
    "slow_flank",
    "stop_force",
]


@kernel
def _compress(leg: Any, depth: float, debris: float) -> float:
    """Force [N] of an end stop pressed in by ``depth`` [m], with ``debris`` [m] on it: first that gives, then the stop as well."""
    if debris == 0.0:
        return leg.stop_stiffness * depth  # type: ignore[no-any-return]
    force: float = leg.debris_stiffness * depth
    if depth > debris:
        force += leg.stop_stiffness * (depth - debris)
    return force


@inlined
def stop_force(leg: Any, travel: float) -> float:
    """Force of the end stops on the nut [N], up positive, at ``travel`` [m]."""
    if travel < leg.stop_low:
        return _compress(leg, leg.stop_low - travel, leg.debris_low)
    if travel > leg.stop_high:
        return -_compress(leg, travel - leg.stop_high, leg.debris_high)
    return 0.0


@inlined
def guide_share(leg: Any) -> float:
    """Friction of the guide per bending moment [1/m], 2 mu / s, with the overlap s at the present travel.

    Taken once a piece: within it the overlap changes by a few parts in a million.
    Source: two-point contact of a drawer-type guide.
    """
    if leg.guide_coefficient == 0.0:
        return 0.0
    return 2.0 * leg.guide_coefficient / (leg.guide_overlap - leg.guide_overlap_loss * leg.travel)  # type: ignore[no-any-return]


@inlined
def guide_force(leg: Any, bending: float, share: float) -> float:
    """Friction of the leg's guide [N]: a constant part and ``share`` of the ``bending`` moment [N m] that racking puts on it."""
    return leg.guide_friction + bending * share  # type: ignore[no-any-return]


@inlined
def nut_force(leg: Any, guide: float, deck_force: float, travel: float, direction: float) -> float:
    """Axial force on the nut [N], down positive, when it moves in ``direction`` (1 up, -1 down) against ``guide`` [N].

    The leg's own moving part is held on the nut both ways, so it can be driven down onto its end stop; only the deck may
    leave a push-only nut.
    """
    return deck_force + leg.moving_mass * GRAVITY + direction * guide - stop_force(leg, travel)  # type: ignore[no-any-return]


@inlined
def engaged(leg: Any, direction: float, force: float) -> int:
    """1 where the rotor has taken up the play in ``direction``.

    Gravity closes the nut's play unless ``force`` [N] is negative. A load that overhauls the thread, running or under
    vibration from rest, drives the rotor back through the flank that raises it, so it has no play to cross.
    """
    if direction >= 0.0:
        return 1 if leg.play >= 0.0 else 0
    if force > 0.0 and (leg.assist.torque < 0.0 or leg.break_assist < 0.0):
        return 1
    width = leg.spindle.gear_play
    if force < 0.0:
        width += leg.spindle.nut_play
    return 1 if leg.play <= -width else 0


@inlined
def drag_torque(motor: Any, speed: float) -> float:
    """Drag of motor, gear and seals at the motor [N m] at the magnitude ``speed`` [rad/s]: Coulomb, Stribeck, viscous."""
    coulomb: float = motor.coulomb
    if abs(speed) < motor.stribeck_end:
        coulomb *= friction_at(1.0, motor.static_ratio, speed / motor.stribeck_speed)
    return coulomb + motor.viscous * speed  # type: ignore[no-any-return]


@inlined
def break_away(leg: Any, guide: float, direction: float) -> float:
    """Motor torque [N m] that must be passed before a resting rotor turns in ``direction`` against ``guide`` [N]."""
    force = nut_force(leg, guide, leg.scratch.deck_force, leg.travel, direction)
    torque: float = leg.motor.coulomb * leg.motor.static_ratio
    if engaged(leg, direction, force) == 1:
        torque += static_torque(leg, force, direction)
    return torque


@kernel
def slow_flank(spindle: Any, speed: float, helped: bool) -> tuple[float, float, float]:
    """``flank_at`` the thread's friction at the magnitude ``speed`` [rad/s] of the motor, below ``stribeck_end``."""
    ratio = STRIBECK_END * speed / spindle.stribeck_end
    return flank_at(spindle, friction_at(spindle.friction, spindle.static_friction, ratio), helped)


@inlined
def resisting_torque(leg: Any, force: float, direction: float, speed: float) -> float:
    """Torque of the nut ``force`` [N] at the motor against motion in ``direction`` [N m], ``speed`` its magnitude [rad/s]."""
    push = force * direction
    if abs(speed) < leg.spindle.stribeck_end:
        torque, _, _ = slow_flank(leg.spindle, speed, push < 0.0)
        return abs(force) * torque
    if push < 0.0:
        return -push * leg.assist.torque  # type: ignore[no-any-return]
    return push * leg.resist.torque  # type: ignore[no-any-return]


@inlined
def book_losses(leg: Any, span: float, mean: float) -> None:
    """Book what friction turned into heat over ``span`` [s] at the ``mean`` speed [rad/s] of the motor.

    Each loss is its own law, friction times sliding distance; forces are the mean of the two ends of the piece, as the
    motion itself takes them.
    """
    energy = leg.energy
    scratch = leg.scratch
    turned = span * mean
    pace = abs(mean)
    way = span * pace
    energy.drag += 0.5 * (scratch.drag + scratch.end_drag) * way
    if scratch.engaged == 0:
        return
    force = 0.5 * (scratch.nut_force + scratch.end_nut_force)
    helped = force * scratch.direction < 0.0
    pressed = abs(force) * way
    if helped:
        thread_heat, gear_heat = leg.assist.thread_heat, leg.assist.gear_heat
    else:
        thread_heat, gear_heat = leg.resist.thread_heat, leg.resist.gear_heat
    if pace < leg.spindle.stribeck_end:
        _, thread_heat, gear_heat = slow_flank(leg.spindle, pace, helped)
    energy.thread += pressed * thread_heat
    energy.collar += pressed * leg.resist.collar_heat
    energy.gear += pressed * gear_heat
    rx = leg.spindle.travel_per_radian
    energy.guide += 0.5 * (scratch.guide + scratch.end_guide) * rx * way
    energy.work += (leg.share + leg.moving_mass * GRAVITY) * rx * turned
