"""Currents that die away: in a shorted winding, through freewheel diodes against a back-EMF, at a power-off."""

from __future__ import annotations

from math import exp, log

__all__ = ["brake_share", "brake_time", "decay_charge", "decay_time", "flyback_time"]


def brake_share(elapsed: float, inductance: float, resistance: float) -> float:
    """Share of the first current left after ``elapsed`` [s] in a shorted winding without back-EMF: exp(-t R/L)."""
    return exp(-elapsed * resistance / inductance)


def brake_time(share: float, inductance: float, resistance: float) -> float:
    """Time [s] until ``share`` of the first current is left in a shorted winding: (L/R) ln(1/share)."""
    return inductance / resistance * log(1.0 / share)


def decay_time(current: float, inductance: float, resistance: float, opposing: float) -> float:
    """Time [s] until ``current`` [A] has died against the ``opposing`` voltage [V] (back-EMF plus diodes), then it stays zero.

    t0 = (L/R) ln(1 + I R / V).  Source: solution of L di/dt = -R i - V.
    """
    if opposing <= 0.0:
        raise ValueError(f"opposing voltage {opposing} V must be above zero, or the current never reaches zero")
    return inductance / resistance * log(1.0 + current * resistance / opposing)


def decay_charge(current: float, inductance: float, resistance: float, opposing: float) -> float:
    """Charge [C] that flows until the current of `decay_time` has died: (L I - V t0) / R."""
    return (inductance * current - opposing * decay_time(current, inductance, resistance, opposing)) / resistance


def flyback_time(current: float, inductance: float, resistance: float, opposing: float) -> float:
    """Width of the flyback pulse [s] where all switches open: L I / (V + R I / 2), a chord of `decay_time`.

    Valid for: ``opposing`` (supply, two diodes, back-EMF and brushes [V]) well above R I; low by (R I/V)^2 / 12.
    """
    return inductance * current / (opposing + 0.5 * resistance * current)
