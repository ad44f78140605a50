"""Fills what the levelling law is told: gains, windows, the leg to follow, the common reference, the places of the legs."""

from __future__ import annotations

from math import atan, cos, pi, tan

import numpy as np
from numpy.typing import NDArray

from plant.closed_form.motor import Motor, steady_point
from scenarios.build_lift import thread_of
from scenarios.build_motor import motor_constants
from scenarios.files.leg import Leg
from scenarios.files.lift import Lift
from scenarios.files.settings import Settings

__all__ = ["fill_law", "nominal_speed", "plane_basis"]

GRAVITY = 9.81


def nominal_speed(leg: Leg, lift: Lift, duty: float) -> float:
    """Speed [m/s] at which a leg raises its even share of deck and rated payload at ``duty``, cold, supply unloaded.

    Source: steady point of the motor, u V = R i + K w + brush drop, against the thread's raising torque.
    """
    motor = motor_constants(leg.motor)
    diameter, lead, flank = thread_of(leg.spindle)
    mass = (lift.deck.mass_kg + lift.deck.rated_payload_kg) / len(lift.leg) + leg.guide.moving_mass_kg
    slope, friction = atan(lead / (pi * diameter)), atan(leg.spindle.friction / cos(flank))
    collar = leg.spindle.collar_friction * 0.5e-3 * leg.spindle.collar_diameter_mm
    raising = (mass * GRAVITY + leg.guide.friction_n) * (0.5 * diameter * tan(slope + friction) + collar)
    bare = Motor(
        resistance=motor.resistance + leg.bridge.resistance_mohm * 1e-3,
        torque_constant=motor.torque_constant,
        viscous=motor.viscous,
        coulomb=motor.coulomb,
        brush_drop=leg.motor.brush_drop_v,
        brush_current=leg.motor.brush_current_a,
    )
    point = steady_point(duty * lift.supply.open_voltage_v, raising / (leg.gear.ratio * leg.gear.efficiency), bare)
    return point.speed * lead / (2.0 * pi * leg.gear.ratio)


def plane_basis(x: NDArray[np.float64], y: NDArray[np.float64]) -> NDArray[np.float64]:
    """Orthonormal basis (legs, 3) of height and the two tilts over legs at ``x``, ``y`` [m]; legs in a line have one tilt, the rest is 0.

    Source: Gram-Schmidt on the columns 1, x, y.
    """
    columns = [np.ones_like(x), x - np.mean(x), y - np.mean(y)]
    basis = np.zeros((len(x), 3))
    reach = max(float(np.max(np.abs(columns[1]))), float(np.max(np.abs(columns[2]))), 1e-9)
    for k, column in enumerate(columns):
        rest = column - basis @ (basis.T @ column)
        length = float(np.sqrt(rest @ rest))
        if length > 1e-6 * (1.0 if k == 0 else reach):
            basis[:, k] = rest / length
    return basis


def _slowest(lift: Lift, duty: float) -> float:
    return min(nominal_speed(leg, lift, duty) for leg in lift.leg)


def fill_law(record: np.void, settings: Settings, lift: Lift) -> None:
    """Fill what the levelling law is told into the settings record; what the file leaves out follows from the lift file."""
    told, speed = settings.levelling, settings.speed
    record["gain"] = told.kc_per_mm * 1e3
    record["integral_gain"] = told.ki_per_mm_s * 1e3
    record["integral_limit"] = told.integral_limit
    record["gate_on"] = told.gate_on_counts
    record["gate_off"] = told.gate_off_counts
    record["leader"] = lift.names.index(told.leader) if told.leader is not None else 0
    record["warp_gain"] = (told.kc_per_mm if told.kc_warp_per_mm is None else told.kc_warp_per_mm) * 1e3
    record["warp_integral_gain"] = (told.ki_per_mm_s if told.ki_warp_per_mm_s is None else told.ki_warp_per_mm_s) * 1e3
    record["reference_window"] = told.reference_window_mm * 1e-3
    run, slow = told.reference_mm_s, told.reference_slow_mm_s
    common = told.law == "common-reference"  # nothing else needs a speed, and a lift that cannot lift may have any other law
    record["reference_speed"] = run * 1e-3 if run is not None else _slowest(lift, speed.base_duty) if common else 0.0
    record["reference_slow"] = slow * 1e-3 if slow is not None else _slowest(lift, speed.slow_duty) if common else 0.0
    places = [told.places_mm.get(leg.name, leg.at_mm) for leg in lift.leg]
    x, y = (np.array([place[axis] for place in places]) * 1e-3 for axis in (0, 1))
    record["legs"]["plane"][: len(places)] = plane_basis(x, y)
