"""Advance the machine by one tick: outputs act after the compute delay, the converter samples before the tick ends."""

from __future__ import annotations

from typing import Any

from plant.bridge import DRIVE, command
from plant.bridge_faults import obeyed
from plant.counting import switch_edge
from plant.deck import observe
from plant.heat import warm
from plant.kernel import kernel
from plant.mechanics import stop_force
from plant.mishaps import refresh_guide, turn_by_hand, walk_load
from plant.sensing import follow, sample_all
from plant.step import sub_step
from plant.touch import feel
from plant.trouble import pollute

__all__ = ["act_on", "advance_one", "close_tick"]


@kernel
def act_on(world: Any, leg: Any, mode: int, duty: float, limit: float) -> None:
    """Put a bridge command into force now, with what the switching edge does to the counting."""
    before = leg.bridge.mode
    if leg.bridge.trouble.active == 1:
        mode, duty, limit = obeyed(leg.bridge, mode, duty, limit)
    now = float(world.time_us)
    command(leg, mode, duty, limit, now)
    if before == DRIVE and mode != DRIVE:
        leg.bridge.off_us = now
        leg.bridge.off_travel = leg.travel
        leg.bridge.off_commuted = leg.motor.commuted
    if (before == DRIVE) != (mode == DRIVE):
        switch_edge(world, leg, mode == DRIVE, now)


@kernel
def advance_one(world: Any, step: int) -> None:
    """Advance by sub-step number ``step`` of the tick (from 0): command due, integration, filters, samples due."""
    if step == world.delay_steps:
        for q in range(world.n_legs):
            leg = world.legs[q]
            act_on(world, leg, leg.bridge.next_mode, leg.bridge.next_duty, leg.bridge.next_limit)
    sub_step(world, world.sub_step, float(world.time_us))
    world.time_us += world.sub_step_us
    if world.outside > 0:
        turn_by_hand(world)
        feel(world)
    if world.ideal_sensing == 0:
        for q in range(world.n_legs):
            follow(world.legs[q].current_sensor, world.legs[q].motor.current)
        follow(world.supply_sensor, world.supply.voltage)
    if step == world.steps_per_tick - 1 - world.sample_steps:
        sample_all(world)


@kernel
def close_tick(world: Any) -> None:
    """Warm the motors by the tick's copper and brush heat, observe the deck, check that every state is a number."""
    span = world.sub_step * world.steps_per_tick
    for q in range(world.n_legs):
        leg = world.legs[q]
        heat = leg.energy.copper + leg.energy.brush
        warm(leg.motor, heat - leg.heat_before, span)
        if leg.motor.winding > leg.motor.hottest:
            leg.motor.hottest = leg.motor.winding
            leg.motor.hottest_us = world.time_us
        leg.heat_before = heat
        if leg.bind_force != 0.0:
            refresh_guide(leg)
        push = abs(stop_force(leg, leg.travel))
        if push > leg.stop_peak:
            leg.stop_peak = push
            leg.stop_peak_us = float(world.time_us)
        total = leg.motor.current + leg.motor.speed + leg.travel + world.supply.voltage
        if total - total != 0.0:
            world.diverged = q + 1
    if world.troubled == 1:
        pollute(world)
    if world.deck.walk_ticks > 0:
        walk_load(world)
    observe(world)
