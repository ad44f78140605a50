"""The campaign file: which rehearsal is flown how often, and which of its numbers vary how."""

from __future__ import annotations

from typing import Annotated, Any, Literal, Self

from pydantic import Field, model_validator

from scenarios.files.fields import Table, quantity
from scenarios.files.service import Service

__all__ = ["CampaignFile", "Correlated", "Spread"]

Bound = Annotated[float, Field(ge=-1e9, le=1e9)]

NEEDS: dict[str, tuple[str, ...]] = {
    "uniform": ("low", "high"),
    "normal": ("mean", "sd"),
    "truncated-normal": ("mean", "sd", "low", "high"),
    "triangular": ("low", "mode", "high"),
    "log-normal": ("median", "spread"),
    "discrete": ("values",),
}
"""Keys that each distribution needs; it takes no others."""
FIGURES = ("low", "high", "mean", "sd", "mode", "median", "spread", "values", "weights")


class Spread(Table):
    """How one number varies."""

    distribution: Literal["uniform", "normal", "truncated-normal", "triangular", "log-normal", "discrete"] = Field(
        description="Kind of distribution."
    )
    low: Bound | None = Field(default=None, description="Least value.")
    high: Bound | None = Field(default=None, description="Largest value.")
    mean: Bound | None = Field(default=None, description="Mean of the normal distribution, before it is truncated.")
    sd: float | None = quantity(1e-12, 1e9, "Standard deviation of the normal distribution, before it is truncated.", None)
    mode: Bound | None = Field(default=None, description="Most probable value.")
    median: float | None = quantity(1e-12, 1e9, "Half of the values are larger.", None)
    spread: float | None = quantity(1.000001, 100, "Two thirds of the values lie within the median over and times this.", None)
    values: tuple[Bound | str, ...] | None = Field(default=None, min_length=1, max_length=100, description="The values, numbers or words.")
    weights: tuple[Annotated[float, Field(gt=0, le=1e6)], ...] | None = Field(
        default=None, description="How often each of the values is taken, relative to the others; left out: all alike."
    )
    relative: bool = Field(default=False, description="True: the numbers are factors on what the files say.")
    each_leg: bool = Field(
        default=False, description="True: every leg has a draw of its own; the key is lift.leg.PART.KEY, without a name."
    )
    also: tuple[str, ...] = Field(default=(), max_length=16, description="Further keys that take the same value, or the same factor.")
    points: int = Field(default=3, ge=1, le=1000, description='With sampling = "grid": how many values, evenly spaced from low to high.')

    @model_validator(mode="after")
    def _holds_what_it_needs(self) -> Self:
        wanted = NEEDS[self.distribution]
        missing = [key for key in wanted if getattr(self, key) is None]
        if missing:
            raise ValueError(f"a {self.distribution} distribution needs {' and '.join(wanted)}; {' and '.join(missing)} is missing")
        extra = [key for key in FIGURES if getattr(self, key) is not None and key not in wanted and key != "weights"]
        if extra:
            raise ValueError(f"a {self.distribution} distribution takes {' and '.join(wanted)}, no {' and no '.join(extra)}")
        if self.weights is not None and (self.values is None or len(self.weights) != len(self.values)):
            raise ValueError("weights: must be as many as values, of a discrete distribution")
        self._check_order()
        return self

    def _check_order(self) -> None:
        if self.low is not None and self.high is not None and self.low >= self.high:
            raise ValueError(f"low = {self.low:g} must be below high = {self.high:g}")
        if self.mode is not None and self.low is not None and self.high is not None and not self.low <= self.mode <= self.high:
            raise ValueError(f"mode = {self.mode:g} must lie between low = {self.low:g} and high = {self.high:g}")
        if self.relative and any(isinstance(value, str) for value in self.values or ()):
            raise ValueError("relative: a word is no factor")


class Correlated(Table):
    """Numbers that vary together."""

    keys: tuple[str, ...] = Field(min_length=2, max_length=32, description="Keys of [vary].")
    coefficient: float = quantity(-0.99, 0.99, "Correlation of each pair, of the normal scores of their values.")

    @model_validator(mode="after")
    def _can_be(self) -> Self:
        least = -1.0 / (len(self.keys) - 1)
        if self.coefficient <= least:
            raise ValueError(f"coefficient = {self.coefficient:g}: {len(self.keys)} numbers cannot all be correlated below {least:.3g}")
        if len(set(self.keys)) < len(self.keys):
            raise ValueError("keys: one is named twice")
        return self


class CampaignFile(Table):
    """What ``levelrig campaign`` works on."""

    kind: Literal["campaign"] = Field(description='"campaign"')
    name: str = Field(min_length=1, max_length=80, description="Name of the campaign.")
    about: str = Field(default="", max_length=2000, description="What it is for.")
    rehearsal: str = Field(min_length=1, max_length=400, description="Path of the scenario file, from this file's folder.")
    lifts: int = Field(ge=1, le=100_000_000, description="How many lifts are flown.")
    seed: int = Field(default=1, ge=0, le=2**63 - 1, description="Seed of all draws; run k draws what (seed, k) says, whoever flies it.")
    sampling: Literal["random", "latin-hypercube", "sobol", "corners", "grid", "sensitivity"] = Field(
        default="random",
        description="How the values are chosen: plain random; evenly spread; every combination of ends, or of a grid; for Sobol indices.",
    )
    confidence: float = quantity(0.5, 0.99999, "Of the intervals and claims.", 0.95)
    batch: int | None = Field(
        default=None,
        ge=1,
        le=100_000,
        description="Lifts in a file of the campaign's folder; left out: 10 to 1000, of a service run 1. It changes no result.",
    )
    vary: dict[str, Spread] = Field(default={}, max_length=64, description='What varies: "payload.mass_kg" = { distribution = ... }.')
    correlated: tuple[Correlated, ...] = Field(default=(), max_length=16, description="Numbers that vary together.")
    service: Service | None = Field(default=None, description="Each lift flies the rehearsal's moves again and again, thousands in a row.")
    set: dict[str, Any] = Field(default={}, description='Changes for every lift: "lift.deck.mass_kg" = 0.')

    @model_validator(mode="after")
    def _fits(self) -> Self:
        if self.sampling != "random" and not self.vary:
            raise ValueError(f'sampling = "{self.sampling}": there is nothing to choose, [vary] is empty')
        if self.sampling == "sobol" and self.lifts & (self.lifts - 1):
            above = 1 << self.lifts.bit_length()
            raise ValueError(f'lifts = {self.lifts}: sampling = "sobol" is even only for powers of two; write {above // 2} or {above}')
        if self.sampling in ("latin-hypercube", "sobol") and self.lifts > 1 << 20:
            raise ValueError(f'lifts = {self.lifts}: sampling = "{self.sampling}" takes at most {1 << 20}; use "random"')
        if self.sampling in ("corners", "grid", "sensitivity") and self.correlated:
            raise ValueError(f'correlated: sampling = "{self.sampling}" takes every value apart from the others')
        named = [key for group in self.correlated for key in group.keys]
        twice = sorted({key for key in named if named.count(key) > 1})
        if twice:
            raise ValueError(f"correlated: {', '.join(twice)} stands in two groups")
        return self
