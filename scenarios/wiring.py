"""The wires between machine and controller, and what both clocks call: sense, tick, advance, in this order.

Every kernel here takes the rig record; the ``*_arrays`` forms take arrays of shape (1,), which is how Python calls them.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from plant.advance import advance_one, close_tick
from plant.bridge import COAST, DRIVE
from plant.kernel import kernel
from plant.portable import cosine
from plant.pulse_buffer import take_pulses
from plant.setup import choose_sub_step
from plant.setup import prepare as prepare_world
from plant.stored import stored
from scenarios.clock import clock_now, draw_delay, stamp_pulses
from scenarios.errors import InputError
from scenarios.logic import power_logic, report_supply
from scenarios.rig import records
from scenarios.score import watch
from scenarios.script import run_script

__all__ = ["act", "advance", "advance_arrays", "prepare", "sense", "sense_arrays", "stored_energy"]


@kernel
def _take(rig: Any, q: int) -> None:
    """Pulses and current of leg ``q`` for the controller; its counting input may be wired to another leg."""
    world = rig.world
    seen = rig.inputs.legs[q]
    heard = rig.hears[q] if rig.swapped == 1 else q
    seen.pulses = take_pulses(world.legs[heard].detector, float(world.time_us), world.timer_us, seen.stamp_us)
    stamp_pulses(rig.clock, seen)
    seen.current = world.legs[q].current_sensor.reading
    seen.second = world.legs[heard].detector.second


@kernel
def _sleep(rig: Any) -> None:
    """The logic is without power: the bridges open, the pulses that come are not counted."""
    rig.tick_due = 0
    for q in range(rig.world.n_legs):
        _take(rig, q)
        rig.logic.deaf += rig.inputs.legs[q].pulses
        rig.inputs.legs[q].pulses = 0
        rig.outputs.legs[q].mode = COAST
        rig.outputs.legs[q].duty = 0.0


@kernel
def _is_called(rig: Any) -> bool:
    """Whether the controller is called in this tick: its logic has power, and the call is not left out."""
    logic, clock = rig.logic, rig.clock
    if logic.fail_below > 0.0:
        report_supply(rig)
    if logic.held == 1:
        power_logic(rig, rig.world.sub_step * rig.world.steps_per_tick)
        if logic.up == 0:
            _sleep(rig)
            return False
    if clock.jitter > 0:
        draw_delay(rig)
    if clock.skip > 0:
        clock.skip -= 1
        clock.skipped += 1
        rig.tick_due = 0
        return False
    return True


@kernel
def sense(rig: Any) -> None:
    """Fire the script rows due now and fill the controller's inputs from the measuring chain.

    ``tick_due`` says whether the controller is to be called; where it is not, its inputs and outputs stay as they are.
    """
    world = rig.world
    inputs = rig.inputs
    run_script(rig, True)
    rig.tick_due = 1
    if not _is_called(rig):
        return
    inputs.time_us = clock_now(rig.clock, world.time_us)
    inputs.supply = world.supply_sensor.reading
    inputs.power_good = rig.logic.good
    inputs.wake = rig.logic.wake
    rig.logic.wake = 0
    for q in range(world.n_legs):
        _take(rig, q)


@kernel
def _excite(rig: Any, q: int, duty: float) -> float:
    """Duty of leg ``q`` with the probe's sine on it, which like the levelling changes once a control tick."""
    probe = rig.probe
    if q == 0 and (rig.memory.calls - 1) % rig.settings.control_every == 0:
        since = rig.world.time_us - probe.from_us
        probe.share = cosine(probe.hz * since * 1e-6) if since >= 0.0 else 0.0
    total = duty + probe.share * probe.amplitude[q]
    way = 1.0 if duty >= 0.0 else -1.0
    if total * way < 0.0 or total * way > 1.0:
        probe.clipped += 1
        return 0.0 if total * way < 0.0 else way
    return total  # type: ignore[no-any-return]


