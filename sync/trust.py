"""Trust: how far the count of each leg may be off, and when that is too much.

The doubt of a leg [counts, either way] starts from the scatter of the homing and grows with travel, starts, stops, rejected
and inserted pulses.  It is a bound, not a standard deviation: the parts add up, since what is lost at the end of a coast is
lost every time.  Counts carry no sign and no place, so nothing but a homing takes doubt away.

Source: counts go wrong by phase of the move (start, run, switch-off edge, end of the coast); the sizes are planning values.
"""

from __future__ import annotations

from typing import Any

from sync.kernel import kernel

__all__ = ["believe", "spent"]


@kernel
def believe(settings: Any, memory: Any) -> None:
    """A homing is done: the counts are believed again, but for its scatter."""
    memory.ask = 0
    memory.uncertain = 0
    for q in range(settings.n_legs):
        memory.legs[q].doubt = settings.doubt_homing


@kernel
def spent(settings: Any, memory: Any) -> bool:
    """Whether the doubt of a leg has used up the uncertainty budget."""
    over = 0
    for q in range(settings.n_legs):
        if memory.legs[q].doubt > settings.doubt_budget * settings.legs[q].counts_per_metre:
            over += 1
    return over > 0
