"""Coast-down and braked stop of a motor that turns a load: closed forms, and the planning laws in running quantities.

The rotor obeys J dw/dt = -(T + b w) with the constant torque T (Coulomb drag plus load) and the viscous drag b.
"""

from __future__ import annotations

from math import floor, inf, log1p, pi

__all__ = [
    "brake_angle",
    "brake_time_constant",
    "coast_angle",
    "coast_counts",
    "coast_time",
    "planned_coast_angle",
    "planned_coast_time",
    "slowing_angle",
    "slowing_speed",
]

SMALL = 1e-4
"""Below this b w/T the logarithm is replaced by its series, which is then good to a relative 1e-12."""


def coast_time(inertia: float, speed: float, torque: float, viscous: float) -> float:
    """Time to standstill [s] from ``speed`` [rad/s]; infinite where only viscous drag acts.

    ``inertia`` [kg m2], ``torque`` [N m], ``viscous`` [N m s].  t = (J/b) ln(1 + b w0/T).
    Source: retardation test, solution of the equation above.
    """
    if torque <= 0.0:
        return inf
    share = viscous * speed / torque
    if share < SMALL:
        return inertia * speed / torque * (1.0 - share / 2.0 + share * share / 3.0)
    return inertia / viscous * log1p(share)


def coast_angle(inertia: float, speed: float, torque: float, viscous: float) -> float:
    """Angle turned until standstill [rad]: (J/b)(w0 - (T/b) ln(1 + b w0/T)).

    Where torque is zero it is J w0/b; where it is negative (the load drives) infinite.
    """
    if torque < 0.0 or (torque == 0.0 and viscous == 0.0):
        return inf
    if torque == 0.0:
        return inertia * speed / viscous
    share = viscous * speed / torque
    if share < SMALL:
        return inertia * speed * speed / torque * (0.5 - share / 3.0 + share * share / 4.0)
    return inertia / viscous * (speed - torque / viscous * log1p(share))


def coast_counts(angle: float, per_revolution: int) -> int:
    """Whole commutations in ``angle`` [rad]."""
    return floor(per_revolution * angle / (2.0 * pi))


def slowing_speed(speed: float, deceleration: float, elapsed: float) -> float:
    """Speed [rad/s] after ``elapsed`` [s] of constant ``deceleration`` [rad/s2]."""
    return speed - deceleration * elapsed


def slowing_angle(speed: float, deceleration: float, elapsed: float) -> float:
    """Angle [rad] turned in ``elapsed`` [s] of constant ``deceleration`` [rad/s2]."""
    return speed * elapsed - 0.5 * deceleration * elapsed * elapsed


def planned_coast_time(inertia: float, speed: float, running_torque: float, viscous: float) -> float:
    """Coast time [s] from what is seen while running: J w/T (1 + b w/(2 T)) with T = K times the running current [N m].

    Neglects higher powers of b w/T.  Valid for b w/T up to 0.35: at most 5 % below `coast_time`.
    """
    share = viscous * speed / running_torque
    return inertia * speed / running_torque * (1.0 + 0.5 * share)


def planned_coast_angle(inertia: float, speed: float, running_torque: float, viscous: float) -> float:
    """Coast angle [rad] from what is seen while running: J w^2/(2 T) (1 + b w/(3 T)).

    Neglects higher powers of b w/T.  Valid for b w/T up to 0.35: at most 2.3 % below `coast_angle`.
    """
    share = viscous * speed / running_torque
    return inertia * speed * speed / (2.0 * running_torque) * (1.0 + share / 3.0)


def brake_time_constant(inertia: float, resistance: float, torque_constant: float) -> float:
    """Time constant [s] of a shorted motor: J R / K^2, friction and inductance neglected."""
    return inertia * resistance / (torque_constant * torque_constant)


def brake_angle(inertia: float, speed: float, resistance: float, torque_constant: float) -> float:
    """Angle [rad] of a braked stop without friction: w0 J R / K^2.

    Neglects friction, brush drop and inductance: the integrated stop (`plant.closed_form.braked_stop`) is 26 % shorter
    (loaded, raising) to 15 % longer (empty).
    """
    return speed * brake_time_constant(inertia, resistance, torque_constant)
