"""Orders that come too early are kept until the lift is at rest: a key pressed in the coast, or the opposite key in a move.

Pulses carry no sign: an order in the other direction may only be carried out when nothing turns any more, or the rest of the
coast would be counted the wrong way. A key that is let go before its turn has come is forgotten. The opposite key in a held
move lets go the first one. Common practice of hold-to-run controls, no source.
"""

from __future__ import annotations

from typing import Any

from sync.kernel import kernel
from sync.stopping import release

__all__ = ["HELD", "LET_GO", "keep", "let_go", "waits"]

HELD, LET_GO = 1, 2
"""A move by a held key; the same after the key was let go."""
_MOVING, _SETTLING = 3, 4
_GO, _UP, _DOWN = 1, 2, 3


@kernel
def waits(memory: Any, command: int) -> bool:
    """Whether an order that comes too early will be kept until the lift is at rest, instead of refused."""
    if command != _GO and command != _UP and command != _DOWN:
        return False
    if memory.mode == _SETTLING:
        return memory.homing == 0 and memory.reason == 0  # type: ignore[no-any-return]
    return memory.mode == _MOVING and memory.pressed > 0 and command != _GO


@kernel
def keep(settings: Any, memory: Any, command: int, target: float, now: float) -> None:
    """Keep an order; the opposite key ends the move in progress, the same key held on changes nothing."""
    if memory.mode == _MOVING and memory.pressed == HELD:
        if (command == _UP) == (memory.direction > 0):
            return
        memory.pressed = LET_GO
        release(settings, memory, now)
    memory.waiting = command
    memory.waiting_target = target


@kernel
def let_go(settings: Any, memory: Any, now: float) -> None:
    """The key was let go: a move ends as soon as it can, a press whose turn has not come is forgotten."""
    if memory.waiting == _UP or memory.waiting == _DOWN:
        memory.waiting = 0
    elif memory.mode == _MOVING:
        memory.pressed = LET_GO if memory.pressed > 0 else 0
        release(settings, memory, now)
