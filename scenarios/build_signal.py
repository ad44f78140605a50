"""Fills the records of the signal level from a lift file and a machine: the only place where its units become SI."""

from __future__ import annotations

from math import pi, sqrt
from typing import Any

import numpy as np
from numpy.typing import NDArray

from plant.signal.front_end import share_of
from plant.signal.records import COMPARATOR, FRONT, LINE, SHAPE
from scenarios.files.leg import Leg
from scenarios.files.signal import Commutator, RippleDetector, SpikeDetector, Wires

__all__ = ["build_line", "build_ripple", "build_shape", "build_spikes", "cable_shares", "ring_frequency"]

US, MS = 1e-6, 1e-3
CANDIDATE_NOISES = 4.0
"""Least threshold of a candidate of the shape check over the noise at it, rms."""
REST_S = 0.05
"""A longer gap between two pulses is a rest."""


def cable_shares(wires: Wires) -> tuple[float, float]:
    """Share of a spike that is left at the sensing point, driven and coasting.

    Driven, the bulk capacitor of the bridge is a short to a spike: what is left is the share of the inductance between
    sensing point and capacitor in the whole loop (cable, chokes, that inductance).  Coasting, the bridge is open and the
    cable loads the motor with its capacitance.  Chokes stand between motor and cable in both.

    Source: voltage divider of impedances, domain practice "sense before the bulk capacitor or across series inductance".
    Neglects: reflections (30 m are 0.15 us one way), losses of the cable.
    """
    if wires.sense_at == "motor":
        return 1.0, 1.0
    series = (wires.box_inductance_uh if wires.sense_at == "box" else wires.controller_inductance_uh) * 1e-6
    cable = wires.cable_m * wires.inductance_uh_per_m * 1e-6 + wires.choke_uh * 1e-6
    load = wires.cable_m * wires.capacitance_pf_per_m * 1e-12
    own = wires.motor_capacitance_pf * 1e-12 + wires.capacitor_nf * 1e-9
    return series / (series + cable), own / (own + load)


def ring_frequency(wires: Wires, bare: float) -> float:
    """Ringing [Hz] at the motor with its cable and suppression parts.

    Without a capacitor the bare ringing, lowered by the capacitance of the cable: f sqrt(Cm/(Cm + Cc)).  With one the
    capacitor against the inductance of cable and chokes: 1/(2 pi sqrt(L C)), 356 kHz for 100 nF and 2 uH.  Never above the
    bare ringing raised tenfold.
    """
    load = wires.cable_m * wires.capacitance_pf_per_m * 1e-12
    if wires.capacitor_nf == 0.0:
        own = wires.motor_capacitance_pf * 1e-12
        return bare * sqrt(own / (own + load))
    loop = wires.cable_m * wires.inductance_uh_per_m * 1e-6 + wires.choke_uh * 1e-6
    return 1.0 / (2.0 * pi * sqrt(loop * (wires.capacitor_nf * 1e-9 + load)))


def _fill_spark(spark: Any, commutator: Commutator, temperature: float) -> None:
    for name in (
        "under_commutation",
        "off_neutral",
        "spread",
        "segment_spread",
        "weak_factor",
        "jitter",
        "double",
        "cluster",
        "bounce_gain",
        "polarity_driven",
        "polarity_coasting",
        "wire_share",
    ):
        spark[name] = getattr(commutator, name)
    spark["amplitude"] = commutator.amplitude_v
    spark["current_scale"] = commutator.current_scale_a
    spark["driven"] = commutator.driven_share
    spark["coasting"] = commutator.coasting_share
    spark["coil_resistance"] = commutator.coil_resistance_ohm
    spark["arc_voltage"] = commutator.arc_v
    spark["base_width"] = commutator.base_width_us * US
    spark["rise"] = commutator.rise_us * US
    spark["ring"] = commutator.ring_khz * 1e3
    spark["quality"] = commutator.ring_quality
    spark["weak_segment"] = -1 if commutator.weak_segment is None else commutator.weak_segment - 1
    spark["double_low"], spark["double_high"] = commutator.double_low_us * US, commutator.double_high_us * US
    spark["bounce_rate"] = commutator.bounce_per_s
    spark["bounce_low"], spark["bounce_high"] = commutator.bounce_low_us * US, commutator.bounce_high_us * US
    spark["brush_width"] = commutator.brush_segments
    spark["make"] = commutator.make_share
    spark["remake"] = commutator.remake_share
    spark["remake_delay"] = commutator.remake_delay_us * US
    spark["intensity"] = commutator.intensity * max(0.1, 1.0 + commutator.cold_share_per_k * (20.0 - temperature))


