"""The ``[service]`` table of a campaign file: each lift is flown through thousands of moves in a row, with what they leave behind."""

from __future__ import annotations

from typing import Literal, Self

from pydantic import Field, model_validator

from scenarios.files.fields import Table, quantity

__all__ = ["Service"]


class Service(Table):
    """A life in moves: the rehearsal's moves are repeated; temperatures, counts, learnt values and wear are carried on."""

    moves: int = Field(ge=2, le=1_000_000, description="Moves of each lift, homings not counted.")
    moves_per_day: float = quantity(0.1, 5000, "How often the lift is used; between the cycles it rests and cools.", 20.0)
    ambient_swing_c: float = quantity(0, 40, "How far the air is warmer at the start of each day, and colder half a day later.", 0.0)
    rehome: Literal["asked", "never"] = Field(
        default="asked", description="asked: homed after the cycle in which the controller has asked for it; never: only after a fault."
    )
    rehome_every: int | None = Field(
        default=None, ge=1, le=1_000_000, description="Homed after so many moves since the last homing, asked for or not."
    )
    drift_counts: float = quantity(1, 10000, "Count error of a leg from which a drift flag is right, and a missing one is missed.", 20.0)
    life_moves: float | None = quantity(10, 1e9, "Moves after which half of the lifts are worn out; left out: no wear.", None)
    life_spread: float = quantity(1, 10, "Two thirds of the lives lie within life_moves over and times this.", 1.0)
    worn_friction: float = quantity(0.5, 5, "Thread friction when worn out, as a factor; it grows in proportion to the moves.", 1.0)
    worn_miss: float = quantity(0, 0.5, "Probability that a commutation is missed when worn out, added to that of the lift file.", 0.0)
    worn_double: float = quantity(
        0, 0.5, "Probability that a commutation is heard twice when worn out, added to that of the lift file.", 0.0
    )
    flag_permille: float | None = quantity(
        0.01, 1000, "Wear index from which service is asked for: pulses corrected per thousand heard; left out: never.", None
    )
    due_wear: float = quantity(0.01, 1.5, "Share of the life from which service is due; a service flag before it is false.", 0.8)

    @model_validator(mode="after")
    def _wears(self) -> Self:
        worn = self.worn_friction != 1.0 or self.worn_miss > 0.0 or self.worn_double > 0.0
        if worn != (self.life_moves is not None):
            raise ValueError("life_moves belongs to worn_friction, worn_miss or worn_double: give a life and what wears, or neither")
        if self.life_moves is None and self.life_spread != 1.0:
            raise ValueError("life_spread: needs life_moves")
        return self
