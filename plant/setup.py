"""Derive what the kernels need from the parameters: once before a run, and again after a change of load or friction."""

from __future__ import annotations

import math
from typing import Any

from plant.commutation import place_edges, place_rotor
from plant.deck import factor, observe, share_load, spread
from plant.heat import refresh_motor
from plant.kernel import kernel
from plant.lift_off import release
from plant.spindle import STRIBECK_END, refresh_spindle
from plant.supply import refresh_supply

__all__ = ["SUB_STEPS_US", "choose_sub_step", "prepare", "refresh_load"]

SUB_STEPS_US = (100, 50, 25, 20, 10, 5)
_TURN = 6.283185307179586


@kernel
def refresh_load(world: Any) -> None:
    """Shares and inertias after a change of payload; the payload's inertia counts as seen through the spindle."""
    share_load(world)
    for q in range(world.n_legs):
        leg = world.legs[q]
        rx = leg.spindle.travel_per_radian
        turning = leg.spindle.inertia / (leg.spindle.ratio * leg.spindle.ratio)
        lifted = (leg.carried_mass + leg.moving_mass) * rx * rx
        leg.inverse_inertia = 1.0 / (leg.motor.inertia + turning + lifted)
        leg.free_inverse_inertia = 1.0 / leg.motor.inertia


@kernel
def _invert(motor: Any) -> None:
    """Inverses of the motor's parameters, and the speed from which its drag is the running value."""
    motor.inverse_inductance = 1.0 / motor.inductance
    motor.inverse_brush_current = 1.0 / motor.brush_current
    motor.stribeck_end = STRIBECK_END * motor.stribeck_speed


@kernel
def prepare(world: Any) -> None:
    """Derive geometry, inertias, factors, temperatures' effects and commutation neighbours from parameters and state."""
    for q in range(world.n_legs):
        leg = world.legs[q]
        spindle = leg.spindle
        spindle.travel_per_radian = spindle.lead / (_TURN * spindle.ratio)
        spindle.lead_tangent = spindle.lead / (_TURN * spindle.mean_radius)
        spindle.lead_sine = spindle.lead_tangent / math.sqrt(1.0 + spindle.lead_tangent * spindle.lead_tangent)
        refresh_spindle(leg)
        refresh_motor(leg.motor)
        leg.motor.hottest = leg.motor.winding
        _invert(leg.motor)
        leg.motor.angle = leg.travel / spindle.travel_per_radian
        place_rotor(leg.motor)
        place_edges(leg)
        leg.scratch.end_travel = leg.travel
        leg.stuck = 1
    factor(world)
    refresh_load(world)
    if spread(world):
        release(world)
    for q in range(world.n_legs):
        world.legs[q].deck_force = world.legs[q].scratch.deck_force
    refresh_supply(world.supply)
    world.supply.voltage = world.supply.open_voltage
    world.supply.lowest = world.supply.open_voltage
    observe(world)


def choose_sub_step(world: Any, tick_us: int) -> int:
    """Largest allowed sub-step [us] that divides the tick and is at most half of the fastest electrical time constant.

    The fastest are L over resistance plus brush slope, of each motor, and source resistance times capacitance.

    Raises
    ------
    ValueError
        If even the shortest sub-step is too coarse.
    """
    fastest = math.inf
    for leg in world["legs"][: int(world["n_legs"])]:
        motor, bridge = leg["motor"], leg["bridge"]
        slope = motor["brush_drop"] / motor["brush_current"]
        fastest = min(fastest, float(motor["inductance"] / (motor["resistance"] + bridge["resistance"] + slope)))
    supply = world["supply"]
    if supply["capacitance"] > 0.0 and supply["resistance"] > 0.0:
        fastest = min(fastest, float(supply["resistance"] * supply["capacitance"]))
    for step in SUB_STEPS_US:
        if tick_us % step == 0 and step <= 0.5e6 * fastest:
            return step
    raise ValueError(
        f"the fastest electrical time constant is {fastest * 1e6:.3g} us: it needs sub-steps below {SUB_STEPS_US[-1]} us. "
        "Raise the inductance, the brush current or the bulk capacitance, or set the capacitance to 0."
    )
