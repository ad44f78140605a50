"""Fills the records of a machine from a lift file: the only place where its units become SI."""

from __future__ import annotations

from hashlib import blake2b
from math import cos, pi, radians, sqrt
from typing import Any

import numpy as np
from numpy.typing import NDArray

from plant.records import CAPACITY, world_dtype
from plant.threads import FLANK_ANGLE, trapezoidal_thread
from scenarios.build_motor import RPM, motor_constants
from scenarios.files.leg import CurrentSensor, Detector, Leg, Spindle
from scenarios.files.lift import Deck, Lift, Sensing, Supply
from scenarios.files.motor import Motor, Thermal
from scenarios.files.rates import Rates

__all__ = ["G_CM2", "build_world", "filter_shares", "leg_key", "pitch_pattern", "thread_of"]

G_CM2 = 1e-7
"""kg m2 per g cm2."""
NO_LIMIT = 1e9
"""A; stands for a supply without a current limit."""
GOLDEN = 0.5 * (sqrt(5.0) - 1.0)

DETECTOR_KINDS = {"spikes": 0, "ripple": 1, "hall": 2, "both": 3}


def leg_key(name: str) -> int:
    """Key of a leg for the random draws, from its name alone: renumbering the legs changes no draw."""
    return int.from_bytes(blake2b(name.encode(), digest_size=8).digest(), "little")


def pitch_pattern(commutations: int, rms: float) -> NDArray[np.float64]:
    """Offsets of the commutations of one revolution.

    Multiples of the golden section, folded into one and freed of their mean: uneven without a random draw, and the same
    for every motor with as many commutations.

    Parameters
    ----------
    commutations
        Per revolution.
    rms
        Root mean square of the offsets [share of a pitch].

    Returns
    -------
    numpy.ndarray
        Shape (commutations,) [share of a pitch], mean zero.
    """
    pattern = np.array([(n * GOLDEN) % 1.0 for n in range(1, commutations + 1)])
    pattern -= np.sum(pattern) / commutations
    size = sqrt(float(np.sum(pattern * pattern)) / commutations)
    return np.asarray(pattern * (rms / size), dtype=np.float64)


def thread_of(spindle: Spindle) -> tuple[float, float, float]:
    """Pitch diameter [m], lead [m] and half flank angle [rad] of a spindle."""
    if spindle.thread is not None:
        thread = trapezoidal_thread(spindle.thread)
        return thread.pitch_diameter, thread.lead, FLANK_ANGLE
    assert spindle.pitch_diameter_mm is not None
    assert spindle.lead_mm is not None
    return spindle.pitch_diameter_mm * 1e-3, spindle.lead_mm * 1e-3, radians(spindle.flank_deg)


def build_world(lift: Lift) -> NDArray[np.void]:
    """Record of the machine with every parameter, all legs at height zero, no payload, 20 C.

    Parameters
    ----------
    lift
        The lift file.

    Returns
    -------
    numpy.ndarray
        Shape (1,) of ``plant.records.world_dtype()``.  What follows from the parameters (inertias, factor of the deck,
        sub-step, pitch places) is not filled yet; ``sample_steps`` holds the sampling lead in us.
    """
    world = np.zeros(1, dtype=world_dtype())
    one = world[0]
    one["n_legs"] = len(lift.leg)
    for record, leg in zip(one["legs"], lift.leg, strict=False):
        _fill_leg(record, leg)
    assert len(lift.leg) <= CAPACITY
    _fill_deck(one["deck"], lift.deck)
    _fill_supply(one["supply"], lift.supply)
    _fill_sensing(one, lift.sensing)
    return world


def filter_shares(world: NDArray[np.void], lift: Lift) -> None:
    """Turn the time constants of the sensor filters into shares per sub-step, once the sub-step is known.

    The share 1 - 1/(1 + h/tau) is that of the implicit first-order low-pass, which stays stable for any h.
    """
    one = world[0]
    step = float(one["sub_step"])
    one["supply_sensor"]["filter_share"] = _share(step, lift.sensing.supply_filter_us * 1e-6)
    for record, leg in zip(one["legs"], lift.leg, strict=False):
        record["current_sensor"]["filter_share"] = _share(step, leg.current_sensor.filter_us * 1e-6)


