"""Rows of the script that change load, spindles and guides, and how such a row ends again."""

from __future__ import annotations

from typing import Any

from plant.kernel import kernel
from plant.setup import refresh_load
from plant.spindle import refresh_spindle

__all__ = ["do_mechanics", "undo_mechanics"]

_PAYLOAD, _FRICTION, _GUIDE = 3, 4, 8


@kernel
def _do_to_leg(row: Any, leg: Any) -> None:
    if row.action == _FRICTION:
        leg.spindle.friction *= row.values[0]
        leg.spindle.static_friction *= row.values[0]
        refresh_spindle(leg)
    elif row.action == _GUIDE:
        row.kept[0] = leg.guide_friction
        leg.guide_friction = row.values[0]


@kernel
def _undo_to_leg(row: Any, leg: Any) -> None:
    if row.action == _FRICTION:
        leg.spindle.friction /= row.values[0]
        leg.spindle.static_friction /= row.values[0]
        refresh_spindle(leg)
    elif row.action == _GUIDE:
        leg.guide_friction = row.kept[0]


@kernel
def do_mechanics(rig: Any, row: Any) -> None:
    """What the ``row`` of a mechanical fault does; what it replaces is kept in the row."""
    world = rig.world
    if row.action == _PAYLOAD:
        row.kept[0] = world.deck.payload
        row.kept[1] = world.deck.payload_x
        row.kept[2] = world.deck.payload_y
        world.deck.payload = row.values[0]
        world.deck.payload_x = row.values[1]
        world.deck.payload_y = row.values[2]
        refresh_load(world)
        return
    for q in range(world.n_legs):
        if row.leg < 0 or row.leg == q:
            _do_to_leg(row, world.legs[q])


@kernel
def undo_mechanics(rig: Any, row: Any) -> None:
    """End what the ``row`` of a mechanical fault did."""
    world = rig.world
    if row.action == _PAYLOAD:
        world.deck.payload = row.kept[0]
        world.deck.payload_x = row.kept[1]
        world.deck.payload_y = row.kept[2]
        refresh_load(world)
        return
    for q in range(world.n_legs):
        if row.leg < 0 or row.leg == q:
            _undo_to_leg(row, world.legs[q])
