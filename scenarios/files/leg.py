"""One leg in a lift file: bridge, spindle, gear, guide, stops, detector and current sensor."""

from __future__ import annotations

from typing import Annotated, Literal, Self

from pydantic import Field, WithJsonSchema, model_validator

from plant.threads import trapezoidal_thread
from scenarios.files.fields import Table, quantity
from scenarios.files.motor import Motor, Thermal
from scenarios.files.rates import Rates
from scenarios.files.signal import Commutator, RippleDetector, ShapeCheck, SpikeDetector, Wires, WornCommutator

__all__ = ["PARTS", "SIGNAL_PARTS", "Bridge", "CurrentSensor", "Detector", "Gear", "Guide", "Leg", "Place", "Spindle", "Stops"]

SIGNAL_PARTS = ("commutator", "worn_commutator", "wires", "spike_detector", "ripple_detector", "shape_check")
"""Those that only the signal level reads."""

PARTS = (
    "motor",
    "bridge",
    "spindle",
    "gear",
    "guide",
    "stops",
    "detector",
    "current_sensor",
    "thermal",
    *SIGNAL_PARTS,
)
"""Sub-tables of a leg, in ``[every_leg]`` or in the leg itself."""

RATED = (
    "edge_false_on",
    "edge_false_off",
    "start_miss_mean",
    "start_miss_sd",
    "run_miss",
    "run_false",
    "run_double",
    "tail_rpm",
    "flyback_us",
    "quiet_current_a",
)
"""Chances of a detector that a table of rates replaces."""

Coordinate = Annotated[float, Field(ge=-50000, le=50000)]
Place = Annotated[tuple[Coordinate, Coordinate], Field(description="x and y in the plan of the deck, mm.")]


def _designates(thread: str) -> str:
    trapezoidal_thread(thread)
    return thread


class Bridge(Table):
    """The switches that drive the motor."""

    resistance_mohm: float = quantity(0, 2000, "Resistance of the two closed switches together.", 0.0)
    diode_drop_v: float = quantity(0, 2, "Forward drop of one diode.", 0.7)
    synchronous: bool = Field(
        default=False, description="True: the off-time is switched and the current may reverse; false: a diode carries it."
    )
    freewheel: bool = Field(
        default=False, description="Coasting: true: one switch stays closed; false: all open, the current returns to the supply."
    )
    current_limit_a: float = quantity(0.1, 200, "Limit of the hardware.")


class Spindle(Table):
    """Screw and nut; lift per turn is the lead."""

    thread: str | None = Field(default=None, description='ISO 2904 designation, "Tr 14x4" or with two starts "Tr 14x8 P4".')
    pitch_diameter_mm: float | None = quantity(3, 300, "Pitch diameter, instead of a designation.", None)
    lead_mm: float | None = quantity(0.5, 50, "Lead, instead of a designation.", None)
    flank_deg: float = quantity(0, 45, "Half the thread angle (0: square).", 15.0, "ISO 2901")
    friction: float = quantity(0.02, 0.5, "Running friction between screw and nut.")
    static_friction: float = quantity(0.02, 0.7, "Friction at break-away.")
    stribeck_mm_s: float = quantity(0, 500, "Sliding speed over which friction falls from break-away to running; 0: at once.", 0.0)
    collar_friction: float = quantity(0, 0.5, "Friction of the thrust collar; 0: a rolling bearing.", 0.0)
    collar_diameter_mm: float = quantity(0, 400, "Mean diameter of the thrust collar.", 0.0)
    inertia_g_cm2: float = quantity(0, 200000, "Inertia about its axis (1 g cm2 = 1e-7 kg m2).", 0.0)
    nut_play_mm: float = quantity(0, 2, "Axial play of the nut.", 0.0)
    captive_nut: bool = Field(default=True, description="True: the nut can also pull the deck down; false: the deck may lift off it.")
    axial_stiffness_n_per_mm: float = quantity(0, 100000, "Stiffness of spindle, nut and bearing along the axis; 0: rigid.", 0.0)

    @model_validator(mode="after")
    def _has_one_thread(self) -> Self:
        dimensions = (self.pitch_diameter_mm, self.lead_mm)
        if self.thread is None:
            if None in dimensions:
                raise ValueError('needs thread = "Tr 14x4", or pitch_diameter_mm and lead_mm')
        else:
            if dimensions != (None, None) or "flank_deg" in self.model_fields_set:
                raise ValueError("give either thread or pitch_diameter_mm, lead_mm and flank_deg, not both")
            _designates(self.thread)
        if self.static_friction < self.friction:
            raise ValueError(f"static_friction = {self.static_friction:g} must not be below friction = {self.friction:g}")
        return self


class Gear(Table):
    """Gear between motor and spindle."""

    ratio: float = quantity(0.2, 500, "Motor turns per spindle turn.", 1.0)
    efficiency: float = quantity(0.1, 1, "Efficiency when the motor drives.", 1.0)
    back_efficiency: float | None = quantity(0, 1, "Efficiency when the load drives; left out: as when the motor drives.", None)
    play_deg: float = quantity(0, 10, "Play at the gear output.", 0.0)


