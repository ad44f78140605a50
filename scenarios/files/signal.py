"""What the signal level needs to know of a leg: how its commutator sparks, its wires, and the detectors on them."""

from __future__ import annotations

from typing import Any, Literal, Self

from pydantic import Field, model_validator

from scenarios.files.fields import Table, quantity

__all__ = ["Commutator", "RippleDetector", "ShapeCheck", "SpikeDetector", "Wires", "WornCommutator"]

ASSUMED = "assumed: order of magnitude by commutation theory, no source; to be fitted to recordings"
Polarity = Literal[-1, 1]


def _assumed(low: float, high: float, about: str, default: float) -> Any:
    return quantity(low, high, about, default, ASSUMED)


class Commutator(Table):
    """How a commutator sparks; the defaults are those of a new one."""

    amplitude_v: float = _assumed(0.1, 60, "Largest spike at the terminals of the bare motor.", 12.0)
    current_scale_a: float = _assumed(0.05, 10, "Residual coil current at which the spike bends to its largest value.", 1.0)
    driven_share: float = _assumed(0, 1, "Share of a spike that the supply leaves while driven.", 0.35)
    coasting_share: float = _assumed(0, 1, "Share of a spike that is left while coasting.", 0.8)
    under_commutation: float = _assumed(0, 1, "Coil current that has not reversed when the segment leaves, over half the motor's.", 0.25)
    off_neutral: float = _assumed(0, 1, "EMF of the shorted coil over that of a coil in full field.", 0.15)
    coil_resistance_ohm: float = _assumed(0.05, 50, "Shorted coil and its contacts.", 1.0)
    arc_v: float = _assumed(5, 100, "Voltage of the arc at the brush.", 25.0)
    base_width_us: float = _assumed(0.05, 20, "Width of a spike without an arc.", 1.0)
    rise_us: float = _assumed(0.02, 10, "Time constant of the flank.", 0.4)
    ring_khz: float = _assumed(20, 2000, "Ringing of the bare motor.", 200.0)
    ring_quality: float = _assumed(0.3, 10, "Quality of the ringing.", 1.5)
    spread: float = _assumed(0, 1, "Spread from spike to spike, sigma of the logarithm.", 0.25)
    segment_spread: float = _assumed(0, 1, "Spread from segment to segment, sigma of the logarithm.", 0.10)
    weak_segment: int | None = Field(default=None, ge=1, le=64, description="Segment that sparks weakly, counted from 1.")
    weak_factor: float = _assumed(0, 1, "Its spikes against the others.", 0.25)
    jitter: float = _assumed(0, 0.2, "Irregularity of the instant, rms, as a share of a pitch.", 0.01)
    double: float = _assumed(0, 0.5, "Probability that a commutation sparks twice.", 0.0)
    cluster: float = _assumed(0, 0.9, "Probability that a double spike has one more.", 0.1)
    double_low_us: float = _assumed(1, 5000, "Shortest delay of a second spike.", 30.0)
    double_high_us: float = _assumed(1, 5000, "Longest delay of a second spike.", 250.0)
    bounce_per_s: float = _assumed(0, 200, "How often a brush jumps.", 0.0)
    bounce_low_us: float = _assumed(1, 10000, "Shortest jump.", 10.0)
    bounce_high_us: float = _assumed(1, 10000, "Longest jump.", 1000.0)
    bounce_gain: float = _assumed(0, 20, "Spike of a jump against a usual one.", 1.5)
    brush_segments: float = _assumed(1, 3, "Width of a brush in segment pitches.", 1.2)
    make_share: float = _assumed(0, 3, "Make pulse over what the change of the terminal impedance gives at most.", 0.3)
    remake_share: float = _assumed(0, 2, "Second make pulse over the first.", 0.6)
    remake_delay_us: float = _assumed(0, 200, "Delay of the second make pulse after the break.", 5.0)
    intensity: float = _assumed(0.05, 5, "Sparks in the air at hand: above 1 in dry or thin air, below it in humid air.", 1.0)
    cold_share_per_k: float = _assumed(0, 0.02, "Relative growth of the sparks per kelvin below 20 C.", 0.003)
    polarity_driven: Polarity = Field(default=-1, description="Sign of the break spike while driven upwards.")
    polarity_coasting: Polarity = Field(default=1, description="Sign of the break spike while coasting upwards.")
    wire_share: float = _assumed(0.0001, 1, "Share of a coil's energy that reaches the wires.", 0.02)

    @model_validator(mode="after")
    def _times_are_ordered(self) -> Self:
        for low, high in (("double_low_us", "double_high_us"), ("bounce_low_us", "bounce_high_us")):
            if getattr(self, high) < getattr(self, low):
                raise ValueError(f"{high} = {getattr(self, high):g} must not be below {low} = {getattr(self, low):g}")
        return self


