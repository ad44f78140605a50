"""Faults of what is heard of the motors: counts lost, counts that are none."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from scenarios.files.fields import quantity
from scenarios.files.when import Timed

__all__ = ["Extra", "Lose"]


class Lose(Timed):
    """The next commutations of a leg are not heard."""

    what: Literal["lose-counts"]
    counts: int = Field(ge=1, le=100000, description="How many.")


class Extra(Timed):
    """A leg hears pulses that are none."""

    what: Literal["extra-counts"]
    counts: int = Field(ge=1, le=64, description="How many.")
    spacing_us: float = quantity(1, 100000, "Time between them.", 300.0)
