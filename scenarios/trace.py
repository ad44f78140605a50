"""The trace: one row of numbers per recorded tick, the columns named in ``scenarios.rig``."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from plant.contacts import contact_force
from plant.kernel import kernel
from scenarios.rig import TRACE_GLOBAL, TRACE_LEG
from sync.pulses import counted_height

__all__ = ["empty_trace", "record", "record_arrays"]

_GLOBAL = len(TRACE_GLOBAL)
_LEG = len(TRACE_LEG)


def empty_trace(rig: NDArray[np.void]) -> NDArray[np.float64]:
    """Zeros [rows, columns] with room for the longest that this rehearsal can take."""
    one = rig[0]
    tick_us = int(one["world"]["sub_step_us"]) * int(one["world"]["steps_per_tick"])
    rows = (int(one["end_us"]) - int(one["world"]["time_us"])) // tick_us // int(one["trace_every"]) + 2
    return np.zeros((rows, _GLOBAL + _LEG * int(one["world"]["n_legs"])))


@kernel
def record(rig: Any, row: Any) -> None:
    """Write the present into one ``row`` of a trace."""
    world = rig.world
    row[0] = world.time_us * 1e-6
    row[1] = rig.memory.mode
    row[2] = world.supply.voltage
    row[3] = world.supply.current
    row[4] = rig.inputs.supply
    row[5] = world.deck.level_error
    row[6] = rig.memory.believed_error
    row[7] = world.deck.tilt_x
    row[8] = world.deck.tilt_y
    row[9] = world.deck.warp
    row[10] = contact_force(world) if world.contacts > 0 else 0.0
    for q in range(world.n_legs):
        leg = world.legs[q]
        at = _GLOBAL + _LEG * q
        row[at] = leg.height
        row[at + 1] = counted_height(rig.settings, rig.memory, q)
        row[at + 2] = leg.motor.speed * leg.spindle.travel_per_radian
        row[at + 3] = leg.motor.current
        row[at + 4] = rig.inputs.legs[q].current
        row[at + 5] = leg.bridge.duty if leg.bridge.mode == 1 else 0.0
        row[at + 6] = leg.bridge.mode
        row[at + 7] = leg.deck_force
        row[at + 8] = leg.motor.commuted
        row[at + 9] = rig.memory.legs[q].counts
        row[at + 10] = leg.detector.heard
        row[at + 11] = leg.detector.missed
        row[at + 12] = leg.detector.extra
        row[at + 13] = leg.detector.hall_counts
        row[at + 14] = leg.motor.winding
        row[at + 15] = rig.memory.legs[q].rate


@kernel
def record_arrays(rig: Any, trace: Any, row: int) -> None:
    """``record`` into row number ``row``, called from Python."""
    record(rig[0], trace[row])
