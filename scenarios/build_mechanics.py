"""What the faults of load, spindles and guides do, in SI: action and values of their script row."""

from __future__ import annotations

from scenarios.deeds import Deed, Deeds, Names
from scenarios.files.faults_mechanics import Guide, Payload, ThreadFriction
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


MECHANICS: Deeds = {Payload: _payload, ThreadFriction: _thread_friction, Guide: _guide}