def _fill_wires(record: Any, wires: Wires, bare: float) -> None:
    record["driven"], record["coasting"] = cable_shares(wires)
    record["ring"] = ring_frequency(wires, bare)
    record["capacitance"] = wires.capacitor_nf * 1e-9
    record["noise"] = wires.noise_mv * MS
    record["current_noise"] = wires.current_noise_ma * MS
    record["mains"], record["mains_frequency"] = wires.mains_ripple_v, wires.mains_ripple_hz
    record["switcher"], record["switcher_frequency"] = wires.switching_ripple_mv * MS, wires.switching_ripple_khz * 1e3
    record["carrier"] = wires.carrier_khz * 1e3
    record["burst_rate"], record["burst"], record["burst_common"] = wires.bursts_per_s, wires.burst_v, wires.burst_common
    record["crosstalk"] = wires.crosstalk


def build_line(world: NDArray[np.void], q: int, leg: Leg, worn: bool, rate: float = 1e6) -> NDArray[np.void]:
    """Record of one motor with its wires.

    Parameters
    ----------
    world
        The machine, shape (1,), prepared: it gives what the plant knows of the motor.
    q
        Index of the leg in the machine.
    leg
        Its tables in the lift file.
    worn
        Whether the worn commutator sparks.
    rate
        Samples per second; a whole number of samples must fit into a sub-step.

    Returns
    -------
    numpy.ndarray
        Shape (1,) of ``LINE``, not yet prepared.
    """
    line = np.zeros(1, LINE)
    one, machine = line[0], world[0]
    motor, bridge, supply = machine["legs"][q]["motor"], machine["legs"][q]["bridge"], machine["supply"]
    commutator = leg.worn_commutator if worn else leg.commutator
    _fill_spark(one["spark"], commutator, float(motor["winding"]))
    _fill_wires(one["wires"], leg.wires, commutator.ring_khz * 1e3)
    one["resistance"], one["constant"] = motor["hot_resistance"], motor["hot_constant"]
    for name in ("inductance", "commutations", "pitch", "ripple_emf", "ripple_resistance", "brush_drop"):
        one[name] = motor[name]
    one["segments"] = leg.motor.segments
    one["bridge_resistance"] = bridge["resistance"]
    one["source_resistance"] = supply["resistance"]
    for name in ("diode_drop", "synchronous", "freewheel"):
        one[name] = bridge[name]
    one["pace_scale"] = max(float(supply["open_voltage"] - motor["brush_drop"]) / float(motor["hot_constant"]), 1.0)
    one["key"], one["seed"], one["run"] = machine["legs"][q]["key"], machine["seed"], machine["run"]
    one["step"], one["dt"] = machine["sub_step"], 1.0 / rate
    return line


