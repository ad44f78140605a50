"""Flying a rehearsal with a record of every sub-step of every leg, for the signal level."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from plant.advance import advance_one, close_tick
from plant.kernel import kernel
from plant.pulse_buffer import push_pulse
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

__all__ = ["advance_noted", "begin_notes", "fly_scenario", "give_pulse"]


@kernel
def _note(world: Any, history: Any, n: int) -> None:
    for q in range(world.n_legs):
        note_step(world.legs[q], world.supply.voltage, history[q, n], history[q, n + 1])


@kernel
def _begin(one: Any, history: Any) -> None:
    """Write the first row of the history."""
    world = one[0].world
    for q in range(world.n_legs):
        motor = world.legs[q].motor
        row = history[q, 0]
        row.speed, row.current, row.angle, row.supply = motor.speed, motor.current, motor.angle, world.supply.voltage


@kernel
def _advance_noted(one: Any, history: Any, n: int) -> int:
    """Act, fly the machine through one tick with a note after each sub-step from row ``n`` on, score it; the row reached."""
    rig = one[0]
    world = rig.world
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


@kernel
def _fly_noted(one: Any, history: Any) -> int:
    """Sense, tick, advance as both clocks do, noted; the sub-steps flown."""
    rig = one[0]
    _begin(one, history)
    n = 0
    while rig.finished == 0 and n + rig.world.steps_per_tick < history.shape[1]:
        sense(rig)
        if rig.tick_due == 1:
            tick(rig.settings, rig.memory, rig.inputs, rig.outputs)
        n = _advance_noted(one, history, n)
    return n


@kernel
def _give_pulse(one: Any, q: int, instant: float) -> None:
    """Hand a pulse of the wires to the controller's input of a leg."""
    detector = one[0].world.legs[q].detector
    detector.heard += 1
    push_pulse(detector, instant)


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


def begin_notes(rig: NDArray[np.void], history: NDArray[np.void]) -> None:
    """Write the first row of the ``history``, shape (legs, rows)."""
    _begin(records(rig), records(history))


def advance_noted(rig: NDArray[np.void], history: NDArray[np.void]) -> None:
    """Act and fly through one tick, its sub-steps written into ``history`` from the first row on."""
    _advance_noted(records(rig), records(history), 0)


def give_pulse(rig: NDArray[np.void], q: int, instant: float) -> None:
    """Hand a pulse at ``instant`` [us] to the controller's input of leg ``q``."""
    _give_pulse(records(rig), q, instant)
