"""Faults of bridges, motor wires, motors and the supply."""

from __future__ import annotations

from typing import ClassVar, Literal, Self

from pydantic import Field, model_validator

from scenarios.files.fields import quantity
from scenarios.files.when import Lasting, Timed

__all__ = ["BridgeStuck", "BrokenWire", "Drag", "NoCurrentLimit", "PowerFail", "PowerOff", "Reversed", "SourceResistance", "Supply"]


class Supply(Lasting):
    """The supply's voltage without load becomes another."""

    whole: ClassVar[bool] = True
    what: Literal["supply"]
    open_voltage_v: float = quantity(0, 100, "New voltage.")


class SourceResistance(Lasting):
    """The resistance of the source rises: a bad contact, a thin cable, a cold battery."""

    whole: ClassVar[bool] = True
    what: Literal["source-resistance"]
    resistance_ohm: float = quantity(0.001, 20, "New resistance.")


class PowerFail(Lasting):
    """The mains is away: the source gives nothing, the bulk capacitor feeds what is left on."""

    whole: ClassVar[bool] = True
    what: Literal["power-fail"]


class PowerOff(Timed):
    """The bridges open (or short the motors) whatever the controller says, and it is not obeyed from then on."""

    what: Literal["power-off"]
    off: Literal["coast", "brake"] = Field(default="coast", description="What the motors then do.")


class Reversed(Lasting):
    """The two wires of a motor are exchanged: it runs the other way, its measured current has the sign of the command."""

    what: Literal["motor-reversed"]


class BrokenWire(Lasting):
    """A wire of a motor is broken: no current, nothing driven, nothing heard."""

    what: Literal["broken-wire"]


class BridgeStuck(Lasting):
    """The bridge of a leg does not obey."""

    what: Literal["bridge-stuck"]
    state: Literal["off", "on", "brake"] = Field(
        description='"off": stays open; "on": switches shorted, drives without a limit; "brake": shorts the motor where it should open.'
    )
    duty: float = quantity(-1, 1, 'Duty of a bridge that is stuck "on" (negative: down).', 1.0)

    @model_validator(mode="after")
    def _drives_where_it_is_on(self) -> Self:
        if self.state != "on" and "duty" in self.model_fields_set:
            raise ValueError('duty needs state = "on"')
        return self


class NoCurrentLimit(Lasting):
    """Neither the hardware nor the controller limits the current of a leg."""

    what: Literal["no-current-limit"]


class Drag(Lasting):
    """The drag of a motor is multiplied: cold grease, a tight seal, a worn gear."""

    what: Literal["motor-drag"]
    coulomb_factor: float = quantity(0.05, 50, "Factor on the Coulomb drag.", 1.0)
    viscous_factor: float = quantity(0.05, 50, "Factor on the viscous drag.", 1.0)

    @model_validator(mode="after")
    def _changes_something(self) -> Self:
        if not {"coulomb_factor", "viscous_factor"} & self.model_fields_set:
            raise ValueError("must hold coulomb_factor or viscous_factor")
        return self
