"""Machines for the tests of the plant: parameter sets A (worktop) and B (roof) as records, and small compiled drivers.

A machine is an array of shape (1,) of ``plant.records.world_dtype()``: parameters are set in the record, ``ready`` derives
the rest, ``order`` gives a bridge its next command, ``run`` advances by ticks.
"""

from __future__ import annotations

import math
import os
from typing import Any

import numpy as np
from numpy.typing import NDArray

from plant.advance import advance_one, close_tick
from plant.bridge import BRAKE, COAST, DRIVE
from plant.contacts import face_contact, place_contact, remove_contact
from plant.kernel import kernel
from plant.records import world_dtype
from plant.setup import prepare, refresh_load
from plant.step import sub_step

__all__ = [
    "BRAKE",
    "COAST",
    "DRIVE",
    "FREE",
    "GRAVITY",
    "World",
    "clear_away",
    "energy_balance",
    "free_of_load",
    "lean",
    "leg_of",
    "obstruct",
    "order",
    "ready",
    "reload",
    "rest",
    "run",
    "set_a",
    "set_b",
    "step",
    "view",
    "watch",
]

World = NDArray[np.void]
GRAVITY = 9.81
FREE = 1e9
"""A limit [A] or force that is never reached."""

MOTOR_A = {
    "resistance": 0.9,
    "inductance": 1e-3,
    "torque_constant": 0.055,
    "brush_drop": 0.9,
    "brush_current": 0.3,
    "inertia": 4.5e-5,
    "coulomb": 0.03,
    "viscous": 4e-5,
    "commutations": 12,
}
SPINDLE_A = {
    "ratio": 6.5,
    "efficiency": 0.82,
    "back_efficiency": 0.82,
    "lead": 4e-3,
    "mean_radius": 6e-3,
    "friction": 0.13,
    "static_friction": 0.17,
    "inertia": 1.5e-5,
}
MOTOR_B = {
    "resistance": 0.8,
    "inductance": 0.5e-3,
    "torque_constant": 0.0205,
    "brush_drop": 0.8,
    "brush_current": 0.2,
    "inertia": 7e-6,
    "coulomb": 0.008,
    "viscous": 4e-6,
    "commutations": 10,
}
SPINDLE_B = {
    "ratio": 11.25,
    "efficiency": 0.75,
    "back_efficiency": 0.75,
    "lead": 3e-3,
    "mean_radius": 4.25e-3,
    "friction": 0.13,
    "static_friction": 0.17,
    "inertia": 2e-6,
}
PLACES_A = ((-0.6, 0.0), (0.6, 0.0))
PLACES_B = ((-0.6, -0.4), (0.6, -0.4), (0.6, 0.4), (-0.6, 0.4))


def _machine(motor: dict[str, float], spindle: dict[str, float], places: tuple[tuple[float, float], ...], step_us: int) -> World:
    world = np.zeros(1, world_dtype())
    machine = world[0]
    machine["n_legs"] = len(places)
    for q, (x, y) in enumerate(places):
        leg = machine["legs"][q]
        leg["x"], leg["y"], leg["key"] = x, y, 1000 + 7 * q
        for field, value in {**motor, "static_ratio": 1.0, "winding": 20.0, "case": 20.0, "ambient": 20.0}.items():
            leg["motor"][field] = value
        for field, value in {**spindle, "flank_cosine": math.cos(math.radians(15.0)), "captive": 1}.items():
            leg["spindle"][field] = value
        for field, value in {"diode_drop": 0.7, "synchronous": 1, "current_limit": FREE, "next_limit": FREE}.items():
            leg["bridge"][field] = value
        for field, value in {"stop_low": -1.0, "stop_high": 2.0, "stop_stiffness": 1e6}.items():
            leg[field] = value
    machine["supply"]["current_limit"] = FREE
    machine["supply"]["back_feed"] = 1
    machine["sub_step"], machine["sub_step_us"], machine["steps_per_tick"] = step_us * 1e-6, step_us, 10_000 // step_us
    machine["ideal_sensing"] = 1
    return world


