"""The settings file: what the firmware is told."""

from __future__ import annotations

from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from scenarios.files.fields import Table, quantity
from scenarios.files.guarding import Pinch, Warmth
from scenarios.files.leg import Place

__all__ = [
    "Drive",
    "Guards",
    "Homing",
    "Learnt",
    "Levelling",
    "Plausibility",
    "Settings",
    "Speed",
    "Stall",
    "Stopping",
    "Timing",
    "Travel",
    "Trust",
]

OffState = Literal["coast", "brake"]


Offset = Annotated[float, Field(ge=-50, le=50)]


class Timing(Table):
    """When the firmware runs."""

    tick_ms: float = quantity(1, 20, "Control tick: the levelling law runs once in it.", 10.0)
    guard_tick_ms: float = quantity(0.5, 20, "Tick of guards, observer and stopping; divides tick_ms.", 1.0)
    compute_delay_us: float = quantity(0, 20000, "Time from a tick until its outputs act.", 100.0)

    @model_validator(mode="after")
    def _guard_divides(self) -> Self:
        ratio = self.tick_ms / self.guard_tick_ms
        if abs(ratio - round(ratio)) > 1e-9 or round(ratio) < 1:
            raise ValueError(f"guard_tick_ms = {self.guard_tick_ms:g} must divide tick_ms = {self.tick_ms:g} without remainder")
        if abs(self.guard_tick_ms * 1e3 / 5 - round(self.guard_tick_ms * 1e3 / 5)) > 1e-9:
            raise ValueError(f"guard_tick_ms = {self.guard_tick_ms:g} must be a multiple of 0.005 ms")
        if self.compute_delay_us > self.guard_tick_ms * 1e3:
            raise ValueError(f"compute_delay_us = {self.compute_delay_us:g} must not exceed guard_tick_ms = {self.guard_tick_ms:g} ms")
        return self


Law = Literal["none", "cross-coupling", "gating", "follow", "common-reference", "ring", "modal"]


class Levelling(Table):
    """How the legs are held level: u_i = u0 - 2 Kc (x_i - mean of x) - 2 Ki integral of (x_i - mean of x), or as the law has it."""

    law: Law = Field(default="cross-coupling", description="Levelling law.")
    kc_per_mm: float = quantity(0, 5, "Kc: duty per mm of difference between two legs; a leg gets 2 Kc per mm from the mean of all.", 0.05)
    ki_per_mm_s: float = quantity(0, 50, "Ki: duty per mm of difference between two legs and second; 0: no integral.", 0.05)
    integral_limit: float = quantity(0, 1, "Largest share of the duty the integral may take.", 0.12)
    gate_on_counts: int = Field(default=8, ge=1, le=10000, description="Lead over the slowest leg at which a leg is switched off.")
    gate_off_counts: int = Field(default=2, ge=0, le=10000, description="Lead at which it is switched on again.")
    leader: str | None = Field(default=None, description='Law "follow": the leg that the others follow; left out: the first.')
    reference_mm_s: float | None = quantity(0.1, 500, 'Law "common-reference": speed at the base duty; left out: nominal, full load.', None)
    reference_slow_mm_s: float | None = quantity(0.1, 500, "The same at the slow duty; left out: nominal, full load.", None)
    reference_window_mm: float = quantity(0.05, 100, "Lag of the weakest leg at which the common reference waits.", 2.0)
    kc_warp_per_mm: float | None = quantity(0, 5, 'Law "modal": gain against warp; left out: kc_per_mm.', None)
    ki_warp_per_mm_s: float | None = quantity(0, 50, 'Law "modal": integral gain against warp; left out: ki_per_mm_s.', None)
    places_mm: dict[str, Place] = Field(
        default={}, description='Law "modal": where the firmware believes each leg to stand, by name; left out: as in the lift file.'
    )

    @model_validator(mode="after")
    def _gate_has_a_width(self) -> Self:
        if self.gate_off_counts >= self.gate_on_counts:
            raise ValueError(f"gate_off_counts = {self.gate_off_counts} must be below gate_on_counts = {self.gate_on_counts}")
        return self


class Speed(Table):
    """How fast a move runs."""

    base_duty: float = quantity(0.05, 1, "Duty u0 of a running leg before levelling.", 0.88)
    soft_start_ms: float = quantity(0, 5000, "Ramp of the duty at a start; 0: none.", 200.0)
    slow_down_mm: float = quantity(0, 500, "Distance before the target from which a move runs slowly; 0: full speed to the cut.", 12.0)
    slow_duty: float = quantity(0.02, 1, "Duty after the slow-down.", 0.4)
    slow_ramp_ms: float = quantity(0, 5000, "Ramp of the duty from base to slow; 0: none.", 0.0)
    stagger_ms: float = quantity(0, 2000, "Time from the start of one leg to that of the next; 0: all together.", 0.0)
    current_limit_a: float = quantity(0.05, 200, "Limit asked of the bridge.")

    @model_validator(mode="after")
    def _slow_is_slower(self) -> Self:
        if self.slow_duty > self.base_duty:
            raise ValueError(f"slow_duty = {self.slow_duty:g} must not exceed base_duty = {self.base_duty:g}")
        return self


