"""Clean moves of many machines: nothing is wrong with them but what no two of them share, so every alarm is a false one."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from rehearsals import rehearsal
from sequences import LIFTS

from scenarios.build import assemble
from scenarios.build_lift import filter_shares
from scenarios.files import load_scenario
from scenarios.rig import Happening
from scenarios.runner import fly_rig
from scenarios.wiring import prepare
from sync.modes import Mode, Reason

__all__ = ["FRESH", "Alarms", "fly_clean", "spread_constants"]

FRESH = 10_000
"""First run of the machines that no setting has been chosen by."""
_HEIGHTS = (80.0, 20.0, 140.0, 60.0, 80.0, 20.0, 60.0, 30.0, 200.0, 90.0, 110.0, 40.0)
_CHAIN = [*({"to_mm": mm, "pause_s": 0.1} for mm in _HEIGHTS), {"home": True, "pause_s": 0.1}] * 3


@dataclass
class Alarms:
    """What clean moves raised: moves flown, suspicions of drift, pinches, and machines that did not end ready."""

    moves: int = 0
    drifts: int = 0
    pinches: int = 0
    unready: int = 0

    @property
    def false(self) -> int:
        """All of them."""
        return self.drifts + self.pinches + self.unready


def spread_constants(rig: NDArray[np.void], run: int, share: float = 0.01) -> None:
    """Give every motor a resistance and a torque constant of its own, ``share`` (sd) off what the controller is told."""
    legs = int(rig["world"]["n_legs"][0])
    motor = rig["world"]["legs"]["motor"][0, :legs]
    spread = 1.0 + share * np.random.default_rng(run).standard_normal((2, legs))
    motor["resistance"] *= spread[0]
    motor["torque_constant"] *= spread[1]


def _corner(lift: str, run: int) -> tuple[tuple[str, Any], ...]:
    """Supply, load and temperature of a machine, each anywhere in the range that a user would call normal."""
    draw = np.random.default_rng((run, 1))
    machine = LIFTS[lift]
    supply, source, mass, x, y, air, warmer = draw.uniform(
        (0.9, 0.05, 0.0, -0.25, -0.25, 0.0, 0.0), (1.1, 0.3, 0.9, 0.25, 0.25, 40.0, 40.0)
    )
    return (
        ("lift.supply.open_voltage_v", round(supply * machine.supply, 3)),
        ("lift.supply.resistance_ohm", round(source, 3)),
        ("payload.mass_kg", round(mass * machine.rated, 2)),
        ("payload.at_mm", [round(1e3 * x * machine.half_x, 1), round(1e3 * y * machine.half_y, 1)]),
        ("start.ambient_c", round(air, 1)),
        ("start.case_c", round(air + 0.8 * warmer, 1)),
        ("start.winding_c", round(air + warmer, 1)),
    )


def fly_clean(lift: str, run: int) -> tuple[Any, Alarms]:
    """Thirty-six moves of one machine with a homing after every twelve, at a corner of its own; its record and its alarms."""
    base = (("twin", None), ("fault", []), ("move", _CHAIN), ("start.height_mm", 40.0), ("end_s", 900.0))
    scenario = load_scenario(rehearsal(f"{lift}/raise"), (*base, *_corner(lift, run)))
    rig: NDArray[np.void] = assemble(scenario)
    rig["world"]["run"] = run
    spread_constants(rig, run)
    prepare(rig)
    filter_shares(rig["world"], scenario.lift)
    fly_rig(rig)
    one = rig[0]
    score, log = one["move"][: one["moves"]], one["log"][: one["events"]]
    moved = int(np.sum((score["homing"] == 0) & (score["end_us"] > 0)))
    drifts = int(np.sum(log["what"] == Happening.DRIFT))
    well = one["memory"]["mode"] == Mode.READY and one["memory"]["reason"] == Reason.NONE
    return one, Alarms(moved, drifts, int(one["memory"]["pinch"]["trips"]), int(not well))