class Guide(Table):
    """Guide of the leg."""

    friction_n: float = quantity(0, 5000, "Friction without tilt.", 0.0)
    tilt_coefficient: float = quantity(0, 0.5, "Coefficient of friction of the guide under a tilting moment.", 0.0)
    overlap_mm: float = quantity(5, 5000, "Overlap of the guide, retracted.", 200.0)
    overlap_loss: float = quantity(0, 1, "Overlap lost per travel.", 0.0)
    moving_mass_kg: float = quantity(0, 500, "Mass of the leg itself that moves with the nut.", 0.0)


class Stops(Table):
    """End stops of the leg, as heights of its deck joint above one level plane."""

    low_mm: float = quantity(-50, 50, "Height at which the lower stop is met (mounting spread).", 0.0)
    high_mm: float = quantity(5, 10000, "Height at which the upper stop is met.")
    stiffness_n_per_mm: float = quantity(10, 1e6, "Stiffness of a stop.", 1000.0)

    @model_validator(mode="after")
    def _are_apart(self) -> Self:
        if self.high_mm - self.low_mm < 5:
            raise ValueError(f"high_mm = {self.high_mm:g} must be at least 5 mm above low_mm = {self.low_mm:g}")
        return self


class Detector(Table):
    """What hears the commutations on the two motor wires, and how often it errs."""

    kind: Literal["spikes", "ripple", "hall", "both"] = Field(
        default="spikes",
        description="Voltage spikes, current ripple, a hall-type reference, or both: spikes, with a ripple channel to vote with.",
    )
    edge_false_on: float = quantity(0, 20, "Mean false pulses at a switch-on.", 0.1)
    edge_false_off: float = quantity(0, 20, "Mean false pulses at a switch-off.", 0.1)
    start_miss_mean: float = quantity(0, 20, "Commutations not heard at each start, mean.", 0.2)
    start_miss_sd: float = quantity(0, 10, "Commutations not heard at each start, standard deviation.", 0.5)
    run_miss: float = quantity(0, 0.5, "Probability that a commutation is not heard while running.", 1e-5)
    run_false: float = quantity(0, 0.5, "Probability of a false pulse per commutation.", 1e-5)
    run_double: float = quantity(0, 0.5, "Probability that a commutation is heard twice.", 0.005)
    double_delay_low_us: float = quantity(1, 5000, "Shortest delay of the second pulse.", 30.0)
    double_delay_high_us: float = quantity(1, 5000, "Longest delay of the second pulse.", 250.0)
    tail_rpm: float = quantity(0, 5000, "Motor speed below which a coasting motor is not heard.", 300.0)
    flyback_us: float = quantity(0, 20000, "Time after a switch-off in which nothing is heard.", 500.0)
    quiet_current_a: float = quantity(0, 10, "Current below which a ripple detector hears nothing.", 0.1)
    hall_slots: int = Field(default=4, ge=1, le=4096, description="Slots per motor revolution of the reference counter.")
    rates: Annotated[Rates | None, WithJsonSchema({"type": "string"})] = Field(
        default=None, description="File of miss and false rates that levelrig signal --rates has written; it replaces the chances above."
    )

    @model_validator(mode="after")
    def _says_it_once(self) -> Self:
        twice = [name for name in RATED if name in self.model_fields_set]
        if self.rates is not None and twice:
            raise ValueError(f"rates replaces {', '.join(twice)}: leave {'it' if len(twice) == 1 else 'them'} out")
        return self

    @model_validator(mode="after")
    def _delays_are_ordered(self) -> Self:
        if self.double_delay_high_us < self.double_delay_low_us:
            raise ValueError(
                f"double_delay_high_us = {self.double_delay_high_us:g} must not be below double_delay_low_us = {self.double_delay_low_us:g}"
            )
        return self


class CurrentSensor(Table):
    """Current measurement of the leg."""

    gain_error: float = quantity(-0.3, 0.3, "Relative error of the gain.", 0.0)
    offset_ma: float = quantity(-5000, 5000, "Offset.", 0.0)
    noise_ma: float = quantity(0, 5000, "Noise, rms.", 10.0)
    filter_us: float = quantity(0, 100000, "Time constant of the low-pass before the converter; 0: none.", 500.0)
    bits: int = Field(default=12, ge=0, le=24, description="Bits of the converter; 0: exact.")
    full_scale_a: float = quantity(0.2, 1000, "Largest current of either sign that can be read.")


class Leg(Table):
    """One leg, after ``[every_leg]`` has been merged in."""

    name: str = Field(pattern=r"^[a-z][a-z0-9_-]{0,31}$", description="Lower-case name, used in results and in overrides.")
    at_mm: Place
    motor: Motor
    bridge: Bridge
    spindle: Spindle
    gear: Gear = Gear()
    guide: Guide = Guide()
    stops: Stops
    detector: Detector = Detector()
    current_sensor: CurrentSensor
    thermal: Thermal = Thermal()
    commutator: Commutator = Commutator()
    worn_commutator: WornCommutator = WornCommutator()
    wires: Wires = Wires()
    spike_detector: SpikeDetector = SpikeDetector()
    ripple_detector: RippleDetector = RippleDetector()
    shape_check: ShapeCheck = ShapeCheck()

    @model_validator(mode="after")
    def _name_is_free(self) -> Self:
        if self.name in (*PARTS, "name", "at_mm"):
            raise ValueError(f'name = "{self.name}": is the name of a table of a leg; choose another')
        return self
