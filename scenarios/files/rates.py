"""A table of miss and false rates that the signal level has written, as a file that a lift may name."""

from __future__ import annotations

from itertools import pairwise
from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from plant.detector_records import RATE_BANDS, RATE_SPEEDS
from scenarios.files.fields import Table, quantity

__all__ = ["RateBand", "Rates"]

Rate = Annotated[float, Field(ge=0, le=0.95)]
Row = Annotated[tuple[Rate, ...], Field(min_length=RATE_SPEEDS, max_length=RATE_SPEEDS)]


class RateBand(Table):
    """Rates per commutation, one for each speed: the coast, or a driven motor in a band of current."""

    missed: Row = Field(description="Not heard.")
    doubled: Row = Field(description="Heard twice.")
    false: Row = Field(description="Joined by a false pulse.")
    commutations: tuple[int, ...] = Field(description="How many commutations each rate rests on.")

    @model_validator(mode="after")
    def _add_up(self) -> Self:
        for missed, doubled, false in zip(self.missed, self.doubled, self.false, strict=True):
            if missed + doubled + false > 1.0:
                raise ValueError(f"missed {missed:g}, doubled {doubled:g} and false {false:g} of one speed must not exceed 1 together")
        return self


class Rates(Table):
    """Miss and false rates of one detector on one motor, by speed and current."""

    kind: Literal["rates"] = Field(description='"rates"')
    about: str = Field(default="", max_length=2000, description="What they were found on.")
    speed_rpm: Annotated[tuple[float, ...], Field(min_length=RATE_SPEEDS, max_length=RATE_SPEEDS)] = Field(
        description="Motor speeds of the table, ascending; between them rates go straight, outside they stay."
    )
    current_a: Annotated[tuple[float, ...], Field(min_length=RATE_BANDS - 2, max_length=RATE_BANDS - 2)] = Field(
        description="Currents between the bands of a driven motor, ascending."
    )
    blanked_us: float = quantity(0, 20000, "Time after a switch-off in which nothing is heard.")
    false_on: float = quantity(0, 20, "Mean false pulses at a switch-on.")
    false_off: float = quantity(0, 20, "Mean false pulses at a switch-off.")
    coasting: RateBand
    driven: Annotated[tuple[RateBand, ...], Field(min_length=RATE_BANDS - 1, max_length=RATE_BANDS - 1)]

    @model_validator(mode="after")
    def _ascends(self) -> Self:
        for name in ("speed_rpm", "current_a"):
            if any(after <= before for before, after in pairwise(getattr(self, name))) or getattr(self, name)[0] <= 0.0:
                raise ValueError(f"{name} must ascend from above zero")
        return self
