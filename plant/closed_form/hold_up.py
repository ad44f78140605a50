"""Hold-up: how long the logic must live after the supply fails, and the capacitor that this takes."""

from __future__ import annotations

__all__ = ["capacitance_needed", "hold_up_time", "time_needed"]


def time_needed(coast: float, write: float, margin: float = 1.0) -> float:
    """Time [s] from power failure to a saved position: ``margin`` times the coast [s] plus the write [s].

    The count goes on while a leg coasts, so saving earlier would lose those counts.
    """
    return margin * coast + write


def capacitance_needed(power: float, time: float, full_voltage: float, least_voltage: float) -> float:
    """Capacitance [F] that feeds ``power`` [W] for ``time`` [s] from ``full_voltage`` down to ``least_voltage`` [V].

    Source: energy of a capacitor, C = 2 P t / (V1^2 - V2^2).
    """
    if full_voltage <= least_voltage:
        raise ValueError(f"full voltage {full_voltage} V must be above the least voltage {least_voltage} V")
    return 2.0 * power * time / (full_voltage * full_voltage - least_voltage * least_voltage)


def hold_up_time(capacitance: float, power: float, full_voltage: float, least_voltage: float) -> float:
    """Time [s] for which ``capacitance`` [F] feeds ``power`` [W]."""
    return capacitance * (full_voltage * full_voltage - least_voltage * least_voltage) / (2.0 * power)
