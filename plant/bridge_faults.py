"""What a faulty bridge or a faulty wire makes of the command that it is given."""

from __future__ import annotations

from typing import Any

from plant.bridge import BRAKE, COAST, DRIVE
from plant.kernel import kernel

__all__ = ["STAYS_OFF", "STAYS_ON", "STAYS_SHORTED", "break_wire", "obeyed", "refresh_bridge"]

STAYS_OFF, STAYS_ON, STAYS_SHORTED = 1, 2, 3
_NO_LIMIT = 1e9


@kernel
def refresh_bridge(bridge: Any) -> None:
    """Derive the flag after any change of a fault."""
    trouble = bridge.trouble
    any_of = trouble.reversed == 1 or trouble.broken == 1 or trouble.stuck != 0 or trouble.unlimited == 1
    trouble.active = 1 if any_of else 0


@kernel
def obeyed(bridge: Any, mode: int, duty: float, limit: float) -> tuple[int, float, float]:
    """Mode, duty and current limit [A] that really come into force when these are commanded.

    A shorted switch knows no limit. Exchanged wires turn the sign of the duty. On a broken wire nothing is driven.
    """
    trouble = bridge.trouble
    limit = limit if limit < bridge.current_limit else bridge.current_limit
    if trouble.stuck == STAYS_OFF:
        mode, duty = COAST, 0.0
    elif trouble.stuck == STAYS_ON:
        mode, duty, limit = DRIVE, trouble.duty, _NO_LIMIT
    elif trouble.stuck == STAYS_SHORTED and mode == COAST:
        mode, duty = BRAKE, 0.0
    if trouble.unlimited == 1:
        limit = _NO_LIMIT
    if trouble.reversed == 1:
        duty = -duty
    if trouble.broken == 1:
        mode, duty = COAST, 0.0
    return mode, duty, limit


@kernel
def break_wire(leg: Any) -> None:
    """The current ends at once; the energy of its field burns in the arc, booked with the diodes' heat."""
    motor = leg.motor
    leg.energy.diode += 0.5 * motor.inductance * motor.current * motor.current
    motor.current = 0.0
