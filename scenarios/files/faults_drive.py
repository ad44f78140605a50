"""Faults of bridges, wires and the supply."""

from __future__ import annotations

from typing import ClassVar, Literal

from pydantic import Field

from scenarios.files.fields import quantity
from scenarios.files.when import Lasting, Timed

__all__ = ["PowerOff", "Supply"]


class Supply(Lasting):
    """The supply's voltage without load becomes another."""

    whole: ClassVar[bool] = True
    what: Literal["supply"]
    open_voltage_v: float = quantity(0, 100, "New voltage.")


class PowerOff(Timed):
    """The bridges open (or short the motors) whatever the controller says, and it is not obeyed from then on."""

    what: Literal["power-off"]
    off: Literal["coast", "brake"] = Field(default="coast", description="What the motors then do.")
