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
    """Book what the source gave and lost over the piece [J], and move its voltage on.

    With a capacitor the charge that the step has moved is booked, at the mean of the voltages: that is, to the last digit, what
    the capacitor took and the bridges drew.  A trapezoid of current times voltage would count another charge; where the
    capacitor is charged anew each tick (by what the logic draws) in a few steps of its time constant, by 2 % of it.
    The source of a limited supply gives its current at the terminal voltage: what it drops inside itself before the
    limit is not drawn from anywhere.
    """
    v0, v1 = supply.voltage, supply.end_voltage
    if supply.capacitance > 0.0:
        end = source_current(supply, v1)
        charge = 0.5 * span * (supply.load + supply.end_load) + supply.capacitance * (v1 - v0)
        heat = 0.5 * supply.resistance * charge * (supply.given + end)
        supply.energy_in += 0.5 * (v0 + v1) * charge + heat
    else:
        end = supply.end_load
        heat = 0.5 * span * supply.resistance * (supply.load * supply.load + end * end)
        supply.energy_in += 0.5 * span * (v0 * supply.load + v1 * end) + heat
    supply.energy_heat += heat
    supply.current = end
    supply.voltage = v1
    supply.lowest = v1 if v1 < supply.lowest else supply.lowest
