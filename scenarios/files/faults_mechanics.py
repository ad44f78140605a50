"""Faults of load, spindles and guides."""

from __future__ import annotations

from typing import ClassVar, Literal, Self

from pydantic import Field, model_validator

from scenarios.files.fields import quantity
from scenarios.files.leg import Place
from scenarios.files.when import Lasting

__all__ = ["Guide", "Lean", "Obstacle", "Payload", "ThreadFriction"]


class Payload(Lasting):
    """The payload changes."""

    whole: ClassVar[bool] = True
    what: Literal["payload"]
    mass_kg: float = quantity(0, 20000, "New payload.")
    at_mm: Place = (0.0, 0.0)


class ThreadFriction(Lasting):
    """The thread friction of a leg is multiplied."""

    what: Literal["thread-friction"]
    factor: float = quantity(0.1, 10, "Factor on what it is now.")


class Guide(Lasting):
    """The guide friction of a leg becomes another."""

    what: Literal["guide-friction"]
    friction_n: float = quantity(0, 50000, "New guide friction.")


class Pointed(Lasting):
    """What meets one point of the deck."""

    whole: ClassVar[bool] = True
    at_mm: Place | None = Field(default=None, description="Point of the deck, x and y in its plan, mm; or name a leg: its place.")

    @model_validator(mode="after")
    def _is_at_one_point(self) -> Self:
        if (self.at_mm is None) == (self.leg is None):
            raise ValueError("must hold exactly one of at_mm, leg")
        return self


class Obstacle(Pointed):
    """Something springy is above or below one point of the deck."""

    what: Literal["obstacle"]
    side: Literal["above", "below"] = Field(description="Above: met going up. Below: met going down.")
    gap_mm: float | None = quantity(0, 10000, "Distance from the deck when it is put there.", None)
    height_mm: float | None = quantity(-100, 10000, "Height of its face instead.", None)
    stiffness_n_per_mm: float = quantity(0.1, 10000, "Of the obstacle or of the force gauge.")

    @model_validator(mode="after")
    def _is_somewhere(self) -> Self:
        if (self.gap_mm is None) == (self.height_mm is None):
            raise ValueError("must hold exactly one of gap_mm, height_mm")
        return self


class Lean(Pointed):
    """Somebody leans on a point of the deck, or lifts it there."""

    what: Literal["lean"]
    force_n: float = quantity(-5000, 5000, "Force, downwards positive.")
