"""Faults of what is heard of the motors: counts lost, counts that are none."""

from __future__ import annotations

from typing import ClassVar, Literal, Self

from pydantic import Field, model_validator

from scenarios.files.fields import quantity
from scenarios.files.when import Lasting, Timed

__all__ = [
    "CountRates",
    "Crosstalk",
    "DeadChannel",
    "Extra",
    "Interference",
    "Lose",
    "Springback",
    "StuckHigh",
    "SupplyStep",
    "Swapped",
    "TailLoss",
    "WeakSegment",
]

_RATES = ("miss", "false", "double", "edge_false")


class Lose(Timed):
    """The next commutations of a leg are not heard."""

    what: Literal["lose-counts"]
    counts: int = Field(ge=1, le=100000, description="How many.")


class Extra(Timed):
    """A leg hears pulses that are none."""

    what: Literal["extra-counts"]
    counts: int = Field(ge=1, le=64, description="How many.")
    spacing_us: float = quantity(1, 100000, "Time between them.", 300.0)


class CountRates(Lasting):
    """The detector errs more often; what is left out stays as it is."""

    what: Literal["count-rates"]
    miss: float | None = quantity(0, 0.5, "Probability that a commutation is not heard while running.", None)
    false: float | None = quantity(0, 0.5, "Probability of a false pulse per commutation.", None)
    double: float | None = quantity(0, 0.5, "Probability that a commutation is heard twice.", None)
    edge_false: float | None = quantity(0, 20, "Mean false pulses at each switch-on and switch-off.", None)

    @model_validator(mode="after")
    def _changes_something(self) -> Self:
        if all(getattr(self, key) is None for key in _RATES):
            raise ValueError(f"must hold at least one of {', '.join(_RATES)}")
        return self


class WeakSegment(Lasting):
    """One commutation of every revolution is badly heard: a dirty bar or a shorted coil."""

    what: Literal["weak-segment"]
    segment: int = Field(ge=0, le=63, description="Which commutation of the revolution, from 0.")
    miss: float = quantity(0, 1, "Probability that it is not heard.", 1.0)


class TailLoss(Lasting):
    """The end of the coast is heard worse: below a higher speed nothing is heard of a coasting motor."""

    what: Literal["tail-loss"]
    below_rpm: float = quantity(0, 5000, "Motor speed below which a coasting motor is not heard.")


class DeadChannel(Lasting):
    """A counting channel gives no pulses."""

    what: Literal["dead-channel"]


class StuckHigh(Lasting):
    """A counting channel goes high and stays there: one pulse, then none. One that chatters is ``interference`` on one leg."""

    what: Literal["stuck-high"]


class Swapped(Lasting):
    """The counting inputs of two legs are exchanged: a wiring error."""

    whole: ClassVar[bool] = True
    what: Literal["swapped-counts"]
    leg: str = Field(description="One of the two legs.")
    with_leg: str = Field(description="The other one.")

    @model_validator(mode="after")
    def _are_two(self) -> Self:
        if self.leg == self.with_leg:
            raise ValueError(f'with_leg = "{self.with_leg}": must be another leg than leg')
        return self


class Springback(Lasting):
    """Gear or belt spring back after each stop, and the detector hears it."""

    what: Literal["springback"]
    counts: int = Field(ge=1, le=20, description="Pulses after each stop.")


class Interference(Lasting):
    """False pulses from outside; without a leg they come at the same instants on all of them."""

    whole: ClassVar[bool] = True
    what: Literal["interference"]
    rate_hz: float = quantity(0.01, 20000, "Mean number of false pulses per second.")


class Crosstalk(Lasting):
    """What another motor does on its wires is heard on this leg's."""

    what: Literal["crosstalk"]
    chance: float = quantity(0, 1, "Probability that a commutation of the other leg is heard.")
    from_leg: str | None = Field(default=None, description="The other leg; left out: any other.")


class SupplyStep(Lasting):
    """Steps of the supply are heard as pulses."""

    what: Literal["supply-step-counts"]
    pulses: float = quantity(0, 20, "Mean number of false pulses at a step.")
    least_v: float = quantity(0.05, 50, "Change within about five guard ticks that counts as a step.", 1.0)
