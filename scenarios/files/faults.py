"""All kinds of fault that a scenario file may hold, told apart by ``what``.

A new kind is one class in the module of its group and one word in the union of that group below.
"""

from __future__ import annotations

from typing import Annotated, get_args

from pydantic import Field

from scenarios.files.faults_counting import Extra, Lose
from scenarios.files.faults_drive import PowerOff, Supply
from scenarios.files.faults_mechanics import Guide, Lean, Obstacle, Payload, ThreadFriction

__all__ = ["KINDS", "Counting", "Drive", "Fault", "Mechanics"]

Counting = Lose | Extra
Drive = Supply | PowerOff
Mechanics = Payload | ThreadFriction | Guide | Obstacle | Lean

Fault = Annotated[Counting | Drive | Mechanics, Field(discriminator="what")]

KINDS: tuple[str, ...] = tuple(
    get_args(kind.model_fields["what"].annotation)[0] for group in (Counting, Drive, Mechanics) for kind in get_args(group)
)
"""Words of ``what``, in the order of the catalogue."""
