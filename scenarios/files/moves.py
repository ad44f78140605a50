"""What happens in a rehearsal: orders to the controller, the bypass that drives the bridges, and faults."""

from __future__ import annotations

from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from scenarios.files.fields import Table, quantity
from scenarios.files.leg import Place

__all__ = ["Extra", "Fault", "Guide", "Lose", "Move", "Payload", "PowerOff", "Supply", "ThreadFriction", "Timed"]

_ORDERS = ("to_mm", "press", "home", "drive_duty", "clear")


class Move(Table):
    """One order; it is given when the controller has been at rest for ``pause_s``, or at ``at_s``."""

    to_mm: float | None = quantity(-100, 10000, "Go to this height.", None)
    press: Literal["up", "down"] | None = Field(default=None, description="Hold-to-run; needs for_s.")
    for_s: float | None = quantity(0.02, 3600, "How long the key is held.", None)
    home: bool = Field(default=False, description="Find the end stops.")
    clear: bool = Field(default=False, description="Clear a fault; no move.")
    drive_duty: float | None = quantity(
        -1, 1, "Bypass: drive all bridges at this duty (negative: down), the controller is not obeyed.", None
    )
    off_after_s: float | None = quantity(0.01, 3600, "Bypass: power off this long after.", None)
    off: Literal["coast", "brake"] = Field(default="coast", description="Bypass: what the motors then do.")
    pause_s: float | None = quantity(0, 3600, "Time at rest before the order; left out: 0.5 s.", None)
    at_s: float | None = quantity(0, 36000, "Give the order at this time instead.", None)

    @model_validator(mode="after")
    def _is_one_order(self) -> Self:
        given = [key for key in _ORDERS if getattr(self, key) not in (None, False)]
        if len(given) != 1:
            raise ValueError(f"must hold exactly one of {', '.join(_ORDERS)} (holds {', '.join(given) or 'none'})")
        if (self.press is None) != (self.for_s is None):
            raise ValueError("press and for_s belong together")
        if (self.drive_duty is None) != (self.off_after_s is None):
            raise ValueError("drive_duty and off_after_s belong together")
        if self.pause_s is not None and self.at_s is not None:
            raise ValueError("give pause_s or at_s, not both")
        return self


class Timed(Table):
    """When a fault comes: at a time, or the first time the mean true height passes a height."""

    leg: str | None = Field(default=None, description="Name of the leg; left out where every leg may be meant: all.")
    at_s: float | None = quantity(0, 36000, "At this time.", None)
    at_mm_above: float | None = quantity(-100, 10000, "As soon as the mean height is at or above this.", None)
    at_mm_below: float | None = quantity(-100, 10000, "As soon as the mean height is at or below this.", None)

    @model_validator(mode="after")
    def _comes_once(self) -> Self:
        given = [key for key in ("at_s", "at_mm_above", "at_mm_below") if getattr(self, key) is not None]
        if len(given) != 1:
            raise ValueError(f"must hold exactly one of at_s, at_mm_above, at_mm_below (holds {', '.join(given) or 'none'})")
        return self


class Lose(Timed):
    """The next commutations of a leg are not heard."""

    what: Literal["lose-counts"]
    counts: int = Field(ge=1, le=100000, description="How many.")


class Extra(Timed):
    """A leg hears pulses that are none."""

    what: Literal["extra-counts"]
    counts: int = Field(ge=1, le=64, description="How many.")
    spacing_us: float = quantity(1, 100000, "Time between them.", 300.0)


class Payload(Timed):
    """The payload changes."""

    what: Literal["payload"]
    mass_kg: float = quantity(0, 20000, "New payload.")
    at_mm: Place = (0.0, 0.0)


class ThreadFriction(Timed):
    """The thread friction of a leg is multiplied."""

    what: Literal["thread-friction"]
    factor: float = quantity(0.1, 10, "Factor on what it is now.")


class Guide(Timed):
    """The guide friction of a leg becomes another."""

    what: Literal["guide-friction"]
    friction_n: float = quantity(0, 50000, "New guide friction.")


class Supply(Timed):
    """The supply's voltage without load becomes another."""

    what: Literal["supply"]
    open_voltage_v: float = quantity(0, 100, "New voltage.")


class PowerOff(Timed):
    """The bridges open (or short the motors) whatever the controller says, and it is not obeyed from then on."""

    what: Literal["power-off"]
    off: Literal["coast", "brake"] = Field(default="coast", description="What the motors then do.")


Fault = Annotated[Lose | Extra | Payload | ThreadFriction | Guide | Supply | PowerOff, Field(discriminator="what")]
