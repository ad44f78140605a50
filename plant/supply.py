"""The supply that all legs share: open-circuit voltage, source resistance, current limit, bulk capacitor."""

from __future__ import annotations

from typing import Any

from plant.kernel import inlined, kernel

__all__ = ["book_energy", "source_current", "stiff_voltage"]


@inlined
def source_current(supply: Any, voltage: float) -> float:
    """Current [A] that the source gives into the capacitor at ``voltage`` [V]."""
    current = (supply.open_voltage - voltage) / supply.resistance
    if current > supply.current_limit:
        return supply.current_limit  # type: ignore[no-any-return]
    if current < 0.0 and supply.back_feed == 0:
        return 0.0
    return current  # type: ignore[no-any-return]


@inlined
def stiff_voltage(supply: Any, load: float) -> float:
    """Terminal voltage [V] without a capacitor, under the ``load`` current [A]."""
    return supply.open_voltage - supply.resistance * load  # type: ignore[no-any-return]


@kernel
def book_energy(supply: Any, voltage: float, load: float, span: float) -> None:
    """Book the source's energy and heat [J] over ``span`` [s] at the mean ``voltage`` [V] and ``load`` [A].

    The source of a limited supply gives its current at the terminal voltage: what it drops inside itself before the
    limit is not drawn from anywhere.
    """
    current = source_current(supply, voltage) if supply.capacitance > 0.0 else load
    supply.current = current
    supply.energy_in += (voltage + supply.resistance * current) * current * span
    supply.energy_heat += supply.resistance * current * current * span