def set_a(payload: float = 60.0, n_legs: int = 1) -> World:
    """Set A, 24 V worktop drive: one or two legs under ``payload`` [kg] in the middle, guide friction 40 N, step 100 us."""
    world = _machine(MOTOR_A, SPINDLE_A, PLACES_A[:n_legs] if n_legs > 1 else ((0.0, 0.0),), 100)
    world[0]["legs"]["guide_friction"][:n_legs] = 40.0
    world[0]["deck"]["payload"] = payload
    world[0]["supply"]["open_voltage"] = 24.0
    return world


def set_b(payload: float = 20.0, n_legs: int = 1) -> World:
    """Set B, 12 V roof drive: one or four legs under ``payload`` [kg] in the middle, guide friction 20 N, step 50 us."""
    world = _machine(MOTOR_B, SPINDLE_B, PLACES_B if n_legs > 1 else ((0.0, 0.0),), 50)
    world[0]["legs"]["guide_friction"][:n_legs] = 20.0
    world[0]["deck"]["payload"] = payload
    world[0]["supply"]["open_voltage"] = 12.0
    return world


def free_of_load(world: World) -> World:
    """Take away payload and guide friction: the no-load rows of the reference figures."""
    world[0]["deck"]["payload"] = 0.0
    world[0]["legs"]["guide_friction"] = 0.0
    return world


def view(world: World) -> Any:
    """The record as the kernels take it: without compiling, field access by attribute needs a recarray."""
    return world.view(np.recarray)[0] if os.environ.get("NUMBA_DISABLE_JIT") == "1" else world[0]


def leg_of(world: World, q: int = 0) -> Any:
    """Leg ``q`` of the machine."""
    return world[0]["legs"][q]


@kernel
def _prepare(machine: Any) -> None:
    prepare(machine)


@kernel
def _reload(machine: Any) -> None:
    refresh_load(machine)


@kernel
def _obstruct(machine: Any, values: Any) -> None:
    face_contact(machine, place_contact(machine, values[0], values[1]), values)


@kernel
def _touch(machine: Any, x: float, y: float) -> int:
    return place_contact(machine, x, y)


@kernel
def _clear(machine: Any, number: int) -> None:
    remove_contact(machine, number)


@kernel
def _step(machine: Any, span: float, time: float, number: int) -> None:
    for k in range(number):
        sub_step(machine, span, time + 1e6 * span * k)


@kernel
def _tick(machine: Any, ticks: int) -> None:
    for _ in range(ticks):
        for k in range(machine.steps_per_tick):
            advance_one(machine, k)
        close_tick(machine)


@kernel
def _rest(machine: Any, longest: int) -> int:
    for n in range(longest):
        turning = False
        for q in range(machine.n_legs):
            turning |= machine.legs[q].motor.speed != 0.0
        if not turning:
            return n
        advance_one(machine, 0)
    return longest


def ready(world: World) -> World:
    """Derive what follows from the parameters; the machine stands still at its travels."""
    _prepare(view(world))
    return world


def reload(world: World) -> None:
    """Take a changed payload into the shares of the legs."""
    _reload(view(world))


def obstruct(world: World, stiffness: float, gap: float, side: int = 1, at: tuple[float, float] = (0.0, 0.0)) -> Any:
    """An obstacle of ``stiffness`` [N/m] at ``gap`` [m] from the deck, above (1) or below (-1); returns its record."""
    machine = world[0]
    _obstruct(view(world), np.array([*at, gap, stiffness, side, 1.0]))
    machine["clock_force"], machine["late_after"], machine["last_after"] = 25.0, 0.75, 5.0
    return machine["contact"][int(machine["contacts"]) - 1]


def lean(world: World, force: float, at: tuple[float, float] = (0.0, 0.0)) -> Any:
    """Somebody leans on the deck with ``force`` [N]; returns the record."""
    machine = world[0]
    contact = machine["contact"][_touch(view(world), *at)]
    contact["push"] = force
    return contact


def clear_away(world: World, number: int) -> None:
    """Take obstacle or lean ``number`` (from 0) away."""
    _clear(view(world), number)


def order(world: World, mode: int, duty: float = 0.0, limit: float = FREE, legs: tuple[int, ...] | None = None) -> None:
    """Next command of the bridges (of all legs, or of ``legs``); it comes into force with the next tick."""
    for q in range(int(world[0]["n_legs"])) if legs is None else legs:
        bridge = world[0]["legs"][q]["bridge"]
        bridge["next_mode"], bridge["next_duty"], bridge["next_limit"] = mode, duty, limit