@kernel
def act(rig: Any) -> None:
    """Hand the controller's outputs to the bridges, where they act after the compute delay; duty has PWM steps."""
    if rig.bypass == 1:
        return
    world = rig.world
    for q in range(world.n_legs):
        bridge = world.legs[q].bridge
        out = rig.outputs.legs[q]
        duty = out.duty
        if rig.probe.on == 1 and out.mode == DRIVE:
            duty = _excite(rig, q, duty)
        if world.pwm_quantum > 0.0:
            steps = int(duty / world.pwm_quantum + (0.5 if duty >= 0.0 else -0.5))
            duty = steps * world.pwm_quantum
        bridge.next_mode = out.mode
        bridge.next_duty = duty
        bridge.next_limit = out.limit


@kernel
def advance(rig: Any) -> None:
    """Act, fly the machine through one tick, and score it."""
    world = rig.world
    act(rig)
    for step in range(world.steps_per_tick):
        if step > 0 and rig.due_soon == 1:
            run_script(rig, False)
        advance_one(world, step)
    close_tick(world)
    rig.ticks += 1
    watch(rig)


@kernel
def sense_arrays(rig: Any) -> None:
    """``sense`` on an array of shape (1,)."""
    sense(rig[0])


@kernel
def advance_arrays(rig: Any) -> None:
    """``advance`` on an array of shape (1,)."""
    advance(rig[0])


@kernel
def _prepare_world(world: Any) -> None:
    prepare_world(world[0])


def prepare(rig: NDArray[np.void]) -> None:
    """Choose the sub-step and derive everything that follows from parameters and start, in place.

    Raises
    ------
    InputError
        If the sub-step asked for is too coarse, or no sub-step is fine enough, or the compute delay leaves the tick.
    """
    world = rig["world"][0]
    settings = rig["settings"][0]
    tick_us = round(float(settings["tick"]) * 1e6)
    try:
        best = choose_sub_step(world, tick_us)
    except ValueError as error:
        raise InputError([f"motor and supply: {error}"]) from error
    asked = round(float(world["sub_step"]) * 1e6)
    if asked and (asked > best or tick_us % asked):
        told = f"must divide the guard tick of {tick_us} us and be at most {best}; leave it out to get that"
        raise InputError([f"sub_step_us = {asked}: {told}"])
    step = asked or best
    world["sub_step_us"] = step
    world["sub_step"] = step * 1e-6
    world["steps_per_tick"] = tick_us // step
    delay = round(float(settings["compute_delay"]) * 1e6)
    if delay >= tick_us:
        raise InputError([f"settings.timing.compute_delay_us = {delay}: must be below the guard tick of {tick_us} us"])
    world["delay_steps"] = -(-delay // step)
    settings["compute_delay"] = int(world["delay_steps"]) * step * 1e-6
    world["sample_steps"] = min(-(-int(world["sample_steps"]) // step), tick_us // step - 1)
    for leg in world["legs"][: int(world["n_legs"])]:
        leg["bridge"]["limit"] = leg["bridge"]["next_limit"] = leg["bridge"]["current_limit"]
        leg["current_sensor"]["filtered"] = leg["current_sensor"]["reading"] = leg["current_sensor"]["offset"]
    _prepare_world(records(rig["world"]))
    sensor = world["supply_sensor"]
    sensor["filtered"] = sensor["reading"] = world["supply"]["voltage"] * sensor["gain"] + sensor["offset"]
    logic = rig["logic"][0]
    logic["voltage"] = logic["lowest"] = max(float(world["supply"]["voltage"]) - float(logic["drop"]), 0.0)
    logic["up"] = logic["good"] = 1
    memory = rig["memory"][0]
    rig["mode_before"] = rig["conduct"]["mode_before"] = memory["mode"]
    rig["stored_start"] = _stored(records(rig["world"]))


@kernel
def _stored(world: Any) -> float:
    return stored(world[0])


def stored_energy(rig: NDArray[np.void]) -> float:
    """Energy stored now less that stored at the start [J]."""
    return float(_stored(records(rig["world"]))) - float(rig["stored_start"][0])