class WornCommutator(Commutator):
    """The same motor worn: what is left out has the defaults of a worn commutator."""

    under_commutation: float = _assumed(0, 1, "Coil current that has not reversed when the segment leaves, over half the motor's.", 0.4)
    off_neutral: float = _assumed(0, 1, "EMF of the shorted coil over that of a coil in full field.", 0.25)
    coil_resistance_ohm: float = _assumed(0.05, 50, "Shorted coil and its contacts.", 1.5)
    spread: float = _assumed(0, 1, "Spread from spike to spike, sigma of the logarithm.", 0.55)
    segment_spread: float = _assumed(0, 1, "Spread from segment to segment, sigma of the logarithm.", 0.25)
    weak_segment: int | None = Field(default=1, ge=1, le=64, description="Segment that sparks weakly, counted from 1.")
    jitter: float = _assumed(0, 0.2, "Irregularity of the instant, rms, as a share of a pitch.", 0.03)
    double: float = _assumed(0, 0.5, "Probability that a commutation sparks twice.", 0.08)
    bounce_per_s: float = _assumed(0, 200, "How often a brush jumps.", 2.0)


class Wires(Table):
    """The pair from the motor to the controller, what is fitted on it and what it picks up."""

    cable_m: float = quantity(0.05, 30, "Length of the pair.", 2.0)
    inductance_uh_per_m: float = quantity(0.05, 5, "Inductance of the pair.", 0.7, "common practice: 0.6 to 0.8")
    capacitance_pf_per_m: float = quantity(5, 500, "Capacitance of the pair.", 75.0, "common practice: 50 to 150")
    sense_at: Literal["motor", "box", "controller"] = Field(
        default="box", description="Where the detector sits: at the motor, at the control box, or inside the controller behind it."
    )
    box_inductance_uh: float = quantity(0.01, 1000, "Inductance between sensing point and bulk capacitor at the box.", 5.0)
    controller_inductance_uh: float = quantity(0.01, 1000, "The same inside the controller.", 1.0)
    motor_capacitance_pf: float = quantity(10, 1e5, "Capacitance of the motor itself.", 1000.0)
    capacitor_nf: float = quantity(0, 10000, "Suppression capacitor across the motor; 0: none.", 0.0)
    choke_uh: float = quantity(0, 1000, "Suppression chokes at the motor, both together; 0: none.", 0.0)
    noise_mv: float = quantity(0, 5000, "Noise between the wires, rms, white over half the sampling rate.", 20.0)
    current_noise_ma: float = quantity(0, 5000, "Noise of the current signal, rms, white over half the sampling rate.", 20.0)
    mains_ripple_v: float = quantity(0, 20, "Rectified mains on the supply, peak to peak.", 0.0)
    mains_ripple_hz: float = quantity(10, 1000, "Its frequency.", 100.0)
    switching_ripple_mv: float = quantity(0, 5000, "Ripple of a switching supply, peak to peak.", 50.0)
    switching_ripple_khz: float = quantity(5, 480, "Its frequency.", 65.0)
    carrier_khz: float = quantity(0.05, 100, "Carrier of the duty.", 20.0)
    bursts_per_s: float = quantity(0, 1000, "Interference bursts.", 0.0)
    burst_v: float = quantity(0, 200, "Largest pulse of a burst between the wires.", 1.0)
    burst_common: float = quantity(0, 1000, "Mean voltage of both wires over their difference in a burst.", 10.0)
    crosstalk: float = quantity(0, 0.5, "Share of the neighbour's spikes that this pair picks up.", 0.02)


