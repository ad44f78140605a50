"""Flying a rehearsal with a record of every sub-step of every leg, for the signal level."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from plant.advance import advance_one, close_tick
from plant.kernel import kernel
from plant.signal.history import note_step
from plant.signal.records import HISTORY
from scenarios.build import build_rig
from scenarios.files.scenario import Scenario
from scenarios.rig import records
from scenarios.score import watch
from scenarios.script import run_script
from scenarios.signal_bench import Bench
from scenarios.wiring import act, sense
from sync.tick import tick

__all__ = ["fly_scenario"]


@kernel
def _note(world: Any, history: Any, n: int) -> None:
    for q in range(world.n_legs):
        note_step(world.legs[q], world.supply.voltage, history[q, n], history[q, n + 1])


@kernel
def _fly_noted(one: Any, history: Any) -> int:
    """Sense, tick, advance as both clocks do, with a note after each sub-step; the sub-steps flown."""
    rig = one[0]
    world = rig.world
    n = 0
    for q in range(world.n_legs):
        motor = world.legs[q].motor
        history[q, 0].speed, history[q, 0].current, history[q, 0].angle = motor.speed, motor.current, motor.angle
        history[q, 0].supply = world.supply.voltage
    while rig.finished == 0 and n + world.steps_per_tick < history.shape[1]:
        sense(rig)
        tick(rig.settings, rig.memory, rig.inputs, rig.outputs)
        act(rig)
        for step in range(world.steps_per_tick):
            if step > 0 and rig.due_soon == 1:
                run_script(rig, False)
            advance_one(world, step)
            _note(world, history, n)
            n += 1
        close_tick(world)
        rig.ticks += 1
        watch(rig)
    return n


def fly_scenario(scenario: Scenario, seed: int | None = None) -> list[Bench]:
    """Fly a scenario at count level; the history of every leg, in order.

    Parameters
    ----------
    scenario
        A checked scenario.
    seed
        Of the flight; None: the scenario's own.

    Raises
    ------
    InputError
        If the machine cannot be integrated as asked.

    Notes
    -----
    The controller heard the pulses of the count level: what the detectors make of the wires does not act back.
    """
    rig = build_rig(scenario, seed)
    world = rig["world"]
    steps = int(rig["end_us"][0]) // int(world["sub_step_us"][0]) + int(world["steps_per_tick"][0]) + 1
    history: NDArray[np.void] = np.zeros((int(world["n_legs"][0]), steps + 1), HISTORY)
    flown = _fly_noted(records(rig), records(history))
    return [Bench(world, history[q, : flown + 1], (), q) for q in range(len(history))]