def build_spikes(table: SpikeDetector, dt: float, gain: float, threshold: float) -> tuple[NDArray[np.void], NDArray[np.void]]:
    """Front end and comparator of the spike detector; ``threshold`` [V] is referred to the input, ``dt`` [s] a sample."""
    front, comparator = np.zeros(1, FRONT), np.zeros(1, COMPARATOR)
    one = front[0]
    for name, corner in (("damping", "damping_khz"), ("band", "difference_khz"), ("low", "lowpass_khz"), ("high", "coupling_khz")):
        one[name] = share_of(getattr(table, corner) * 1e3, dt)
    one["one_wire"] = table.one_wire
    one["rejection"] = 10.0 ** (-table.rejection_db / 20.0)
    one["gain"], one["swing"], one["rectify"] = gain, table.swing_v, table.rectify
    one["fed"] = table.fed_by_wires
    one["feed_rise"] = share_of(1.0 / (2.0 * pi * table.charge_ms * MS), dt)
    one["feed_fall"] = share_of(1.0 / (2.0 * pi * table.hold_up_ms * MS), dt)
    one["feed_least"], one["wake_samples"] = table.least_v, round(table.wake_ms * MS / dt)
    two = comparator[0]
    two["threshold"], two["hysteresis"], two["tracking"] = gain * threshold, table.hysteresis, table.tracking
    two["hold_decay"] = 1.0 - share_of(1.0 / (2.0 * pi * table.hold_ms * MS), dt)
    two["lockout"], two["adaptive"] = round(table.lockout_us * US / dt), table.adaptive_lockout
    two["rest"] = round(REST_S / dt)
    two["blank_carrier"] = round(table.blank_carrier_us * US / dt)
    two["blank_switch"] = round(table.blank_switch_us * US / dt)
    if table.clamped:
        # to the end of the blanking, no shorter: let go in the middle of a spike the coupling makes a step of what is left of it,
        # and a spike that outlasts the blanking of a carrier is heard by that
        one["clamp_carrier"] = two["blank_carrier"]
        one["clamp_switch"] = two["blank_switch"]
    two["delay_us"] = table.delay_us
    return front, comparator


def build_ripple(table: RippleDetector, dt: float) -> tuple[NDArray[np.void], NDArray[np.void]]:
    """Front end (second-order band-pass) and comparator of the ripple detector; its Schmitt trigger lies about zero."""
    front, comparator = np.zeros(1, FRONT), np.zeros(1, COMPARATOR)
    one = front[0]
    one["high"] = one["high_again"] = share_of(table.low_hz, dt)
    one["damping"] = one["low"] = share_of(table.high_hz, dt)
    one["band"] = 1.0
    one["gain"], one["current"] = 1.0, 1
    two = comparator[0]
    two["threshold"], two["hysteresis"] = 0.5e-3 * table.hysteresis_ma, 2.0
    two["least_current"] = table.gate_ma * 1e-3
    return front, comparator


def build_shape(leg: Leg, dt: float, gain: float, threshold: float, noise: float = 0.0) -> tuple[NDArray[np.void], NDArray[np.void]]:
    """Front end and record of the shape check: the chain of the spike detector without its rectifier, and what judges behind it.

    ``noise`` [V rms], referred to the input: the candidates' threshold is at least ``CANDIDATE_NOISES`` times it, or the check would
    have noise to judge all the time.
    """
    front, comparator = build_spikes(leg.spike_detector, dt, gain, threshold)
    front["rectify"] = 0
    shape = np.zeros(1, SHAPE)
    one, table = shape[0], leg.shape_check
    plain = comparator[0]["threshold"]
    one["threshold"] = min(plain, max(table.sensitive * plain, CANDIDATE_NOISES * gain * noise))
    one["hysteresis"] = min(leg.spike_detector.hysteresis, 0.9)
    one["plain_threshold"], one["lockout"] = comparator[0]["threshold"], comparator[0]["lockout"]
    one["every"] = max(1, round(table.value_us * US / dt))
    for name in ("likeness", "least_size", "least_period", "learning"):
        one[name] = getattr(table, name)
    one["commutations"] = leg.motor.commutations
    for name in ("rest", "blank_switch", "blank_carrier", "delay_us"):
        one[name] = comparator[0][name]
    one["polarity_driven"], one["polarity_coasting"] = leg.commutator.polarity_driven, leg.commutator.polarity_coasting
    return front, shape
