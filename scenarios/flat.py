"""The flat clock: one compiled loop over sense, tick, advance, for sweeps and campaigns."""

from __future__ import annotations

from typing import Any

from plant.kernel import kernel
from scenarios.trace import record
from scenarios.wiring import advance, sense
from sync.tick import tick

__all__ = ["fly_flat", "fly_untraced"]


@kernel
def fly(rig: Any, trace: Any, ticks: int) -> int:
    """Fly until the rehearsal is over or for at most ``ticks`` ticks; returns the rows written into ``trace``."""
    rows = 0
    room = len(trace)
    while rig.finished == 0 and rig.ticks < ticks:
        sense(rig)
        if rig.tick_due == 1:
            tick(rig.settings, rig.memory, rig.inputs, rig.outputs)
        if rows < room and rig.ticks % rig.trace_every == 0:
            record(rig, trace[rows])
            rows += 1
        advance(rig)
    return rows


@kernel
def fly_flat(rig: Any, trace: Any, ticks: int) -> int:
    """``fly`` on an array of shape (1,); an empty ``trace`` records nothing."""
    return fly(rig[0], trace, ticks)


@kernel
def fly_untraced(rig: Any, ticks: int) -> None:
    """``fly`` on one record, without a trace."""
    while rig.finished == 0 and rig.ticks < ticks:
        sense(rig)
        if rig.tick_due == 1:
            tick(rig.settings, rig.memory, rig.inputs, rig.outputs)
        advance(rig)
