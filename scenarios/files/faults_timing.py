"""Faults of the controller itself: its clock, its calls, what it keeps without power."""

from __future__ import annotations

from typing import ClassVar, Literal

from pydantic import Field

from scenarios.files.fields import quantity
from scenarios.files.when import Lasting, Timed

__all__ = ["ClockJitter", "ClockRate", "MissedTicks", "SaveDamaged"]


class ClockJitter(Lasting):
    """The outputs act later than the compute delay, by another time each tick, evenly between nothing and the jitter."""

    whole: ClassVar[bool] = True
    what: Literal["clock-jitter"]
    jitter_us: float = quantity(1, 20000, "Largest additional delay; the outputs never act later than the next tick.")


class ClockRate(Lasting):
    """The controller's clock runs fast or slow: all its time stamps with it."""

    whole: ClassVar[bool] = True
    what: Literal["clock-rate"]
    error_percent: float = quantity(-10, 10, "Relative error, positive: fast.")


class MissedTicks(Timed):
    """The controller is not called for some ticks: inputs are not read, outputs stay, pulses wait in the buffer."""

    whole: ClassVar[bool] = True
    what: Literal["missed-ticks"]
    ticks: int = Field(ge=1, le=100000, description="How many calls (guard ticks) are left out.")


class SaveDamaged(Timed):
    """A bit flips in what the controller keeps of a leg without power: a worn memory cell, a write that was cut short."""

    what: Literal["save-damaged"]
