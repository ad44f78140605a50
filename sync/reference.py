"""Common reference: one height runs ahead at a told speed, every leg is held to it, and the weakest leg slows it."""

from __future__ import annotations

from typing import Any

from sync.coupling import push
from sync.kernel import kernel
from sync.pulses import counted_height

__all__ = ["common_reference"]


@kernel
def _speed(settings: Any, base: float) -> float:
    """Speed of the reference [m/s] at the common duty ``base``: told at the base and the slow duty, straight between them."""
    if base <= settings.slow_duty:
        return settings.reference_slow * base / settings.slow_duty  # type: ignore[no-any-return]
    share = (base - settings.slow_duty) / (settings.base_duty - settings.slow_duty)
    return settings.reference_slow + share * (settings.reference_speed - settings.reference_slow)  # type: ignore[no-any-return]


@kernel
def common_reference(settings: Any, memory: Any, base: float) -> None:
    """Hold every leg to one moving height r: u_i = u0 - 2 Kc (x_i - r) - 2 Ki integral(x_i - r).

    r runs at the told speed times what the lag of the weakest leg leaves of the window: at a full window of lag it waits.
    So the move takes a defined time as long as every leg can follow, and no leg is left behind.
    """
    worst = 0.0
    for q in range(settings.n_legs):
        if memory.legs[q].on == 1:
            lag = memory.direction * (memory.reference - counted_height(settings, memory, q))
            worst = lag if lag > worst else worst
    share = 1.0 - worst / settings.reference_window
    span = settings.tick * settings.control_every
    memory.reference += memory.direction * span * _speed(settings, base) * (share if share > 0.0 else 0.0)
    for q in range(settings.n_legs):
        leg = memory.legs[q]
        if leg.on == 1:
            lead = memory.direction * (counted_height(settings, memory, q) - memory.reference)
            push(settings, leg, base, 2.0 * settings.gain * lead, 2.0 * settings.integral_gain * (lead * span))
