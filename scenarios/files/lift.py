"""The lift file: supply, deck, legs, sensing, and what only the drive sheet needs."""

from __future__ import annotations

from math import hypot
from typing import Literal, Self

from pydantic import Field, model_validator

from scenarios.files.fields import Table, quantity
from scenarios.files.leg import Leg, Place
from scenarios.files.limits import Limits

__all__ = ["Deck", "Duty", "Lift", "Logic", "Sensing", "Structure", "Supply"]

LEAST_DISTANCE_MM = 10.0


class Supply(Table):
    """The supply that all legs share."""

    open_voltage_v: float = quantity(2, 100, "Voltage without load.")
    resistance_ohm: float = quantity(0, 20, "Source resistance; 0: stiff.", 0.0)
    current_limit_a: float | None = quantity(0.1, 1000, "Current the source cannot exceed; left out: none.", None)
    capacitance_mf: float = quantity(0, 1000, "Bulk capacitor at the bridges; 0: none.", 0.0)
    takes_returned_current: bool = Field(default=False, description="True: a battery, takes current back; false: a rectifier blocks it.")

    @model_validator(mode="after")
    def _parts_fit(self) -> Self:
        if self.capacitance_mf > 0 and self.resistance_ohm == 0:
            raise ValueError("capacitance_mf needs resistance_ohm above 0 (the source charges it through its resistance)")
        if self.current_limit_a is not None and self.capacitance_mf == 0:
            raise ValueError("current_limit_a needs capacitance_mf above 0 (without a capacitor the voltage has no value at the limit)")
        return self


class Deck(Table):
    """What the legs carry."""

    mass_kg: float = quantity(0, 20000, "Mass of the deck itself.")
    centre_mm: Place = (0.0, 0.0)
    rated_payload_kg: float = quantity(0, 20000, "Payload of the sheet's full case; half of it is the load the firmware first expects.")
    light_payload_kg: float = quantity(0, 20000, "Payload of the sheet's light case.", 0.0)
    tilt_stiffness_x_kn_m_per_rad: float = quantity(0, 1e5, "Racking stiffness of the frame against a slope along x.", 0.0)
    tilt_stiffness_y_kn_m_per_rad: float = quantity(0, 1e5, "Racking stiffness of the frame against a slope along y.", 0.0)
    warp_stiffness_n_per_mm: float = quantity(0, 1e5, "Stiffness of the deck against warp (four and more legs).", 0.0)

    @model_validator(mode="after")
    def _payloads_are_ordered(self) -> Self:
        if self.light_payload_kg > self.rated_payload_kg:
            raise ValueError(f"light_payload_kg = {self.light_payload_kg:g} must not exceed rated_payload_kg = {self.rated_payload_kg:g}")
        return self


class Sensing(Table):
    """What the controller's inputs pass through; the current sensors stand in the legs."""

    ideal: bool = Field(default=False, description="True: the controller reads true current, supply and pulse instants.")
    timer_us: float = quantity(0, 1000, "Resolution of the pulse time stamps; 0: exact.", 1.0)
    pwm_bits: int = Field(default=10, ge=0, le=24, description="Bits of the duty; 0: exact.")
    sample_lead_us: float = quantity(0, 5000, "Time before the tick at which the converter samples.", 100.0)
    supply_bits: int = Field(default=12, ge=0, le=24, description="Bits of the supply reading; 0: exact.")
    supply_full_scale_v: float = quantity(2, 1000, "Largest supply voltage that can be read.", 60.0)
    supply_gain_error: float = quantity(-0.3, 0.3, "Relative error of the gain of the supply reading.", 0.0)
    supply_offset_mv: float = quantity(-5000, 5000, "Offset of the supply reading.", 0.0)
    supply_noise_mv: float = quantity(0, 5000, "Noise of the supply reading, rms.", 20.0)
    supply_filter_us: float = quantity(0, 100000, "Time constant of the low-pass of the supply reading; 0: none.", 500.0)