class Stopping(Table):
    """When power is cut so that the legs end at the target."""

    predict: bool = Field(default=True, description="True: cut early by the predicted coast; false: cut at the target.")
    learn_gain: float = quantity(0, 1, "Share of a move's coast error that is learnt; 0: nothing is learnt.", 0.5)
    coast_clamp: float = quantity(1, 20, "The learnt factor stays between 1 over this and this.", 3.0)
    observer_rad_s: float = quantity(1, 1000, "Bandwidth of the load observer.", 40.0)
    quiet_ms: float = quantity(10, 5000, "Time without pulses that ends the settling.", 100.0)
    off_state_up: OffState = Field(default="coast", description="What a switched-off motor does after raising.")
    off_state_down: OffState = Field(default="coast", description="What a switched-off motor does after lowering.")


class Plausibility(Table):
    """Which pulses are believed; all three are shares of the expected period."""

    running: Literal["plausibility", "tracking", "none"] = Field(
        default="plausibility",
        description="Counts while running: by the period before; by a loop on the back-EMF speed; every pulse as it comes.",
    )
    coast_end: bool = Field(default=False, description="True: counts too weak to be heard at the end of a coast are added.")
    vote: bool = Field(default=False, description='True: the second channel of a detector of kind "both" may overrule the first.')
    reject_below: float = quantity(0, 0.95, "A pulse earlier than this is a double; 0: none is rejected.", 0.6)
    insert_from: float = quantity(1, 3, "One miss is inserted from here ...", 1.6)
    insert_to: float = quantity(1, 5, "... to here; equal to insert_from: never.", 2.4)

    @model_validator(mode="after")
    def _window_is_ordered(self) -> Self:
        if self.insert_to < self.insert_from:
            raise ValueError(f"insert_to = {self.insert_to:g} must not be below insert_from = {self.insert_from:g}")
        return self


class Stall(Table):
    """When a leg counts as blocked: no pulse and high current together, or one of them for longer."""

    periods: float = quantity(1, 100, "Expected periods without a pulse.", 5.0)
    least_ms: float = quantity(1, 5000, "Shortest time without a pulse.", 25.0)
    current_a: float = quantity(0.01, 200, "Current of a blocked leg.")
    confirm_ms: float = quantity(0, 5000, "Time the current must stay above.", 50.0)
    alone_ms: float = quantity(1, 20000, "Time after which one sign alone is enough.", 300.0)
    start_grace_ms: float = quantity(0, 20000, "Time after a switch-on without a decision.", 250.0)


class Guards(Table):
    """What stops a move."""

    tilt_limit_mm: float = quantity(0.1, 500, "Highest minus lowest leg, as counted.", 5.0)
    move_timeout_s: float = quantity(0.5, 3600, "Longest move.", 60.0)
    over_current_a: float | None = quantity(0.1, 500, "Current of a leg that switches everything off; left out: not watched.", None)
    over_current_ms: float = quantity(0, 5000, "Time it must last.", 20.0)
    supply_low_v: float | None = quantity(1, 100, "Supply at which all motors are shed; left out: not watched.", None)
    supply_low_ms: float = quantity(0, 5000, "Time it must last.", 5.0)
    overload_kg: float | None = quantity(0, 20000, "Estimated payload that ends a raise level; left out: it is not weighed.", None)


class Homing(Table):
    """How the end stops are found."""

    duty: float = quantity(0.02, 1, "Duty of the approach.", 0.35)
    current_limit_a: float = quantity(0.05, 200, "Limit asked of the bridge; sets the thrust at the stop.")
    stall_current_a: float = quantity(0.01, 200, "Current that says the stop is met.")
    budget_mm: float = quantity(0.1, 100, "Travel allowed after the first leg has met its stop.", 5.0)
    back_off_mm: float = quantity(0, 50, "Height above the stops from which the legs approach again, slower; 0: one approach.", 2.0)
    second_duty: float | None = quantity(0.02, 1, "Duty of the second approach; left out: 0.7 of duty.", None)
    debris_mm: float = quantity(0.05, 50, "Most by which two contacts of a leg may disagree; more is debris on the stop.", 0.5)
    offsets_mm: dict[str, Offset] = Field(default={}, description="Height of a leg's deck joint at its end stop, by name; left out: 0.")

    @model_validator(mode="after")
    def _stall_can_be_seen(self) -> Self:
        if self.stall_current_a >= self.current_limit_a:
            raise ValueError(f"stall_current_a = {self.stall_current_a:g} must be below current_limit_a = {self.current_limit_a:g}")
        if self.second_duty is not None and self.second_duty > self.duty:
            raise ValueError(
                f"second_duty = {self.second_duty:g} must not exceed duty = {self.duty:g}: the second approach is the slow one"
            )
        return self


