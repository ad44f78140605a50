"""One leg that meets a springy obstacle, as the reference figures of pinch forces take it."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from scenarios.build import build_rig
from scenarios.files import load_scenario
from scenarios.rig import Happening
from scenarios.runner import fly_rig

__all__ = ["FACE", "Pinch", "meet", "peak"]

DATA = Path(__file__).parent / "data"
FACE = 350.0
"""Height of the face of the obstacle [mm]; the leg starts 50 mm before it."""


class Pinch:
    """What became of one leg that met an obstacle, guard tick 1 ms, filter 5 ms, confirmation 10 ms."""

    def __init__(self, rig: Any) -> None:
        self.rig = rig
        self.memory = rig["memory"]
        self.peak = float(rig["world"]["contact"][0]["peak"])
        """Largest contact force [N]."""
        log = rig["log"][: rig["events"]]
        self.decided_us = [int(event["time_us"]) for event in log if event["what"] == Happening.PINCHED]


def meet(lift: str, mass: float, stiffness: float, rise: float, *sets: tuple[str, Any], down: bool = False, flown: bool = True) -> Pinch:
    """Run onto an obstacle of ``stiffness`` [N/mm] with ``mass`` [kg], a rise of the current by ``rise`` [A] being a pinch.

    Full duty, no soft start, full reverse at once, bridges without a limit that is reached, unless ``sets`` change it.
    """
    pinch = {"rise_a": rise, "rise_most_a": rise, "reaction": "reverse", "retreat_duty": 1.0}
    fault = {"what": "obstacle", "side": "below" if down else "above", "leg": "only", "height_mm": FACE, "at_s": 0.1}
    changes: dict[str, Any] = {
        "lift": f"one-leg-{lift}.toml",
        "payload.mass_kg": mass,
        "start.height_mm": FACE + 50.0 if down else FACE - 50.0,
        "lift.every_leg.bridge.synchronous": True,
        "settings.pinch": pinch,
        "move": [{"to_mm": 100.0 if down else 600.0}],
        "fault": [{**fault, "stiffness_n_per_mm": stiffness}],
        "end_s": 8.0,
    }
    for key, value in sets:
        table, _, name = key.rpartition(".")
        if table == "settings.pinch":
            changes[table] = {**changes[table], name: value}
        else:
            changes[key] = value
    rig = build_rig(load_scenario(DATA / "one-leg.toml", tuple(changes.items())))
    if flown:
        fly_rig(rig)
    return Pinch(rig[0])


def peak(*given: Any, **named: Any) -> float:
    """Largest contact force [N] of :func:`meet`."""
    return meet(*given, **named).peak
