"""Winding and case temperature, and what they do to resistance and torque constant."""

from __future__ import annotations

from typing import Any

from plant.kernel import kernel

__all__ = ["refresh_motor", "warm"]


@kernel
def refresh_motor(motor: Any) -> None:
    """Resistance at the winding temperature and torque constant at the case temperature.

    Source: linear laws about 20 C, copper 0.00393 /K (IEC 60028), ferrite about -0.002 /K (common practice, no source).
    """
    motor.hot_resistance = motor.resistance * (1.0 + motor.copper_coefficient * (motor.winding - 20.0))
    motor.hot_constant = motor.torque_constant * (1.0 + motor.magnet_coefficient * (motor.case - 20.0))


@kernel
def warm(motor: Any, heat: float, span: float) -> None:
    """Take up ``heat`` [J] of the winding over ``span`` [s]: two nodes, winding and case.

    Source: two-node lumped model; ``span`` is a tick, thousands of times shorter than either time constant.
    """
    if motor.winding_capacity <= 0.0:
        return
    across = (motor.winding - motor.case) / motor.winding_to_case
    away = (motor.case - motor.ambient) / motor.case_to_air
    motor.winding += (heat - span * across) / motor.winding_capacity
    motor.case += span * (across - away) / motor.case_capacity
    refresh_motor(motor)