class Trust(Table):
    """How far the counts are believed: the doubt of each leg grows until the next homing, and asks for one when it is spent."""

    travel_percent: float = quantity(
        0, 10, "Doubt per travel; 0.35 covers what the back-EMF cannot show: 30 counts spread over a stroke of 9,000.", 0.35
    )
    start_counts: float = quantity(0, 50, "Doubt per start.", 1.0)
    stop_counts: float = quantity(0, 50, "Doubt per stop: counts not heard at the end of the coast.", 4.0)
    rejected_counts: float = quantity(0, 1, "Doubt per rejected pulse.", 0.1)
    inserted_counts: float = quantity(0, 1, "Doubt per inserted count.", 0.1)
    homing_counts: float = quantity(0, 100, "Doubt left after a homing.", 4.0)
    budget_mm: float = quantity(0.1, 100, "Doubt of a leg from which homing is asked for.", 5.0)
    watch: bool = Field(default=True, description="True: back-EMF, coasts, corrections and end stops are tested for drift of the counts.")
    burst_counts: float = quantity(2, 1000, "Least counts lost or gained in 0.3 s that are called a burst.", 8.0)
    corrections: float = quantity(1, 1000, "Pulses rejected or inserted in 0.3 s that are too many.", 15.0)
    coast_percent: float = quantity(1, 100, "Standard deviation of a learnt coast, as a share of it.", 10.0)
    coast_counts: float = quantity(0.5, 100, "Standard deviation of a learnt coast, besides that share.", 2.0)
    move_counts: float = quantity(0.1, 100, "Standard deviation of the count error of one move.", 2.0)
    false_alarms: float = quantity(0.01, 100, "False alarms of the CUSUM tests allowed in 1,000 moves; their limit follows from it.", 1.0)
    save_ms: float = quantity(0, 10000, "Time to save the position when the power fails.", 20.0)
    answer: Literal["warn", "finish-and-home", "stop"] = Field(
        default="warn", description="What happens once homing is asked for: only say so; finish the move and home; stop."
    )


class Travel(Table):
    """Between which heights a target may lie."""

    low_mm: float = quantity(-100, 10000, "Lowest target.", 0.0)
    high_mm: float = quantity(1, 10000, "Highest target.")

    @model_validator(mode="after")
    def _is_ordered(self) -> Self:
        if self.high_mm <= self.low_mm:
            raise ValueError(f"high_mm = {self.high_mm:g} must be above low_mm = {self.low_mm:g}")
        return self


class Drive(Table):
    """What the firmware is told of every leg's drive; what is left out is taken from the lift file's nominal values."""

    counts_per_mm: float | None = quantity(0.05, 5000, "Counts per mm of lift.", None)
    counts_per_revolution: int | None = Field(default=None, ge=2, le=64, description="Counts per motor revolution.")
    torque_constant_mn_m_per_a: float | None = quantity(1, 1000, "Torque constant.", None)
    inertia_g_cm2: float | None = quantity(0.5, 50000, "Inertia at the motor shaft, load included.", None)
    viscous_drag_mn_m_s: float | None = quantity(0, 10, "Viscous drag per rad/s.", None)
    resistance_ohm: float | None = quantity(0.02, 100, "Winding at 20 C and closed switches together.", None)
    brush_drop_v: float | None = quantity(0, 4, "Voltage drop of both brushes together.", None)
    coulomb_drag_mn_m: float | None = quantity(0, 1000, "Constant drag of motor, gear and seals.", None)
    load_guess_mn_m: float | None = quantity(0, 50000, "Resisting torque before anything is learnt.", None)


class Learnt(Table):
    """Factors on the coast law that were learnt before."""

    coast_up: float = quantity(0.05, 20, "Factor after raising.", 1.0)
    coast_down: float = quantity(0.05, 20, "Factor after lowering.", 1.0)


class Settings(Table):
    """Everything the firmware is told."""

    kind: Literal["settings"] = Field(description='"settings"')
    timing: Timing = Timing()
    levelling: Levelling = Levelling()
    speed: Speed
    stopping: Stopping = Stopping()
    plausibility: Plausibility = Plausibility()
    stall: Stall
    guards: Guards = Guards()
    homing: Homing
    trust: Trust = Trust()
    travel: Travel
    pinch: Pinch | None = None
    warmth: Warmth | None = None
    drive: Drive = Drive()
    learnt: dict[str, Learnt] = Field(default={}, description="What was learnt before, one table per leg name.")
    sources: dict[str, str] = Field(default={}, description="Where values come from: key or table = text.")