def _share(step: float, time_constant: float) -> float:
    return step / (step + time_constant)


def _fill_leg(record: Any, leg: Leg) -> None:
    _fill_motor(record["motor"], leg.motor)
    _fill_thermal(record["motor"], leg.thermal)
    bridge = record["bridge"]
    bridge["resistance"] = leg.bridge.resistance_mohm * 1e-3
    bridge["diode_drop"] = leg.bridge.diode_drop_v
    bridge["synchronous"] = leg.bridge.synchronous
    bridge["freewheel"] = leg.bridge.freewheel
    bridge["current_limit"] = leg.bridge.current_limit_a
    bridge["limit"] = leg.bridge.current_limit_a
    bridge["next_limit"] = leg.bridge.current_limit_a
    _fill_spindle(record["spindle"], leg)
    _fill_detector(record["detector"], leg.detector)
    _fill_current_sensor(record["current_sensor"], leg.current_sensor)
    record["x"], record["y"] = (place * 1e-3 for place in leg.at_mm)
    record["key"] = leg_key(leg.name)
    record["moving_mass"] = leg.guide.moving_mass_kg
    record["guide_friction"] = leg.guide.friction_n
    record["guide_coefficient"] = leg.guide.tilt_coefficient
    record["guide_overlap"] = leg.guide.overlap_mm * 1e-3
    record["guide_overlap_loss"] = leg.guide.overlap_loss
    record["axial_stiffness"] = leg.spindle.axial_stiffness_n_per_mm * 1e3
    record["stop_low"] = leg.stops.low_mm * 1e-3
    record["stop_high"] = leg.stops.high_mm * 1e-3
    record["stop_stiffness"] = leg.stops.stiffness_n_per_mm * 1e3


def _fill_motor(record: Any, motor: Motor) -> None:
    constants = motor_constants(motor)
    record["resistance"] = constants.resistance
    record["inductance"] = motor.inductance_mh * 1e-3
    record["torque_constant"] = constants.torque_constant
    record["brush_drop"] = motor.brush_drop_v
    record["brush_current"] = motor.brush_current_a
    record["inertia"] = motor.rotor_inertia_g_cm2 * G_CM2
    record["coulomb"] = constants.coulomb
    record["viscous"] = constants.viscous
    record["static_ratio"] = motor.static_drag_ratio
    record["stribeck_speed"] = motor.stribeck_speed_rpm * RPM
    count = motor.commutations
    record["commutations"] = count
    record["ripple_emf"] = 1.0 - cos(0.5 * pi * motor.poles / count) if motor.ripple_emf is None else motor.ripple_emf
    record["ripple_resistance"] = 0.75 / motor.segments if motor.ripple_resistance is None else motor.ripple_resistance
    offsets = motor.pitch_offsets
    record["pitch"][:count] = pitch_pattern(count, motor.pitch_error) if offsets is None else offsets


def _fill_thermal(record: Any, thermal: Thermal) -> None:
    record["copper_coefficient"] = thermal.copper_coefficient_per_k
    record["magnet_coefficient"] = thermal.magnet_coefficient_per_k
    record["winding_capacity"] = thermal.winding_capacity_j_per_k
    record["case_capacity"] = thermal.case_capacity_j_per_k
    record["winding_to_case"] = thermal.winding_to_case_k_per_w
    record["case_to_air"] = thermal.case_to_air_k_per_w
    record["ambient"] = record["winding"] = record["case"] = 20.0


def _fill_spindle(record: Any, leg: Leg) -> None:
    spindle, gear = leg.spindle, leg.gear
    diameter, lead, flank = thread_of(spindle)
    record["ratio"] = gear.ratio
    record["efficiency"] = gear.efficiency
    record["back_efficiency"] = gear.efficiency if gear.back_efficiency is None else gear.back_efficiency
    record["lead"] = lead
    record["mean_radius"] = 0.5 * diameter
    record["lead_tangent"] = lead / (pi * diameter)
    record["flank_cosine"] = cos(flank)
    record["friction"] = spindle.friction
    record["static_friction"] = spindle.static_friction
    record["stribeck_speed"] = spindle.stribeck_mm_s * 1e-3
    record["collar_friction"] = spindle.collar_friction
    record["collar_radius"] = 0.5e-3 * spindle.collar_diameter_mm
    record["inertia"] = spindle.inertia_g_cm2 * G_CM2
    record["gear_play"] = gear.play_deg / 360.0 * lead
    record["nut_play"] = spindle.nut_play_mm * 1e-3
    record["captive"] = spindle.captive_nut
    record["travel_per_radian"] = lead / (2.0 * pi * gear.ratio)