class SpikeDetector(Table):
    """The front end that listens to the sparks."""

    damping_khz: float = quantity(0, 5000, "RC damping across the pair; 0: none.", 0.0)
    coupling_khz: float = quantity(0.01, 500, "Corner of the coupling capacitors.", 8.0)
    one_wire: bool = Field(default=False, description="True: one wire against ground is sensed instead of the difference of both.")
    difference_khz: float = quantity(0, 50000, "Bandwidth of the difference stage; 0: unlimited.", 1000.0)
    rejection_db: float = quantity(0, 140, "Common-mode rejection of the difference stage.", 60.0)
    lowpass_khz: float = quantity(0, 5000, "Upper corner of the band-pass; 0: none.", 150.0)
    gain: float | None = quantity(0.001, 10000, "Gain; left out: the median spike in running fills four tenths of the swing.", None)
    swing_v: float = quantity(0.1, 60, "Largest output of either sign.", 2.5)
    rectify: bool = Field(default=True, description="True: spikes of both signs are heard.")
    threshold_mv: float | None = quantity(
        1, 20000, "Threshold, referred to the input; left out: 15 % of the median spike in running, at least 7 times the noise.", None
    )
    tracking: float = quantity(0, 0.95, "Threshold as a share of the held peak, where that is more; 0: fixed.", 0.0)
    hold_ms: float = quantity(1, 10000, "Time constant of the held peak.", 300.0)
    hysteresis: float = quantity(0, 1.5, "Hysteresis as a share of the threshold.", 0.5)
    lockout_us: float = quantity(0, 10000, "Time after a pulse in which none is heard.", 350.0)
    adaptive_lockout: float = quantity(0, 0.9, "Lockout as a share of the last period, where that is more; 0: fixed.", 0.0)
    blank_carrier_us: float = quantity(0, 1000, "Time after an edge of the carrier in which nothing is heard.", 5.0)
    blank_switch_us: float = quantity(0, 10000, "Time after a switch-on or switch-off in which nothing is heard.", 300.0)
    clamped: bool = Field(default=True, description="True: the coupling is clamped while the comparator is blanked.")
    delay_us: float = quantity(0, 100, "Delay of the comparator.", 0.5)
    fed_by_wires: bool = Field(default=False, description="True: it lives on the motor wires; false: on a supply of its own.")
    charge_ms: float = quantity(0.01, 1000, "Time constant in which its store fills from the wires.", 2.0)
    hold_up_ms: float = quantity(0.1, 10000, "Time constant in which the store empties.", 30.0)
    least_v: float = quantity(0.1, 60, "Voltage below which it is dead.", 5.0)
    wake_ms: float = quantity(0, 1000, "Time from there until it hears.", 2.0)

    @model_validator(mode="after")
    def _corners_are_ordered(self) -> Self:
        if 0 < self.lowpass_khz <= self.coupling_khz:
            raise ValueError(f"lowpass_khz = {self.lowpass_khz:g} must be above coupling_khz = {self.coupling_khz:g}")
        return self


class RippleDetector(Table):
    """The front end that listens to the current ripple."""

    low_hz: float = quantity(1, 5000, "Lower corner of the band-pass.", 150.0)
    high_hz: float = quantity(50, 50000, "Upper corner.", 2500.0)
    hysteresis_ma: float = quantity(0.1, 5000, "Width of the Schmitt trigger about zero.", 20.0)
    gate_ma: float = quantity(0, 10000, "Current below which nothing is heard; 0: no gate.", 100.0)

    @model_validator(mode="after")
    def _corners_are_ordered(self) -> Self:
        if self.high_hz <= self.low_hz:
            raise ValueError(f"high_hz = {self.high_hz:g} must be above low_hz = {self.low_hz:g}")
        return self


class ShapeCheck(Table):
    """The check of each candidate by its shape."""

    sensitive: float = quantity(0.05, 1, "Threshold of the candidates over that of the spike detector.", 0.5)
    value_us: float = quantity(0.5, 50, "Time between two values of a digitised group, rounded to samples.", 2.0)
    likeness: float = quantity(-1, 1, "Least correlation with the learnt group.", 0.35)
    least_size: float = quantity(0, 1, "Least size over the learnt one.", 0.2)
    least_period: float = quantity(0, 1, "Least spacing over the expected one.", 0.55)
    learning: float = quantity(0.001, 1, "Share of a new group in what is learnt.", 0.1)
