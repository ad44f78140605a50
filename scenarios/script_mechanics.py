"""Rows of the script that change load, spindles and guides, and how such a row ends again."""

from __future__ import annotations

from typing import Any

from plant.contacts import face_contact, place_contact, remove_contact
from plant.kernel import kernel
from plant.setup import refresh_load
from plant.spindle import refresh_spindle

__all__ = ["do_mechanics", "undo_mechanics"]

_PAYLOAD, _FRICTION, _GUIDE = 3, 4, 8
_OBSTACLE, _LEAN = 10, 11


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
def _put_contact(world: Any, row: Any) -> None:
    """Put an obstacle or somebody who leans at the row's leg or at its point; the row keeps which contact it is."""
    x, y = row.values[0], row.values[1]
    if row.leg >= 0:
        x, y = world.legs[row.leg].x, world.legs[row.leg].y
    j = place_contact(world, x, y)
    row.kept[0] = j
    if j >= 0 and row.action == _OBSTACLE:
        face_contact(world, j, row.values)
    elif j >= 0:
        world.contact[j].push = row.values[2]


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
    if row.action == _OBSTACLE or row.action == _LEAN:
        _put_contact(world, row)
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
    if row.action == _OBSTACLE or row.action == _LEAN:
        remove_contact(world, int(row.kept[0]))
        return
    for q in range(world.n_legs):
        if row.leg < 0 or row.leg == q:
            _undo_to_leg(row, world.legs[q])
