"""What the firmware keeps without power: the position, and a mark that it is being left.

A mark at the start of every move says that the saved position no longer holds; it is taken off by the save at rest.  So a
power failure that leaves no time to save is seen on wake, instead of an old position being believed.

Source: position, direction, "was moving" flag and check sum, as is common practice; no source.
"""

from __future__ import annotations

from typing import Any

from sync.kernel import kernel
from sync.stopping import coast_counts

__all__ = ["intact", "mark", "store"]

_PRIME, _ROOM = 31, 2147483647
_LEAST = 10.0  # counts


@kernel
def _check(saved: Any) -> int:
    """Check sum of what is saved: every number weighs differently, so that swapped numbers are seen too."""
    value = 17 + saved.valid
    value = (value * _PRIME + saved.referenced) % _ROOM
    value = (value * _PRIME + saved.direction) % _ROOM
    value = (value * _PRIME + saved.moving) % _ROOM
    value = (value * _PRIME + saved.stage) % _ROOM
    for q in range(len(saved.counts)):
        value = (value * _PRIME + saved.counts[q]) % _ROOM
        value = (value * _PRIME + saved.doubt[q]) % _ROOM
    return value  # type: ignore[no-any-return]


@kernel
def intact(saved: Any) -> bool:
    """Whether what was saved fits its check sum."""
    return _check(saved) == saved.check  # type: ignore[no-any-return]


@kernel
def mark(memory: Any) -> None:
    """A move begins: the saved position holds no longer."""
    saved = memory.saved
    if saved.moving == 1 and saved.stage == 0:
        return
    saved.moving = 1
    saved.stage = 0
    saved.direction = memory.direction
    saved.check = _check(saved)


@kernel
def _ahead(settings: Any, memory: Any, q: int) -> float:
    """Most counts that leg ``q`` may still run: twice its predicted coast, and some for a load that is not known yet."""
    leg = memory.legs[q]
    way = 0 if memory.direction >= 0 else 1
    load = leg.load_known[way] if leg.load_known[way] > 0.0 else leg.load
    return 2.0 * leg.factor[way] * coast_counts(leg.rate, load, settings.legs[q].drag_rate) + _LEAST  # type: ignore[no-any-return]


@kernel
def store(settings: Any, memory: Any, stage: int) -> None:
    """Save the position; ``stage`` 0 at rest, 1 while coasting, 2 at rest after a power failure.

    While coasting, half of what a leg may still run is added to its doubt, and the saved position is that half further on.
    """
    saved = memory.saved
    saved.valid = 1
    saved.referenced = memory.referenced
    saved.direction = memory.direction
    saved.moving = 1 if stage > 0 else 0
    saved.stage = stage
    for q in range(settings.n_legs):
        leg = memory.legs[q]
        half = 0.5 * _ahead(settings, memory, q) + 0.5 * settings.doubt_per_stop if stage == 1 else 0.0
        saved.counts[q] = leg.counts + memory.direction * int(half)
        saved.doubt[q] = int(leg.doubt + half) + 1
    saved.check = _check(saved)
