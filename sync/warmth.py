"""Over-temperature memory: I2R and the heat of the brushes, with cool-down in two nodes, winding and case, for every leg.

It runs at rest as well and survives power-off: the temperatures at the failure are kept, the worst case, since how long the
power was away is not known.

Source: two-node lumped model, resistance by the copper law about 20 C (IEC 60028).
"""

from __future__ import annotations

from typing import Any

from sync.kernel import kernel

__all__ = ["hottest", "warm_legs"]

_COPPER = 0.00393  # 1/K


@kernel
def warm_legs(settings: Any, memory: Any) -> None:
    """Take one call's heat into the estimates."""
    for q in range(settings.n_legs):
        leg, told = memory.legs[q], settings.legs[q]
        known, model = leg.warmth, told.warmth
        volts = leg.current * told.resistance * (1.0 + _COPPER * (known.winding - 20.0)) + told.brush_drop
        heat = leg.current * volts
        across = (known.winding - known.case) * model.across
        known.winding += model.winding_rise * (heat - across)
        known.case += model.case_rise * (across - (known.case - settings.warmth.ambient) * model.away)


@kernel
def hottest(settings: Any, memory: Any) -> float:
    """Highest estimated winding temperature [deg C]."""
    most = -1e9
    for q in range(settings.n_legs):
        winding = memory.legs[q].warmth.winding
        most = winding if winding > most else most
    return most
