"""What the faults of load, spindles and guides do, in SI: action and values of their script row."""

from __future__ import annotations

from scenarios.deeds import Deed, Deeds, Names
from scenarios.files.faults_mechanics import (
    Debris,
    GearSlip,
    Guide,
    GuideBinding,
    HandTurn,
    Jam,
    Lean,
    Obstacle,
    Payload,
    ThreadFriction,
    Vibration,
)
from scenarios.rig import Action

__all__ = ["MECHANICS"]


def _payload(fault: Payload, names: Names) -> Deed:
    del names
    return Action.PAYLOAD, (fault.mass_kg, fault.at_mm[0] * 1e-3, fault.at_mm[1] * 1e-3, fault.over_s)


def _thread_friction(fault: ThreadFriction, names: Names) -> Deed:
    del names
    return Action.FRICTION, (fault.factor,)


def _guide(fault: Guide, names: Names) -> Deed:
    del names
    return Action.GUIDE, (fault.friction_n,)


def _point(fault: Obstacle | Lean) -> tuple[float, float]:
    """Point of the deck [m]; zero where a leg is named, whose place the kernel knows."""
    return (0.0, 0.0) if fault.at_mm is None else (fault.at_mm[0] * 1e-3, fault.at_mm[1] * 1e-3)


def _obstacle(fault: Obstacle, names: Names) -> Deed:
    del names
    place = fault.height_mm if fault.gap_mm is None else fault.gap_mm
    assert place is not None
    side = 1.0 if fault.side == "above" else -1.0
    return Action.OBSTACLE, (*_point(fault), place * 1e-3, fault.stiffness_n_per_mm * 1e3, side, float(fault.gap_mm is not None))


def _lean(fault: Lean, names: Names) -> Deed:
    del names
    return Action.LEAN, (*_point(fault), fault.force_n)


def _jam(fault: Jam, names: Names) -> Deed:
    del names
    return Action.JAM, (fault.holding_n,)


def _binding(fault: GuideBinding, names: Names) -> Deed:
    del names
    return Action.BINDING, (fault.friction_n, fault.from_mm * 1e-3, fault.to_mm * 1e-3)


def _slip(fault: GearSlip, names: Names) -> Deed:
    del names
    return Action.SLIP, (fault.slip_mm * 1e-3,)


def _debris(fault: Debris, names: Names) -> Deed:
    del names
    return Action.DEBRIS, (fault.thickness_mm * 1e-3, fault.stiffness_n_per_mm * 1e3, float(fault.stop == "high"))


def _hand(fault: HandTurn, names: Names) -> Deed:
    del names
    return Action.HAND, (fault.turn_mm * 1e-3, fault.speed_mm_s * 1e-3)


def _vibration(fault: Vibration, names: Names) -> Deed:
    del names
    return Action.VIBRATION, (fault.static_factor,)


MECHANICS: Deeds = {
    Payload: _payload,
    ThreadFriction: _thread_friction,
    Guide: _guide,
    Obstacle: _obstacle,
    Lean: _lean,
    Jam: _jam,
    GuideBinding: _binding,
    GearSlip: _slip,
    Debris: _debris,
    HandTurn: _hand,
    Vibration: _vibration,
}
