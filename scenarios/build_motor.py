"""Motor constants of a leg in SI, from either form of the lift file."""

from __future__ import annotations

from math import pi

from scenarios.catalogue import CatalogueFigures, DerivedConstants, agreement, derive
from scenarios.files.motor import Motor

__all__ = ["RPM", "motor_constants"]

RPM = pi / 30.0
"""rad/s per rpm."""


def _milli(value: float | None) -> float | None:
    return None if value is None else value * 1e-3


def motor_constants(motor: Motor) -> DerivedConstants:
    """Resistance, torque constant and drag of a motor [SI].

    Parameters
    ----------
    motor
        Table of the lift file.  With a catalogue table, drags given beside it replace the derived ones.

    Returns
    -------
    DerivedConstants
        ``notes`` is empty for a motor that is given by its constants.

    Raises
    ------
    ContradictionError
        If two figures contradict each other.
    """
    printed = motor.catalogue
    if printed is None:
        assert motor.resistance_ohm is not None
        assert motor.torque_constant_mn_m_per_a is not None
        assert motor.coulomb_drag_mn_m is not None
        assert motor.viscous_drag_mn_m_s is not None
        if motor.back_emf_constant_mv_s_per_rad is not None:
            names = ("torque_constant_mn_m_per_a", "back_emf_constant_mv_s_per_rad")
            agreement(motor.torque_constant_mn_m_per_a * 1e-3, motor.back_emf_constant_mv_s_per_rad * 1e-3, names)
        return DerivedConstants(
            motor.resistance_ohm,
            motor.torque_constant_mn_m_per_a * 1e-3,
            motor.coulomb_drag_mn_m * 1e-3,
            motor.viscous_drag_mn_m_s * 1e-3,
            (),
        )
    derived = derive(
        CatalogueFigures(
            voltage=printed.rated_voltage_v,
            no_load_speed=printed.no_load_speed_rpm * RPM,
            no_load_current=printed.no_load_current_a,
            brush_drop=motor.brush_drop_v,
            stall_current=printed.stall_current_a,
            stall_torque=_milli(printed.stall_torque_mn_m),
            torque_constant=_milli(printed.torque_constant_mn_m_per_a),
            back_emf_constant=_milli(printed.back_emf_constant_mv_s_per_rad or motor.back_emf_constant_mv_s_per_rad),
        )
    )
    coulomb, viscous = _milli(motor.coulomb_drag_mn_m), _milli(motor.viscous_drag_mn_m_s)
    return DerivedConstants(
        derived.resistance,
        derived.torque_constant,
        derived.coulomb if coulomb is None else coulomb,
        derived.viscous if viscous is None else viscous,
        derived.notes,
    )
