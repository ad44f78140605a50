"""What the faults of load, spindles and guides do, in SI: action and values of their script row."""

from __future__ import annotations

from scenarios.deeds import Deed, Deeds, Names
from scenarios.files.faults_mechanics import Guide, Lean, Obstacle, Payload, ThreadFriction
from scenarios.rig import Action

__all__ = ["MECHANICS"]


def _payload(fault: Payload, names: Names) -> Deed:
    del names
    return Action.PAYLOAD, (fault.mass_kg, fault.at_mm[0] * 1e-3, fault.at_mm[1] * 1e-3)


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


MECHANICS: Deeds = {Payload: _payload, ThreadFriction: _thread_friction, Guide: _guide, Obstacle: _obstacle, Lean: _lean}
