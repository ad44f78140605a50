"""From a checked scenario to the rig both clocks fly: parameters, settings, script and initial state."""

from __future__ import annotations

from math import floor
from typing import Any

import numpy as np
from numpy.typing import NDArray

from scenarios.assumptions import Assumption, assumptions, derivations
from scenarios.build_lift import build_world, filter_shares
from scenarios.build_script import fill_script, latest_end
from scenarios.build_settings import fill_settings
from scenarios.files.lift import Logic
from scenarios.files.limits import late_times
from scenarios.files.scenario import Scenario
from scenarios.rig import rig_dtype
from sync.modes import Mode

__all__ = ["Assumption", "assemble", "assumptions", "build_rig", "build_world", "derivations"]

SETTLE_US = 300_000
"""Rest after the last move before a rehearsal ends."""
CLOCK = (25.0, 0.75, 5.0)
"""Force [N] that starts the clock of a contact, and the times [s] on it after which less force is allowed.

Source: force-time mask of EN 12453 as quoted by a trade summary (400 N, 150 N after 0.75 s, 25 N after 5 s), which warns
that it is an interpretation; the standard itself was not read.
"""


def build_rig(scenario: Scenario, seed: int | None = None, run: int = 0) -> NDArray[np.void]:
    """Record of a whole rehearsal, ready to fly.

    Parameters
    ----------
    scenario
        The scenario with its lift and settings.
    seed
        Seed of the random draws; None: the scenario's own.
    run
        Number of the run within a campaign; another run draws other numbers.

    Returns
    -------
    numpy.ndarray
        Shape (1,) of ``scenarios.rig.rig_dtype()``, prepared.

    Raises
    ------
    InputError
        If the requested sub-step is too coarse for the machine.

    Notes
    -----
    The heights of the file are those of the nuts: under load the deck joints stand lower by the axial compression.
    """
    from scenarios.wiring import prepare

    rig = assemble(scenario, seed, run)
    prepare(rig)
    filter_shares(rig["world"], scenario.lift)
    return rig


def assemble(scenario: Scenario, seed: int | None = None, run: int = 0) -> NDArray[np.void]:
    """The same as :func:`build_rig` before anything is derived from the parameters; compiles nothing."""
    rig = np.zeros(1, dtype=rig_dtype())
    one = rig[0]
    one["world"] = build_world(scenario.lift)[0]
    world = one["world"]
    world["seed"] = scenario.seed if seed is None else seed
    world["run"] = run
    world["sub_step"] = (scenario.file.sub_step_us or 0) * 1e-6
    world["clock_force"] = CLOCK[0]
    world["late_after"], world["last_after"] = late_times(scenario.lift.limits, scenario.file.limits, CLOCK[1:])
    fill_settings(one["settings"], scenario.settings, scenario.lift)
    _power_logic(one["logic"], scenario.lift.logic)
    _place_load(world["deck"], scenario)
    _start(one, scenario)
    fill_script(one, scenario.file, scenario.lift.names)
    one["end_us"] = round(latest_end(scenario.file, scenario.settings, scenario.lift) * 1e6)
    one["settle_us"] = SETTLE_US
    one["trace_every"] = one["settings"]["control_every"]
    return rig


def _power_logic(record: Any, logic: Logic) -> None:
    """Hold-up of the logic, and from when on a failing supply is reported."""
    record["held"] = logic.hold_up_mf is not None
    record["capacitance"] = (logic.hold_up_mf or 0.0) * 1e-3
    record["power"] = logic.power_w
    record["drop"] = logic.feed_drop_v
    record["resistance"] = logic.feed_ohm
    record["least"] = logic.least_v
    record["wake_above"] = 1.1 * logic.least_v if logic.wake_v is None else logic.wake_v
    record["fail_below"] = logic.power_fail_v or 0.0
    record["good_above"] = 1.05 * (logic.power_fail_v or 0.0) if logic.power_good_v is None else logic.power_good_v


def _place_load(deck: Any, scenario: Scenario) -> None:
    deck["payload"] = scenario.file.payload.mass_kg
    deck["payload_x"], deck["payload_y"] = (place * 1e-3 for place in scenario.file.payload.at_mm)


def _start(one: Any, scenario: Scenario) -> None:
    """Initial heights, temperatures, and what the controller believes."""
    start, memory, settings = scenario.file.start, one["memory"], one["settings"]
    air = scenario.lift.duty.ambient_c if start.ambient_c is None else start.ambient_c
    for i, leg in enumerate(scenario.lift.leg):
        height = start.height_mm if start.heights_mm is None else start.heights_mm[leg.name]
        assert height is not None
        record, told, known = one["world"]["legs"][i], settings["legs"][i], memory["legs"][i]
        motor = record["motor"]
        record["travel"] = record["height"] = height * 1e-3
        motor["angle"] = record["travel"] / record["spindle"]["travel_per_radian"]
        motor["ambient"] = air
        motor["winding"] = air if start.winding_c is None else start.winding_c
        motor["case"] = air if start.case_c is None else start.case_c
        # the firmware was awake before the rehearsal began
        known["warmth"]["winding"], known["warmth"]["case"] = motor["winding"], motor["case"]
        motor["viscous"] *= start.grease_factor
        if start.referenced:
            believed = record["travel"] - told["home_offset"]
            known["counts"] = floor(believed * told["counts_per_metre"])
            known["doubt"] = settings["doubt_homing"]
        learnt = scenario.settings.learnt.get(leg.name)
        known["factor"] = (learnt.coast_up, learnt.coast_down) if learnt else (1.0, 1.0)
    memory["referenced"] = start.referenced
    memory["mode"] = Mode.READY if start.referenced else Mode.UNREFERENCED
