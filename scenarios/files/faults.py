"""All kinds of fault that a scenario file may hold, told apart by ``what``.

A new kind is one class in the module of its group and one word in the union of that group below.
"""

from __future__ import annotations

from typing import Annotated, get_args

from pydantic import Field

from scenarios.files.faults_counting import (
    CountRates,
    Crosstalk,
    DeadChannel,
    Extra,
    Interference,
    Lose,
    Springback,
    StuckHigh,
    SupplyStep,
    Swapped,
    TailLoss,
    WeakSegment,
)
from scenarios.files.faults_drive import (
    BridgeStuck,
    BrokenWire,
    Drag,
    NoCurrentLimit,
    PowerFail,
    PowerOff,
    Reversed,
    SourceResistance,
    Supply,
)
from scenarios.files.faults_mechanics import (
    Debris,
    GearSlip,
    Guide,
    GuideBinding,
    HandTurn,
    Jam,
    Lean,
    Obstacle,
    Payload,
    ThreadFriction,
    Vibration,
)
from scenarios.files.faults_timing import ClockJitter, ClockRate, MissedTicks, SaveDamaged

__all__ = ["KINDS", "Counting", "Drive", "Fault", "Mechanics", "Timing"]

Counting = (
    Lose
    | Extra
    | CountRates
    | WeakSegment
    | TailLoss
    | DeadChannel
    | StuckHigh
    | Swapped
    | Springback
    | Interference
    | Crosstalk
    | SupplyStep
)
Drive = Supply | SourceResistance | PowerFail | PowerOff | Reversed | BrokenWire | BridgeStuck | NoCurrentLimit | Drag
Timing = ClockJitter | ClockRate | MissedTicks | SaveDamaged
Mechanics = Payload | Obstacle | Lean | ThreadFriction | Vibration | Guide | GuideBinding | Jam | GearSlip | HandTurn | Debris

Fault = Annotated[Counting | Drive | Timing | Mechanics, Field(discriminator="what")]

KINDS: tuple[str, ...] = tuple(
    get_args(kind.model_fields["what"].annotation)[0] for group in (Counting, Drive, Timing, Mechanics) for kind in get_args(group)
)
"""Words of ``what``, in the order of the catalogue."""
