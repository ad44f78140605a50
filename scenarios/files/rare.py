"""The ``[rare]`` table of a campaign file: chances and distributions tilted so that what is rare becomes frequent, and is weighted back."""

from __future__ import annotations

from typing import TYPE_CHECKING, Self

from pydantic import Field, model_validator

from scenarios.files.fields import Table, quantity
from scenarios.files.spread import Spread

__all__ = ["Rare"]

if TYPE_CHECKING:
    from collections.abc import Collection, Mapping


class Rare(Table):
    """Importance sampling: what is flown differs from what is asked, and each lift carries the ratio of the two as its weight."""

    miss_factor: float = quantity(0.01, 1000, "Factor on every leg's run_miss.", 1.0)
    double_factor: float = quantity(0.01, 1000, "Factor on every leg's run_double.", 1.0)
    false_factor: float = quantity(0.01, 1000, "Factor on every leg's run_false.", 1.0)
    nominal_share: float = quantity(
        0.0, 0.9, "Share of the lifts that are flown untilted: no weight can then exceed one over it; 0 leaves weights unbounded.", 0.1
    )
    propose: dict[str, Spread] = Field(
        default={}, max_length=64, description="Distributions to draw from instead of those of [vary], by key."
    )

    @property
    def factors(self) -> tuple[float, float, float]:
        """On the chances of a miss, a double and a false pulse."""
        return self.miss_factor, self.double_factor, self.false_factor

    @model_validator(mode="after")
    def _tilts(self) -> Self:
        if not self.propose and self.factors == (1.0, 1.0, 1.0):
            raise ValueError("tilts nothing: give miss_factor, double_factor, false_factor or [rare.propose]")
        return self

    def complaints(self, vary: Mapping[str, Spread], correlated: Collection[str]) -> list[str]:
        """What does not fit the distributions that it replaces, in words."""
        told = []
        for key, proposal in self.propose.items():
            nominal = vary.get(key)
            if nominal is None:
                told.append(f'rare.propose."{key}": is not in [vary]')
                continue
            if key in correlated:
                told.append(f'rare.propose."{key}": is correlated; only what varies alone can be tilted')
            if (proposal.relative, proposal.each_leg, proposal.also) != (nominal.relative, nominal.each_leg, nominal.also):
                told.append(f'rare.propose."{key}": relative, each_leg and also must be as in [vary]')
            if proposal.values != nominal.values:
                told.append(f'rare.propose."{key}": values must be as in [vary], only weights may differ')
            told += [f'rare.propose."{key}": {text}' for text in _uncovered(nominal, proposal)]
        return told


def _ends(spread: Spread) -> tuple[float, float]:
    """Between which values a distribution has any."""
    if spread.distribution == "log-normal":
        return 0.0, float("inf")
    low = float("-inf") if spread.low is None else spread.low
    return low, float("inf") if spread.high is None else spread.high


def _uncovered(nominal: Spread, proposal: Spread) -> list[str]:
    """Complaint where the proposal never gives a value that the nominal distribution gives."""
    if nominal.values is not None:
        return []
    (low, high), (least, most) = _ends(nominal), _ends(proposal)
    if least > low or most < high:
        return [f"must reach from {low:g} to {high:g}, as the distribution in [vary] does, or lifts would be left out"]
    return []