def run(world: World, seconds: float) -> World:
    """Advance by whole ticks."""
    span = float(world[0]["sub_step"]) * int(world[0]["steps_per_tick"])
    _tick(view(world), round(seconds / span))
    return world


def step(world: World, span: float, number: int = 1) -> None:
    """Sub-steps of any ``span`` [s] alone, with the command in force: no tick, no heating."""
    _step(view(world), span, float(world[0]["time_us"]), number)


def rest(world: World, longest: float = 3.0) -> float:
    """Advance by sub-steps, the pending command in force, until every rotor stands; the time that took [s]."""
    span = float(world[0]["sub_step"])
    return _rest(view(world), round(longest / span)) * span


def watch(world: World, seconds: float) -> tuple[NDArray[np.float64], list[NDArray[np.float64]]]:
    """Advance by whole ticks; the travels after every tick (ticks, legs) [m] and each leg's pulses [us]."""
    machine = world[0]
    n = int(machine["n_legs"])
    ticks = round(seconds / (float(machine["sub_step"]) * int(machine["steps_per_tick"])))
    travels = np.zeros((ticks, n))
    heard: list[list[float]] = [[] for _ in range(n)]
    for k in range(ticks):
        _tick(view(world), 1)
        travels[k] = machine["legs"]["travel"][:n]
        for q in range(n):
            detector = machine["legs"][q]["detector"]
            assert detector["lost"] == 0
            heard[q] += detector["pulse_us"][: int(detector["waiting"])].tolist()
            detector["waiting"] = 0
    return travels, [np.array(pulses) for pulses in heard]


def _stored(world: World) -> float:
    """Energy in motion, inductances, capacitor, end stops, obstacles and the deck's elasticity [J]."""
    machine = world[0]
    supply, deck = machine["supply"], machine["deck"]
    legs = machine["legs"][: int(machine["n_legs"])]
    total = 0.5 * float(supply["capacitance"] * supply["voltage"] ** 2)
    for leg in legs:
        motor = leg["motor"]
        total += 0.5 * float(motor["inductance"] * motor["current"] ** 2 + motor["speed"] ** 2 / leg["inverse_inertia"])
        depth = max(leg["stop_low"] - leg["travel"], leg["travel"] - leg["stop_high"], 0.0)
        debris = float(leg["debris_low"] if leg["travel"] < leg["stop_low"] else leg["debris_high"])
        total += 0.5 * float(leg["stop_stiffness"]) * max(depth - debris, 0.0) ** 2
        total += 0.5 * float(leg["debris_stiffness"]) * depth**2 if debris > 0.0 else 0.0
    # a deck that has left a nut is still up there, and it is the deck that racks and warps
    z = np.where(legs["lifted"] == 1, legs["height"], legs["travel"])
    total += float(np.sum(legs["share"] * (z - legs["travel"])))
    plane = legs["basis"].T @ z
    for contact in machine["contact"][: int(machine["contacts"])]:
        if contact["active"]:
            depth = float(contact["basis"] @ plane - contact["face"])
            total += float(contact["push"]) * depth + 0.5 * float(contact["stiffness"]) * max(depth * float(contact["side"]), 0.0) ** 2
    tilt_x, tilt_y = legs["slope_x"] @ z, legs["slope_y"] @ z
    total += 0.5 * float(deck["tilt_stiffness_x"] * tilt_x**2 + deck["tilt_stiffness_y"] * tilt_y**2)
    return total + 0.5 * float(deck["warp_stiffness"] * (z @ z - plane @ plane))


def energy_balance(world: World) -> tuple[float, dict[str, float], float]:
    """Energy given by the source [J], what became of it by name [J], and what is stored now [J]."""
    machine = world[0]
    spent = dict.fromkeys(machine["legs"][0]["energy"].dtype.names, 0.0)
    for leg in machine["legs"][: int(machine["n_legs"])]:
        for name in spent:
            spent[name] += float(leg["energy"][name])
    spent["taken"] = float(machine["taken"])
    spent["source"] = float(machine["supply"]["energy_heat"])
    return float(machine["supply"]["energy_in"]), spent, _stored(world)