def _fill_detector(record: Any, detector: Detector) -> None:
    record["kind"] = DETECTOR_KINDS[detector.kind]
    for name in (
        "edge_false_on",
        "edge_false_off",
        "start_miss_mean",
        "start_miss_sd",
        "run_miss",
        "run_false",
        "run_double",
        "hall_slots",
    ):
        record[name] = getattr(detector, name)
    record["double_delay_low"] = detector.double_delay_low_us * 1e-6
    record["double_delay_high"] = detector.double_delay_high_us * 1e-6
    record["tail_speed"] = detector.tail_rpm * RPM
    record["flyback"] = detector.flyback_us * 1e-6
    record["quiet_current"] = detector.quiet_current_a
    if detector.rates is not None:
        _fill_rates(record, detector.rates)


def _fill_rates(record: Any, rates: Rates) -> None:
    """Rates by speed and current; every chance that they replace is none."""
    for name in ("start_miss_mean", "start_miss_sd", "run_miss", "run_false", "run_double", "tail_speed", "quiet_current"):
        record[name] = 0.0
    record["rated"] = 1
    record["rate_speed"] = [RPM * speed for speed in rates.speed_rpm]
    record["rate_current"] = rates.current_a
    record["flyback"] = rates.blanked_us * 1e-6
    record["edge_false_on"], record["edge_false_off"] = rates.false_on, rates.false_off
    bands = (rates.coasting, *rates.driven)
    for name, field in (("rate_miss", "missed"), ("rate_double", "doubled"), ("rate_false", "false")):
        record[name] = [rate for band in bands for rate in getattr(band, field)]


def _fill_current_sensor(record: Any, sensor: CurrentSensor) -> None:
    record["gain"] = 1.0 + sensor.gain_error
    record["offset"] = sensor.offset_ma * 1e-3
    record["noise"] = sensor.noise_ma * 1e-3
    record["full_scale"] = sensor.full_scale_a
    record["quantum"] = 2.0 * sensor.full_scale_a / 2**sensor.bits if sensor.bits else 0.0  # both signs


def _fill_deck(record: Any, deck: Deck) -> None:
    record["mass"] = deck.mass_kg
    record["centre_x"], record["centre_y"] = (place * 1e-3 for place in deck.centre_mm)
    record["tilt_stiffness_x"] = deck.tilt_stiffness_x_kn_m_per_rad * 1e3
    record["tilt_stiffness_y"] = deck.tilt_stiffness_y_kn_m_per_rad * 1e3
    record["warp_stiffness"] = deck.warp_stiffness_n_per_mm * 1e3


def _fill_supply(record: Any, supply: Supply) -> None:
    record["open_voltage"] = supply.open_voltage_v
    record["resistance"] = supply.resistance_ohm
    record["current_limit"] = NO_LIMIT if supply.current_limit_a is None else supply.current_limit_a
    record["capacitance"] = supply.capacitance_mf * 1e-3
    record["back_feed"] = supply.takes_returned_current
    record["voltage"] = supply.open_voltage_v
    record["lowest"] = supply.open_voltage_v


def _fill_sensing(world: Any, sensing: Sensing) -> None:
    sensor = world["supply_sensor"]
    sensor["gain"] = 1.0 + sensing.supply_gain_error
    sensor["offset"] = sensing.supply_offset_mv * 1e-3
    sensor["noise"] = sensing.supply_noise_mv * 1e-3
    sensor["full_scale"] = sensing.supply_full_scale_v
    sensor["quantum"] = sensing.supply_full_scale_v / 2**sensing.supply_bits if sensing.supply_bits else 0.0
    world["ideal_sensing"] = sensing.ideal
    world["timer_us"] = sensing.timer_us
    world["pwm_quantum"] = 0.5**sensing.pwm_bits if sensing.pwm_bits else 0.0
    world["sample_steps"] = round(sensing.sample_lead_us)
