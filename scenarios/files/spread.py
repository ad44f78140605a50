"""How one number varies: a distribution with its figures."""

from __future__ import annotations

from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from scenarios.files.fields import Table, quantity

__all__ = ["Spread"]

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
