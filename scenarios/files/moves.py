"""What the operator does in a rehearsal: orders to the controller, and the bypass that drives the bridges."""

from __future__ import annotations

from typing import Literal, Self

from pydantic import Field, model_validator

from scenarios.files.fields import Table, quantity
from scenarios.files.when import named

__all__ = ["Move"]

_ORDERS = ("to_mm", "press", "home", "jab", "drive_duty", "clear")
_JAB = ("times", "held_s", "every_s")


class Move(Table):
    """One order; it is given when the controller has been at rest for ``pause_s``, or at ``at_s``, or in the coast of the one before."""

    name: str | None = named('Lower-case name, so that faults can come on = "this name".')
    to_mm: float | None = quantity(-100, 10000, "Go to this height.", None)
    press: Literal["up", "down"] | None = Field(default=None, description="Hold-to-run; needs for_s.")
    for_s: float | None = quantity(0.02, 3600, "How long the key is held.", None)
    jab: Literal["up", "down"] | None = Field(default=None, description="The key is pressed again and again; needs times, held_s, every_s.")
    times: int | None = Field(default=None, ge=1, le=20, description="How often the key is pressed.")
    held_s: float | None = quantity(0.001, 60, "How long it is held each time.", None)
    every_s: float | None = quantity(0.002, 60, "Time from one press to the next.", None)
    home: bool = Field(default=False, description="Find the end stops.")
    clear: bool = Field(default=False, description="Clear a fault; no move.")
    drive_duty: float | None = quantity(
        -1, 1, "Bypass: drive all bridges at this duty (negative: down), the controller is not obeyed.", None
    )
    off_after_s: float | None = quantity(0.01, 3600, "Bypass: power off this long after.", None)
    off: Literal["coast", "brake"] = Field(default="coast", description="Bypass: what the motors then do.")
    pause_s: float | None = quantity(0, 3600, "Time at rest before the order; left out: 0.5 s.", None)
    at_s: float | None = quantity(0, 36000, "Give the order at this time instead.", None)
    in_coast_s: float | None = quantity(
        0, 60, "Give the order this long after the power of the order before was cut, while the lift still coasts.", None
    )

    @model_validator(mode="after")
    def _is_one_order(self) -> Self:
        given = [key for key in _ORDERS if getattr(self, key) not in (None, False)]
        if len(given) != 1:
            raise ValueError(f"must hold exactly one of {', '.join(_ORDERS)} (holds {', '.join(given) or 'none'})")
        if (self.press is None) != (self.for_s is None):
            raise ValueError("press and for_s belong together")
        if (self.drive_duty is None) != (self.off_after_s is None):
            raise ValueError("drive_duty and off_after_s belong together")
        if [key for key in ("pause_s", "at_s", "in_coast_s") if getattr(self, key) is not None][1:]:
            raise ValueError("give pause_s, at_s or in_coast_s, not two of them")
        return self

    @model_validator(mode="after")
    def _jabs_wholly(self) -> Self:
        told = [key for key in _JAB if getattr(self, key) is not None]
        if (self.jab is None and told) or (self.jab is not None and len(told) < len(_JAB)):
            raise ValueError(f"jab, {', '.join(_JAB)} belong together")
        if self.held_s is not None and self.every_s is not None and self.held_s >= self.every_s:
            raise ValueError(f"held_s = {self.held_s:g} must be below every_s = {self.every_s:g}")
        return self
