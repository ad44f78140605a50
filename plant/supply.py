"""The supply that all legs share: open-circuit voltage, source resistance, current limit, bulk capacitor."""

from __future__ import annotations

from typing import Any

from plant.kernel import inlined, kernel

__all__ = ["book_supply", "refresh_supply", "source_current", "stiff_voltage"]


@kernel
def refresh_supply(supply: Any) -> None:
    """Derive the inverses of resistance and capacitance; call after any change of them. A source without mains gives nothing."""
    supply.conductance = 1.0 / supply.resistance if supply.resistance > 0.0 and supply.failed == 0 else 0.0
    supply.elastance = 1.0 / supply.capacitance if supply.capacitance > 0.0 else 0.0


@inlined
def source_current(supply: Any, voltage: float) -> float:
    """Current [A] that the source gives into the capacitor at ``voltage`` [V]."""
    current = (supply.open_voltage - voltage) * supply.conductance
    if current > supply.current_limit:
        return supply.current_limit  # type: ignore[no-any-return]
    if current < 0.0 and supply.back_feed == 0:
        return 0.0
    return current  # type: ignore[no-any-return]


@inlined
def stiff_voltage(supply: Any, load: float) -> float:
    """Terminal voltage [V] without a capacitor, under the ``load`` current [A]."""
    return supply.open_voltage - supply.resistance * load  # type: ignore[no-any-return]


@inlined
def book_supply(supply: Any, span: float) -> None:
    """Book what the source gave and lost over the piece [J], trapezoidal, and move its voltage on.

    The source of a limited supply gives its current at the terminal voltage: what it drops inside itself before the
    limit is not drawn from anywhere.
    """
    v0, v1 = supply.voltage, supply.end_voltage
    if supply.capacitance > 0.0:
        c0, c1 = supply.given, source_current(supply, v1)
    else:
        c0, c1 = supply.load, supply.end_load
    heat = 0.5 * span * supply.resistance * (c0 * c0 + c1 * c1)
    supply.energy_in += 0.5 * span * (v0 * c0 + v1 * c1) + heat
    supply.energy_heat += heat
    supply.current = c1
    supply.voltage = v1
    supply.lowest = v1 if v1 < supply.lowest else supply.lowest
