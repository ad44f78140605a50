"""The conduct of the controller, read from the records of a flown rig in the units of a report."""

from __future__ import annotations

from collections.abc import Sequence
from math import atan, degrees
from typing import Any

from scenarios.rig import Action
from scenarios.summary import Conduct, ContactResult, Extreme

__all__ = ["first_fault", "read_conduct", "read_contacts"]

_ORDERS = (Action.COMMAND, Action.POWER_ON, Action.POWER_OFF, Action.BRAKE)
"""What a move does; everything else in a script goes wrong."""


def _extreme(value: float, at_us: float, leg: int, names: Sequence[str]) -> Extreme:
    return Extreme(value, float(at_us) / 1e6 if at_us > 0.0 else None, names[leg])


def read_conduct(rig: Any, names: Sequence[str]) -> Conduct:
    """Conduct of the controller.

    Parameters
    ----------
    rig
        One record of :func:`scenarios.rig.rig_dtype`, flown to its end.
    names
        Names of the legs.
    """
    conduct, logic = rig["conduct"], rig["logic"]
    stopped, retreated = int(conduct["stops"]) > 0, int(conduct["retreats"]) > 0
    faulted, tilted = int(conduct["faults"]) > 0, bool(conduct["tilted"])
    made_up = int(conduct["made_up"])

    def of(value: str, at: str, leg: str, scale: float = 1.0) -> Extreme:
        return _extreme(float(conduct[value]) * scale, conduct[at], int(conduct[leg]), names)

    def tilt(axis: str) -> Extreme:
        return Extreme(degrees(atan(float(conduct[axis]))), float(conduct[f"{axis}_us"]) / 1e6)

    return Conduct(
        stop_mm=of("longest", "longest_us", "longest_leg", 1e3) if stopped else None,
        stop_s=of("slowest", "slowest_us", "slowest_leg") if stopped else None,
        stopping=bool(conduct["stopping"]),
        retreat_mm=of("least_retreat", "retreat_us", "retreat_leg", 1e3) if retreated else None,
        powered_s=float(conduct["powered"]) if faulted else None,
        crept_mm=of("crept", "crept_us", "crept_leg", 1e3) if faulted and conduct["faulted_still"] else None,
        made_up=of("made_up", "made_up_us", "made_up_leg") if conduct["blocked"] or made_up else None,
        tilt_about_x_deg=tilt("tilt_y") if tilted else None,
        tilt_about_y_deg=tilt("tilt_x") if tilted else None,
        unflagged_mm=Extreme(1e3 * float(conduct["unflagged"]), float(conduct["unflagged_us"]) / 1e6) if tilted else None,
        logic_min_v=float(logic["lowest"]) if logic["held"] else None,
        logic_down_s=float(logic["down_us"]) / 1e6 if logic["held"] else None,
    )


def first_fault(rig: Any) -> float | None:
    """When the first row of the script fired that is no order [s]; ``None``: none has."""
    rows = rig["script"][: int(rig["rows"])]
    fired = [float(row["fired_us"]) / 1e6 for row in rows if row["fired"] and int(row["action"]) not in _ORDERS]
    return min(fired, default=None)


def _instant(at_us: float) -> float | None:
    return float(at_us) / 1e6 if at_us > 0.0 else None


def _pressed(contact: Any, now_us: float) -> float | None:
    """Time on the clock of an attempt that has not ended [s]; where its force never started the clock, since the first touch."""
    if not contact["active"] or contact["force"] <= 0.0:
        return None
    begin = float(contact["clock_us"]) if contact["clock_us"] > 0.0 else float(contact["touch_us"])
    return (now_us - begin) / 1e6


def _contact(contact: Any, world: Any) -> ContactResult:
    side = "above" if contact["side"] > 0.0 else "below"
    return ContactResult(
        point=f"{side} ({1e3 * float(contact['x']):g}, {1e3 * float(contact['y']):g})",
        stiffness_n_mm=float(contact["stiffness"]) * 1e-3,
        attempts=int(contact["attempts"]),
        touch_s=_instant(contact["touch_us"]) if contact["attempts"] else None,
        peak_n=float(contact["peak"]),
        peak_s=_instant(contact["peak_us"]),
        first_peak_n=float(contact["first_peak"]),
        late_peak_n=float(contact["late_peak"]),
        late_s=_instant(contact["late_us"]),
        last_peak_n=float(contact["last_peak"]),
        last_s=_instant(contact["last_peak_us"]),
        force_n=float(contact["force"]) if contact["active"] else 0.0,
        late_after_s=float(world["late_after"]),
        last_after_s=float(world["last_after"]),
        pressed_s=_pressed(contact, float(world["time_us"])),
    )


def read_contacts(world: Any) -> tuple[ContactResult, ...]:
    """Obstacles of a flown world; people who only lean on the deck are loads, not obstacles."""
    contacts = world["contact"][: int(world["contacts"])]
    return tuple(_contact(contact, world) for contact in contacts if contact["stiffness"] > 0.0)