class Structure(Table):
    """Spindle strength and nut pressure, for the drive sheet only."""

    free_length_mm: float = quantity(5, 20000, "Longest unsupported length of the spindle under load.")
    end_fixity: float = quantity(
        0.2, 4.1, "Euler factor of the ends: 0.25 fixed-free, 1 both pinned, 2.05 fixed-pinned, 4 both fixed.", 1.0
    )
    nut_length_mm: float = quantity(2, 500, "Engaged length of the nut.")
    allowed_nut_pressure_mpa: float = quantity(0.1, 100, "Pressure the nut material bears.", 5.0)


class Duty(Table):
    """Duty the drive is meant for, and the air around it."""

    on_s: float = quantity(1, 86400, "Time running in a cycle.", 120.0)
    off_s: float = quantity(0, 864000, "Time resting in a cycle.", 1080.0)
    ambient_c: float = quantity(-40, 85, "Air temperature; also where a rehearsal starts unless it says otherwise.", 20.0)


class Logic(Table):
    """What must stay alive after a power failure."""

    power_w: float = quantity(0.001, 50, "Power of the logic.", 0.5)
    least_v: float = quantity(1, 60, "Voltage below which the logic stops.", 8.0)
    write_ms: float = quantity(0, 10000, "Time to save the positions, for the drive sheet.", 20.0)
    hold_up_mf: float | None = quantity(
        0.001, 1000, "The logic's own capacitor behind a diode; left out: in a rehearsal its power never fails.", None
    )
    feed_drop_v: float = quantity(0, 2, "Drop of that diode.", 0.7)
    feed_ohm: float = quantity(0, 1000, "Resistance in series with that diode.", 10.0)
    wake_v: float | None = quantity(1, 60, "Voltage above which the logic starts again; left out: a tenth above least_v.", None)
    power_fail_v: float | None = quantity(
        1, 100, "The controller is told that power fails where the bridges' supply is below this; left out: never.", None
    )
    power_good_v: float | None = quantity(1, 100, "It is told that power is back above this; left out: a twentieth higher.", None)

    @model_validator(mode="after")
    def _thresholds_are_ordered(self) -> Self:
        if self.wake_v is not None and self.wake_v <= self.least_v:
            raise ValueError(f"wake_v = {self.wake_v:g} must be above least_v = {self.least_v:g}")
        if self.power_good_v is not None and (self.power_fail_v is None or self.power_good_v <= self.power_fail_v):
            raise ValueError(f"power_good_v = {self.power_good_v:g} must be above power_fail_v")
        return self


class Lift(Table):
    """A lift: one deck on 1 to 16 legs."""

    kind: Literal["lift"] = Field(description='"lift"')
    name: str = Field(min_length=1, max_length=80, description="Name of the lift.")
    supply: Supply
    deck: Deck
    leg: tuple[Leg, ...] = Field(min_length=1, max_length=16, description="The legs, one [[leg]] table each.")
    sensing: Sensing = Sensing()
    structure: Structure | None = Field(default=None, description="Left out: the sheet leaves buckling and nut pressure out.")
    duty: Duty = Duty()
    logic: Logic = Logic()
    limits: Limits = Limits()
    sources: dict[str, str] = Field(default={}, description="Where values come from: key or table = text.")

    @property
    def names(self) -> tuple[str, ...]:
        """Names of the legs, in order."""
        return tuple(leg.name for leg in self.leg)

    @model_validator(mode="after")
    def _legs_differ(self) -> Self:
        for i, leg in enumerate(self.leg):
            for other in self.leg[:i]:
                if other.name == leg.name:
                    raise ValueError(f'leg name "{leg.name}" is used twice')
                if hypot(leg.at_mm[0] - other.at_mm[0], leg.at_mm[1] - other.at_mm[1]) < LEAST_DISTANCE_MM:
                    raise ValueError(f"legs {other.name} and {leg.name} stand at one place: at_mm must differ by {LEAST_DISTANCE_MM:g} mm")
        return self
