"""What lies on the deck, from the running current of a raise: the resisting torque in a steady stretch, less what is known.

Source: raising torque of the screw, F = (T - Tc)/c_F, with friction and drag as told.  Neglects: that friction differs from
what is told; a friction 10 % off makes the estimate about 10 % of deck and payload off.
"""

from __future__ import annotations

from typing import Any

from sync.kernel import kernel

__all__ = ["weigh"]

_GRAVITY = 9.81
_STEADY_US = 300_000.0


@kernel
def weigh(settings: Any, memory: Any, now: float) -> float:
    """Estimate the payload [kg] of a raise; negative while no leg has run steadily for long enough."""
    if memory.direction < 0:
        return -1.0
    force = 0.0
    for q in range(settings.n_legs):
        leg, told = memory.legs[q], settings.legs[q]
        if leg.on == 0 or now <= leg.on_us or now - leg.steady_since_us < _STEADY_US:
            return -1.0
        leg.carried = (leg.load_known[0] - told.drag) / told.lift_pull - told.own_force
        force += leg.carried
    memory.payload = force / _GRAVITY if force > 0.0 else 0.0
    return memory.payload  # type: ignore[no-any-return]
