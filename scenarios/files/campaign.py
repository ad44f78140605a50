"""The campaign file: which rehearsal is flown how often, and which of its numbers vary how."""

from __future__ import annotations

from collections.abc import Collection
from typing import Any, Literal, Self

from pydantic import Field, model_validator

from scenarios.files.fields import Table, quantity
from scenarios.files.rare import Rare
from scenarios.files.service import Service
from scenarios.files.spread import Spread

__all__ = ["CampaignFile", "Correlated"]


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
    rare: Rare | None = Field(default=None, description="Tilts chances and distributions so that what is rare becomes frequent.")
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
        if self.rare is not None:
            self._tilted(self.rare, {*named})
        twice = sorted({key for key in named if named.count(key) > 1})
        if twice:
            raise ValueError(f"correlated: {', '.join(twice)} stands in two groups")
        return self

    def _tilted(self, rare: Rare, correlated: Collection[str]) -> None:
        if self.sampling != "random" or self.service is not None:
            raise ValueError('rare: needs sampling = "random", and no [service]')
        told = rare.complaints(self.vary, correlated)
        if told:
            raise ValueError("; ".join(told))
