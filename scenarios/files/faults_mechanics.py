"""Faults of load, spindles and guides, and what the deck and its stops meet."""

from __future__ import annotations

from typing import ClassVar, Literal, Self

from pydantic import Field, model_validator

from scenarios.files.fields import quantity
from scenarios.files.leg import Place
from scenarios.files.when import Lasting, Timed

__all__ = [
    "Debris",
    "GearSlip",
    "Guide",
    "GuideBinding",
    "HandTurn",
    "Jam",
    "Lean",
    "Obstacle",
    "Payload",
    "ThreadFriction",
    "Vibration",
]


class Payload(Lasting):
    """The payload changes or moves."""

    whole: ClassVar[bool] = True
    what: Literal["payload"]
    mass_kg: float = quantity(0, 20000, "New payload.")
    at_mm: Place = (0.0, 0.0)
    over_s: float = quantity(0, 3600, "Time that the change takes, evenly; 0: at once.", 0.0)


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


class Jam(Lasting):
    """A leg is held: its guide rubs with so much that nothing moves it."""

    what: Literal["jam"]
    holding_n: float = quantity(1, 200000, "Friction that holds it.", 20000.0)


class GuideBinding(Lasting):
    """The guide of a leg binds: its friction grows evenly from one height of the nut to another, and stays beyond."""

    what: Literal["guide-binding"]
    from_mm: float = quantity(-100, 10000, "Here nothing is felt yet.")
    to_mm: float = quantity(-100, 10000, "Here all of it is felt; below from_mm where it grows going down.")
    friction_n: float = quantity(0, 50000, "Friction added.")

    @model_validator(mode="after")
    def _grows_over_a_way(self) -> Self:
        if self.from_mm == self.to_mm:
            raise ValueError(f"to_mm = {self.to_mm:g} must differ from from_mm")
        return self


class GearSlip(Timed):
    """Teeth slip: the nut falls behind its motor, and the counts do not know."""

    what: Literal["gear-slip"]
    slip_mm: float = quantity(0.001, 200, "How far it falls.")


class Debris(Lasting):
    """Something lies on an end stop of a leg."""

    what: Literal["debris"]
    stop: Literal["low", "high"] = Field(default="low", description="On which stop.")
    thickness_mm: float = quantity(0.01, 2000, "Thickness.")
    stiffness_n_per_mm: float = quantity(0.1, 100000, "Of the debris until it is flat; then the stop is felt as well.")


class HandTurn(Timed):
    """Somebody turns the spindle of a leg by hand while its motor is off; what is heard of it depends on the speed."""

    what: Literal["hand-turn"]
    turn_mm: float = quantity(-1000, 1000, "How far the nut goes, up positive.")
    speed_mm_s: float = quantity(0.01, 100, "How fast.", 1.0)


class Vibration(Lasting):
    """Vibration takes away break-away friction of thread and drag: a screw that holds at rest may creep."""

    what: Literal["vibration"]
    static_factor: float = quantity(0.01, 1, "Factor on break-away friction.")
