"""Fills the records of the controller from a settings file, and derives the drive constants the file leaves out."""

from __future__ import annotations

from dataclasses import dataclass
from math import atan, cos, pi, tan
from typing import Any

import numpy as np

from scenarios.build_guards import fill_guards, fill_leg_guards
from scenarios.build_law import fill_law
from scenarios.build_lift import G_CM2, thread_of
from scenarios.build_motor import motor_constants
from scenarios.build_trust import fill_trust
from scenarios.files.leg import Leg
from scenarios.files.lift import Lift
from scenarios.files.settings import Drive, Settings
from sync.modes import Correction, Law

__all__ = ["LAWS", "ToldConstants", "fill_settings", "told_constants"]

GRAVITY = 9.81
LAWS = {
    "none": Law.NONE,
    "cross-coupling": Law.CROSS_COUPLING,
    "gating": Law.GATING,
    "follow": Law.FOLLOW,
    "common-reference": Law.COMMON_REFERENCE,
    "ring": Law.RING,
    "modal": Law.MODAL,
}
"""Law by its word in a file."""

CORRECTIONS = {"none": Correction.NONE, "plausibility": Correction.PLAUSIBILITY, "tracking": Correction.TRACKING}


@dataclass(frozen=True)
class ToldConstants:
    """What the firmware is told of one leg's drive, SI."""

    counts_per_metre: float
    counts_per_revolution: int
    torque_constant: float
    inertia: float
    viscous: float
    resistance: float
    brush_drop: float
    coulomb: float
    load_guess: float
    """Resisting torque before anything is learnt [N m]."""
    torque_per_newton: float
    """Motor torque per force at the nut, raising [N m/N]."""
    own_force: float
    """Force at the nut without payload, raising [N]."""
    derived: tuple[str, ...]
    """Names of those that the settings file leaves out and that were taken from the lift file."""


def _nominal(leg: Leg, lift: Lift) -> dict[str, float]:
    """Nominal drive constants of a leg, from the lift file.

    The load is the leg's even share of the deck and of half the rated payload; the load guess is the mean of the torques
    for raising and lowering it, plus the constant drag.
    """
    motor = motor_constants(leg.motor)
    diameter, lead, flank = thread_of(leg.spindle)
    per_radian = lead / (2.0 * pi * leg.gear.ratio)
    mass = (lift.deck.mass_kg + 0.5 * lift.deck.rated_payload_kg) / len(lift.leg) + leg.guide.moving_mass_kg
    inertia = (leg.motor.rotor_inertia_g_cm2 + leg.spindle.inertia_g_cm2 / leg.gear.ratio**2) * G_CM2 + mass * per_radian**2
    slope, friction = atan(lead / (pi * diameter)), atan(leg.spindle.friction / cos(flank))
    collar = leg.spindle.collar_friction * 0.5e-3 * leg.spindle.collar_diameter_mm
    rising_arm = 0.5 * diameter * tan(slope + friction) + collar
    own = lift.deck.mass_kg / len(lift.leg) + leg.guide.moving_mass_kg
    raising = (mass * GRAVITY + leg.guide.friction_n) * rising_arm
    lowering = (mass * GRAVITY - leg.guide.friction_n) * (0.5 * diameter * tan(friction - slope) + collar)
    return {
        "counts_per_metre": leg.motor.commutations * leg.gear.ratio / lead,
        "counts_per_revolution": leg.motor.commutations,
        "torque_constant": motor.torque_constant,
        "inertia": inertia,
        "viscous": motor.viscous,
        "resistance": motor.resistance + leg.bridge.resistance_mohm * 1e-3,
        "brush_drop": leg.motor.brush_drop_v,
        "coulomb": motor.coulomb,
        "torque_per_newton": rising_arm / (leg.gear.ratio * leg.gear.efficiency),
        "own_force": own * GRAVITY + leg.guide.friction_n,
        "load_guess": motor.coulomb + 0.5 * (raising + max(lowering, 0.0)) / (leg.gear.ratio * leg.gear.efficiency),
    }


def _given(drive: Drive) -> dict[str, float | None]:
    def scaled(value: float | None, factor: float) -> float | None:
        return None if value is None else value * factor

    return {
        "counts_per_metre": scaled(drive.counts_per_mm, 1e3),
        "counts_per_revolution": drive.counts_per_revolution,
        "torque_constant": scaled(drive.torque_constant_mn_m_per_a, 1e-3),
        "inertia": scaled(drive.inertia_g_cm2, G_CM2),
        "viscous": scaled(drive.viscous_drag_mn_m_s, 1e-3),
        "resistance": drive.resistance_ohm,
        "brush_drop": drive.brush_drop_v,
        "coulomb": scaled(drive.coulomb_drag_mn_m, 1e-3),
        "load_guess": scaled(drive.load_guess_mn_m, 1e-3),
    }


