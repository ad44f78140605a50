"""Flying the plant with a record of every sub-step: what the waveform is made from."""

from __future__ import annotations

from typing import Any

from plant.advance import act_on, close_tick
from plant.bridge import DRIVE
from plant.commutation import boundary, time_to_turn
from plant.kernel import kernel
from plant.setup import refresh_load
from plant.signal.sparks import place_of
from plant.step import sub_step

__all__ = ["fly_bench", "note_step", "true_instants"]


@kernel
def note_step(leg: Any, supply: float, before: Any, after: Any) -> None:
    """Write what a sub-step just flown did into the row of its start, and its end state into the next row.

    Parameters
    ----------
    leg : leg record
    supply : float
        Supply voltage at the end [V].
    before, after : HISTORY records
        The row of this sub-step, whose state was written by the one before, and the next.
    """
    before.mode = leg.bridge.mode
    before.duty = leg.scratch.share if leg.bridge.mode == DRIVE else 0.0
    before.sense = (1 if leg.bridge.duty >= 0.0 else -1) if leg.bridge.mode == DRIVE else 0
    after.speed = leg.motor.speed
    after.current = leg.motor.current
    after.angle = leg.motor.angle
    after.supply = supply
    after.mode = leg.bridge.mode
    after.duty = before.duty
    after.sense = before.sense


@kernel
def fly_bench(machine: Any, orders: Any, history: Any) -> None:
    """Fly a prepared machine through the ``orders`` and write the ``history`` of its first leg.

    Parameters
    ----------
    machine : array of shape (1,) of the world record
        All its legs get the same orders.
    orders : array of ORDER records
        By ascending step.
    history : array of HISTORY records
        One row more than there are sub-steps.
    """
    world = machine[0]
    leg = world.legs[0]
    history[0].speed = leg.motor.speed
    history[0].current = leg.motor.current
    history[0].angle = leg.motor.angle
    history[0].supply = world.supply.voltage
    due = 0
    for k in range(len(history) - 1):
        while due < len(orders) and orders[due].step <= k:
            order = orders[due]
            for q in range(world.n_legs):
                act_on(world, world.legs[q], order.mode, order.duty, world.legs[q].bridge.current_limit)
            world.deck.payload = order.payload
            refresh_load(world)
            due += 1
        sub_step(world, world.sub_step, float(world.time_us))
        world.time_us += world.sub_step_us
        note_step(leg, world.supply.voltage, history[k], history[k + 1])
        if (k + 1) % world.steps_per_tick == 0:
            close_tick(world)


@kernel
def true_instants(line: Any, history: Any, instants: Any) -> int:
    """Instants [us] at which the rotor passed a commutation, as the plant counts them; their number.

    More than fit into ``instants`` are counted, not written.
    """
    place = place_of(line, history[0].angle)
    n = 0
    for k in range(len(history) - 1):
        row, end = history[k], history[k + 1]
        now = 1e6 * line.step * k
        while True:
            if end.angle >= boundary(line, place + 1):
                ahead = boundary(line, place + 1)
                place += 1
            elif end.angle < boundary(line, place):
                ahead = boundary(line, place)
                place -= 1
            else:
                break
            if n < len(instants):
                instants[n] = now + 1e6 * time_to_turn(ahead - row.angle, row.speed, end.speed, line.step)
            n += 1
    return n
