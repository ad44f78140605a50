"""Corners of a tuning: in what the machine may differ from its file, as changes of the scenario's files."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import product

from scenarios.build_motor import motor_constants
from scenarios.files.leg import Leg
from scenarios.files.lift import Lift
from scenarios.files.overrides import Change
from scenarios.files.tuning import Corners

__all__ = ["CASE_SHARE", "Corner", "corner_list"]

CASE_SHARE = 0.6
"""How much of the winding's warmth the case has after a duty (planning value)."""


@dataclass(frozen=True)
class Corner:
    """A deviation in words, the factor on the payload, and the changes of the files that make the rest of it."""

    name: str
    changes: tuple[Change, ...] = ()
    payload: float = 1.0


def _friction(leg: Leg, factor: float) -> list[Change]:
    place = f"lift.leg.{leg.name}.spindle."
    return [(place + "friction", leg.spindle.friction * factor), (place + "static_friction", leg.spindle.static_friction * factor)]


def _constant(leg: Leg, factor: float) -> list[Change]:
    """Torque constant times ``factor``; a motor given by a catalogue is first written out as its constants."""
    place, motor = f"lift.leg.{leg.name}.motor.", motor_constants(leg.motor)
    changes: list[Change] = [(place + "torque_constant_mn_m_per_a", 1e3 * motor.torque_constant * factor)]
    if leg.motor.back_emf_constant_mv_s_per_rad is not None:
        changes.append((place + "back_emf_constant_mv_s_per_rad", None))
    if leg.motor.catalogue is not None:
        changes += [
            (place + "catalogue", None),
            (place + "resistance_ohm", motor.resistance),
            (place + "coulomb_drag_mn_m", 1e3 * motor.coulomb),
            (place + "viscous_drag_mn_m_s", 1e3 * motor.viscous),
        ]
    return changes


def _axes(lift: Lift, corners: Corners) -> list[list[Corner]]:
    """The ends of every deviation; friction of one leg alone multiplies that of all, so it is named apart."""
    first = lift.leg[0]
    volts = lift.supply.open_voltage_v
    return [
        [Corner(f"supply {share:.0%}", (("lift.supply.open_voltage_v", volts * share),)) for share in corners.supply],
        [
            Corner(f"winding {warm:g} C", (("start.winding_c", warm), ("start.case_c", 20.0 + CASE_SHARE * (warm - 20.0))))
            for warm in corners.winding_c
        ],
        [
            Corner(f"friction {factor:.0%}", tuple(change for leg in lift.leg for change in _friction(leg, factor)))
            for factor in corners.friction
        ],
        [Corner(f"friction of {first.name} {factor:.0%}", tuple(_friction(first, factor))) for factor in corners.friction_spread],
        [Corner(f"constant of {first.name} {factor:.0%}", tuple(_constant(first, factor))) for factor in corners.constant_spread],
        [Corner(f"payload {factor:.0%}", (), factor) for factor in corners.payload],
    ]


def _joined(parts: tuple[Corner, ...], first: Leg) -> Corner:
    """Several deviations at once; the two frictions of one leg multiply."""
    changes: dict[str, object] = {}
    for part in parts:
        for key, value in part.changes:
            twice = key in changes and key.startswith(f"lift.leg.{first.name}.spindle.")
            nominal = first.spindle.friction if key.endswith(".friction") else first.spindle.static_friction
            changes[key] = float(str(changes[key])) * float(str(value)) / nominal if twice else value
    payload = 1.0
    for part in parts:
        payload *= part.payload
    return Corner(", ".join(part.name for part in parts), tuple(changes.items()), payload)


def corner_list(lift: Lift, corners: Corners) -> tuple[Corner, ...]:
    """Corners of a lift, without the machine as in its file.

    Parameters
    ----------
    lift
        The lift, for its nominal values.
    corners
        What may differ and how it is combined.
    """
    axes = [axis for axis in _axes(lift, corners) if axis]
    if corners.combine == "each":
        return tuple(corner for axis in axes for corner in axis)
    return tuple(_joined(parts, lift.leg[0]) for parts in product(*axes))
