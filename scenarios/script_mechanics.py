"""Rows of the script that change load, spindles, guides and what the deck meets, and how such a row ends again."""

from __future__ import annotations

from typing import Any

from plant.contacts import face_contact, place_contact, remove_contact
from plant.kernel import kernel
from plant.mishaps import put_debris, refresh_guide, shake, slip_gear, start_hand
from plant.setup import refresh_load
from plant.spindle import refresh_spindle

__all__ = ["do_mechanics", "undo_mechanics"]

_PAYLOAD, _FRICTION, _GUIDE = 3, 4, 8
_OBSTACLE, _LEAN, _JAM, _BINDING, _SLIP, _DEBRIS, _HAND, _VIBRATION = 10, 11, 12, 13, 14, 15, 16, 17


@kernel
def _rub(leg: Any, factor: float) -> None:
    """Multiply the friction of the leg's thread."""
    leg.spindle.friction *= factor
    leg.spindle.static_friction *= factor
    refresh_spindle(leg)


@kernel
def _bind(leg: Any, row: Any) -> None:
    leg.bind_force = row.values[0]
    leg.bind_from = row.values[1]
    leg.bind_to = row.values[2]
    refresh_guide(leg)


@kernel
def _litter(world: Any, leg: Any, row: Any) -> None:
    """Put debris on a stop; the row keeps the stiffness of what lay there."""
    row.kept[0] = leg.debris_stiffness
    leg.debris_stiffness = row.values[1]
    put_debris(world, leg, row.values[0], row.values[2] == 1.0)


@kernel
def _guide_to_leg(row: Any, leg: Any) -> bool:
    """What the row does to the leg's guide; whether it is a row of a guide."""
    if row.action == _GUIDE:
        row.kept[0] = leg.guide_friction - leg.guide_extra
        leg.guide_friction = row.values[0] + leg.guide_extra
    elif row.action == _JAM:
        leg.jam += row.values[0]
        refresh_guide(leg)
    elif row.action == _BINDING:
        _bind(leg, row)
    else:
        return False
    return True


@kernel
def _do_to_leg(world: Any, row: Any, q: int) -> None:
    leg = world.legs[q]
    if _guide_to_leg(row, leg):
        return
    if row.action == _FRICTION:
        _rub(leg, row.values[0])
    elif row.action == _SLIP:
        slip_gear(world, q, row.values[0])
    elif row.action == _DEBRIS:
        _litter(world, leg, row)
    elif row.action == _HAND:
        start_hand(world, leg, row.values[0], row.values[1])
    elif row.action == _VIBRATION:
        shake(leg, row.values[0])


@kernel
def _undo_to_leg(world: Any, row: Any, leg: Any) -> None:
    if row.action == _FRICTION:
        _rub(leg, 1.0 / row.values[0])
    elif row.action == _GUIDE:
        leg.guide_friction = row.kept[0] + leg.guide_extra
    elif row.action == _JAM:
        leg.jam -= row.values[0]
        refresh_guide(leg)
    elif row.action == _BINDING:
        leg.bind_force = 0.0
        refresh_guide(leg)
    elif row.action == _DEBRIS:
        put_debris(world, leg, -row.values[0], row.values[2] == 1.0)
        leg.debris_stiffness = row.kept[0]
    elif row.action == _VIBRATION:
        shake(leg, 1.0 / row.values[0])


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
def _load(world: Any, target: Any, seconds: float) -> None:
    """Let the payload become ``target`` (kg, x, y in m) over so many ``seconds``, at once where less than a tick."""
    deck = world.deck
    deck.walk_ticks = int(seconds / (world.sub_step * world.steps_per_tick) + 0.5)
    if deck.walk_ticks > 0:
        deck.walk_mass = target[0]
        deck.walk_x = target[1]
        deck.walk_y = target[2]
        return
    deck.payload = target[0]
    deck.payload_x = target[1]
    deck.payload_y = target[2]
    refresh_load(world)


@kernel
def do_mechanics(rig: Any, row: Any) -> None:
    """What the ``row`` of a mechanical fault does; what it replaces is kept in the row."""
    world = rig.world
    if row.action == _PAYLOAD:
        row.kept[0] = world.deck.payload
        row.kept[1] = world.deck.payload_x
        row.kept[2] = world.deck.payload_y
        _load(world, row.values, row.values[3])
    elif row.action == _OBSTACLE or row.action == _LEAN:
        _put_contact(world, row)
    else:
        for q in range(world.n_legs):
            if row.leg < 0 or row.leg == q:
                _do_to_leg(world, row, q)


@kernel
def undo_mechanics(rig: Any, row: Any) -> None:
    """End what the ``row`` of a mechanical fault did."""
    world = rig.world
    if row.action == _PAYLOAD:
        _load(world, row.kept, row.values[3])
    elif row.action == _OBSTACLE or row.action == _LEAN:
        remove_contact(world, int(row.kept[0]))
    else:
        for q in range(world.n_legs):
            if row.leg < 0 or row.leg == q:
                _undo_to_leg(world, row, world.legs[q])
