"""When a fault comes and goes: one trigger, what must have happened before, a delay, and how long it lasts."""

from __future__ import annotations

from typing import Any, ClassVar, Literal, Self

from pydantic import Field, model_validator

from scenarios.files.fields import Table, quantity

__all__ = ["TRIGGERS", "Lasting", "ModeName", "Timed", "named"]

TRIGGERS = ("at_s", "at_mm_above", "at_mm_below", "at_mode", "at_commutation", "during")
"""Keys of which a fault holds exactly one, or none beside ``on``."""

ModeName = Literal["unreferenced", "homing", "ready", "moving", "settling", "retreating", "faulted"]
NAME_PATTERN = r"^[a-z][a-z0-9_-]{0,31}$"


def named(about: str) -> Any:
    """Field of a lower-case name that other tables may refer to."""
    return Field(default=None, pattern=NAME_PATTERN, description=about)


class Timed(Table):
    """When a fault comes. It comes once: at the first sub-step at or after its condition."""

    whole: ClassVar[bool] = False
    """Whether it concerns the machine as a whole and not its legs."""

    name: str | None = named('Lower-case name, so that other faults can come on = "this name".')
    leg: str | None = Field(default=None, description="Name of the leg; left out where every leg may be meant: all.")
    at_s: float | None = quantity(0, 36000, "At this time.", None)
    at_mm_above: float | None = quantity(-100, 10000, "As soon as the mean height is at or above this.", None)
    at_mm_below: float | None = quantity(-100, 10000, "As soon as the mean height is at or below this.", None)
    height_of: str | None = Field(default=None, description="The height of this leg counts instead of the mean height.")
    at_mode: ModeName | None = Field(default=None, description="The first time the controller is in this mode.")
    at_commutation: int | None = Field(
        default=None, ge=1, le=10**9, description="At this commutation of the leg, counted in either direction from the start."
    )
    during: Literal["start", "coast"] | None = Field(
        default=None, description='"start": as soon as the leg (or any) is driven; "coast": as soon as it is switched off and still turns.'
    )
    on: str | None = Field(
        default=None, description="After the move or fault of this name; beside another condition: that one is looked at only from then on."
    )
    after_s: float | None = quantity(0, 36000, "This long after the condition; left out: at once.", None)

    @model_validator(mode="after")
    def _comes_once(self) -> Self:
        given = [key for key in TRIGGERS if getattr(self, key) is not None]
        if len(given) > 1 or not (given or self.on):
            raise ValueError(f"must hold exactly one of {', '.join(TRIGGERS)}, or on (holds {', '.join(given) or 'none'})")
        if self.height_of is not None and self.at_mm_above is None and self.at_mm_below is None:
            raise ValueError("height_of needs at_mm_above or at_mm_below")
        if self.at_commutation is not None and self.leg is None:
            raise ValueError("at_commutation needs leg")
        if self.after_s is not None and self.at_s is not None:
            raise ValueError("after_s: add it to at_s")
        return self


class Lasting(Timed):
    """A fault that may end again: what it changed becomes what it was before."""

    for_s: float | None = quantity(0.0001, 36000, "It ends after this time; left out: it stays.", None)
