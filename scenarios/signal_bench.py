"""Bench moves of one leg, flown with a record of every sub-step: start, run, load step, coast; start, run, reversal, braking."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from plant.bridge import BRAKE, COAST, DRIVE
from plant.kernel import kernel
from plant.setup import choose_sub_step
from plant.setup import prepare as prepare_world
from plant.signal.history import fly_bench
from plant.signal.records import HISTORY, ORDER
from scenarios.build_lift import build_world
from scenarios.errors import InputError
from scenarios.files.lift import Lift
from scenarios.rig import records

__all__ = ["NEIGHBOUR", "RATED", "TICK_US", "Around", "Bench", "Order", "bench_move", "bench_turn", "bench_world", "fly", "ready"]

TICK_US = 1000
START_S, STEP_S, CUT_S = 0.02, 0.45, 0.75
"""The built-in bench move: power on, change of load, power cut; before it the motor rests, which shows the noise."""
COAST_S = 0.9
"""Watched after the cut; twice the longest coast of the shipped lifts."""
TURN_S, BACK_S, BRAKE_S, TURNED_S = 0.30, 0.31, 0.55, 0.75
"""The move with a reversal: power cut, power on the other way while the rotor still turns, both wires shorted, end."""


@dataclass(frozen=True)
class Order:
    """What holds from ``at`` [s] on: mode of the bridge (``plant.bridge``), duty, payload [kg] on the leg."""

    at: float
    mode: int
    duty: float
    payload: float


@dataclass(frozen=True)
class Bench:
    """A flown bench move.

    Attributes
    ----------
    world
        The machine after it, shape (1,).
    history
        State at every sub-step boundary, shape (sub-steps + 1,) of ``HISTORY``.
    orders
        What was ordered; empty for a rehearsal.
    place
        Index of the leg in the machine.
    """

    world: NDArray[np.void]
    history: NDArray[np.void]
    orders: tuple[Order, ...]
    place: int = 0

    @property
    def step(self) -> float:
        """Sub-step [s]."""
        return float(self.world["sub_step"][0])

    @property
    def load_steps(self) -> tuple[float, ...]:
        """Instants at which the payload changes [s]."""
        pairs = zip(self.orders[:-1], self.orders[1:], strict=True)
        return tuple(after.at for before, after in pairs if after.payload != before.payload)

    @property
    def span(self) -> float:
        """Length [s]."""
        return self.step * (len(self.history) - 1)


@dataclass(frozen=True)
class Around:
    """What a bench move is flown in.

    Attributes
    ----------
    temperature
        Of motor and air [deg C].
    load, supply
        Payload and supply voltage against their rated values.
    duty
        Of the bridge, without sign.
    late
        How much later than usual the power is cut [s].
    """

    temperature: float = 20.0
    load: float = 1.0
    supply: float = 1.0
    duty: float = 1.0
    late: float = 0.0


RATED = Around()
NEIGHBOUR = Around(load=1.25, late=0.6)
"""The motor beside: a little heavier loaded, so that its spikes are larger, and driven on while the one at hand coasts."""


def bench_move(lift: Lift, name: str, direction: int, around: Around = RATED) -> Bench:
    """The built-in move of one leg: start under full load, run, change to the light load, run, power cut, coast.

    Parameters
    ----------
    lift, name
        The lift and the leg.
    direction
        1 raising, -1 lowering.
    around
        What it is flown in.
    """
    leg = lift.leg[lift.names.index(name)]
    n = len(lift.leg)
    middle = 1e-3 * (leg.stops.low_mm + (0.35 if direction > 0 else 0.65) * (leg.stops.high_mm - leg.stops.low_mm))
    world = bench_world(lift, name, middle, lift.deck.mass_kg / n, around.temperature)
    world["supply"]["open_voltage"] *= around.supply
    full, light = (around.load * kg / n for kg in (lift.deck.rated_payload_kg, lift.deck.light_payload_kg))
    orders = (
        Order(0.0, COAST, 0.0, full),
        Order(START_S, DRIVE, direction * around.duty, full),
        Order(STEP_S, DRIVE, direction * around.duty, light),
        Order(CUT_S + around.late, COAST, 0.0, light),
    )
    return fly(ready(world), orders, CUT_S + COAST_S)


def bench_turn(lift: Lift, name: str, around: Around = RATED) -> Bench:
    """Down under full load, reversed 10 ms after a cut, without waiting for rest, and braked by shorting the wires.

    What a controller does that is in a hurry: here counts have no sign, and a shorted motor shows no sparks.  It stands
    beside :func:`bench_move`, whose figures an ordinary stop, by coasting, is judged by.  The full
    voltage turns the rotor round within ten
    commutations.
    """
    leg = lift.leg[lift.names.index(name)]
    n = len(lift.leg)
    middle = 0.5e-3 * (leg.stops.low_mm + leg.stops.high_mm)
    world = bench_world(lift, name, middle, lift.deck.mass_kg / n, around.temperature)
    world["supply"]["open_voltage"] *= around.supply
    full = around.load * lift.deck.rated_payload_kg / n
    orders = (
        Order(0.0, COAST, 0.0, full),
        Order(START_S, DRIVE, -around.duty, full),
        Order(TURN_S, COAST, 0.0, full),
        Order(BACK_S, DRIVE, around.duty, full),
        Order(BRAKE_S, BRAKE, 0.0, full),
    )
    return fly(ready(world), orders, TURNED_S)


@kernel
def _prepare(machine: Any) -> None:
    prepare_world(machine[0])


def bench_world(lift: Lift, name: str, height: float, share: float, temperature: float = 20.0) -> NDArray[np.void]:
    """Machine of one leg alone, with its own supply and its share of the deck.

    Parameters
    ----------
    lift, name
        The lift and the leg.
    height
        Of the leg at the start [m].
    share
        Of the deck that it carries [kg].
    temperature
        Of motor and air [deg C].

    Raises
    ------
    InputError
        If no sub-step is fine enough.
    """
    whole = build_world(lift)
    world = np.zeros(1, whole.dtype)
    one = world[0]
    one["n_legs"] = 1
    one["legs"][0] = whole["legs"][0][lift.names.index(name)]
    one["supply"] = whole["supply"][0]
    one["legs"][0]["x"] = one["legs"][0]["y"] = 0.0
    one["legs"][0]["detector"]["kind"] = 2
    one["deck"]["mass"] = share
    one["ideal_sensing"] = 1
    leg = one["legs"][0]
    leg["travel"] = leg["height"] = height
    motor = leg["motor"]
    motor["ambient"] = motor["winding"] = motor["case"] = temperature
    return ready(world)


def ready(world: NDArray[np.void]) -> NDArray[np.void]:
    """Choose the sub-step of a machine, derive what follows from its parameters; the same record."""
    one = world[0]
    try:
        step = choose_sub_step(one, TICK_US)
    except ValueError as error:
        raise InputError([f"motor and supply: {error}"]) from error
    one["sub_step"], one["sub_step_us"], one["steps_per_tick"] = step * 1e-6, step, TICK_US // step
    _prepare(records(world))
    return world


def fly(world: NDArray[np.void], orders: Sequence[Order], span: float) -> Bench:
    """Fly ``orders`` for ``span`` [s] on a copy of a ready machine."""
    world = world.copy()
    step = float(world["sub_step"][0])
    rows = np.zeros(len(orders), ORDER)
    for row, order in zip(rows, orders, strict=True):
        row["step"], row["mode"], row["duty"], row["payload"] = round(order.at / step), order.mode, order.duty, order.payload
    history = np.zeros(round(span / step) + 1, HISTORY)
    fly_bench(records(world), records(rows), records(history))
    return Bench(world, history, tuple(orders))