def told_constants(settings: Settings, lift: Lift) -> tuple[ToldConstants, ...]:
    """What the firmware is told of each leg's drive: the settings file first, else the nominal values of the lift file.

    Parameters
    ----------
    settings, lift
        The two files.

    Returns
    -------
    tuple of ToldConstants
        One per leg, SI.
    """
    told = []
    given = _given(settings.drive)
    for leg in lift.leg:
        nominal = _nominal(leg, lift)
        values: dict[str, Any] = {name: value if value is not None else nominal[name] for name, value in given.items()}
        told.append(ToldConstants(**{**nominal, **values}, derived=tuple(name for name, value in given.items() if value is None)))
    return tuple(told)


def fill_settings(record: np.void, settings: Settings, lift: Lift) -> None:
    """Fill the settings record of a controller, legs included."""
    record["law"] = LAWS[settings.levelling.law]
    record["n_legs"] = len(lift.leg)
    _fill_timing_and_speed(record, settings)
    fill_law(record, settings, lift)
    _fill_stopping(record, settings)
    _fill_guards(record, settings)
    fill_trust(record, settings, len(lift.leg))
    fill_guards(record, settings)
    for leg, leg_file, told in zip(record["legs"], lift.leg, told_constants(settings, lift), strict=False):
        counts_per_radian = told.counts_per_revolution / (2.0 * pi)
        leg["counts_per_metre"] = told.counts_per_metre
        leg["counts_per_revolution"] = told.counts_per_revolution
        leg["pull"] = told.torque_constant / told.inertia * counts_per_radian
        leg["drag_rate"] = told.viscous / told.inertia
        leg["resistance"] = told.resistance
        leg["emf"] = told.torque_constant / counts_per_radian
        leg["brush_drop"] = told.brush_drop
        leg["off_drop"] = 0.0 if leg_file.bridge.synchronous else leg_file.bridge.diode_drop_v
        leg["drag"] = told.coulomb / told.inertia * counts_per_radian
        leg["load_guess"] = told.load_guess / told.inertia * counts_per_radian
        leg["lift_pull"] = told.torque_per_newton / told.inertia * counts_per_radian
        leg["own_force"] = told.own_force
        fill_leg_guards(leg, leg_file, settings)
        leg["home_offset"] = settings.homing.offsets_mm.get(leg_file.name, 0.0) * 1e-3


def _fill_timing_and_speed(record: np.void, settings: Settings) -> None:
    timing, speed = settings.timing, settings.speed
    record["tick"] = timing.guard_tick_ms * 1e-3
    record["control_every"] = round(timing.tick_ms / timing.guard_tick_ms)
    record["compute_delay"] = timing.compute_delay_us * 1e-6
    record["base_duty"] = speed.base_duty
    record["slow_duty"] = speed.slow_duty
    record["slow_distance"] = speed.slow_down_mm * 1e-3
    record["slow_ramp"] = speed.slow_ramp_ms * 1e-3
    record["soft_start"] = speed.soft_start_ms * 1e-3
    record["current_limit"] = speed.current_limit_a


def _fill_stopping(record: np.void, settings: Settings) -> None:
    stopping, plausibility = settings.stopping, settings.plausibility
    record["brake_up"] = stopping.off_state_up == "brake"
    record["brake_down"] = stopping.off_state_down == "brake"
    record["predict"] = stopping.predict
    record["learn_gain"] = stopping.learn_gain
    record["coast_clamp"] = stopping.coast_clamp
    record["observer_rate"] = stopping.observer_rad_s
    record["quiet"] = stopping.quiet_ms * 1e-3
    record["correction"] = CORRECTIONS[plausibility.running]
    record["coast_end"] = plausibility.coast_end
    record["vote"] = plausibility.vote
    record["reject_below"] = plausibility.reject_below
    record["insert_from"] = plausibility.insert_from
    record["insert_to"] = plausibility.insert_to


def _fill_guards(record: np.void, settings: Settings) -> None:
    stall, guards, homing, travel = settings.stall, settings.guards, settings.homing, settings.travel
    record["stall_periods"] = stall.periods
    record["stall_least"] = stall.least_ms * 1e-3
    record["stall_current"] = stall.current_a
    record["stall_confirm"] = stall.confirm_ms * 1e-3
    record["stall_alone"] = stall.alone_ms * 1e-3
    record["start_grace"] = stall.start_grace_ms * 1e-3
    record["tilt_limit"] = guards.tilt_limit_mm * 1e-3
    record["move_timeout"] = guards.move_timeout_s
    record["homing_duty"] = homing.duty
    record["homing_current"] = homing.current_limit_a
    record["homing_stall_current"] = homing.stall_current_a
    record["homing_budget"] = homing.budget_mm * 1e-3
    record["homing_second_duty"] = 0.7 * homing.duty if homing.second_duty is None else homing.second_duty
    record["back_off"] = homing.back_off_mm * 1e-3
    record["debris"] = homing.debris_mm * 1e-3
    record["travel_low"] = travel.low_mm * 1e-3
    record["travel_high"] = travel.high_mm * 1e-3
