"""Faults of load, spindles and guides."""

from __future__ import annotations

from typing import ClassVar, Literal

from scenarios.files.fields import quantity
from scenarios.files.leg import Place
from scenarios.files.when import Lasting

__all__ = ["Guide", "Payload", "ThreadFriction"]


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
