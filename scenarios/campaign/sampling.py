"""Which values a lift has: a place in the unit cube for every run, and what the distributions make of it.

With plain random sampling the draws of run k depend on the seed, the name of what varies and k alone: neither on how many
lifts there are, nor on what else varies.  A Latin hypercube and a Sobol set are chosen as a whole, from the seed and their size.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cached_property
from hashlib import blake2b
from math import prod

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr, ndtri

from scenarios.campaign.draws import ends_of, grid_of, value_of
from scenarios.campaign.sensitivity import chance_of, design_place
from scenarios.files.campaign import CampaignFile
from scenarios.files.spread import Spread

__all__ = ["Sampler", "uniforms"]

WORDS = 4
"""64-bit words that one step of the counter gives."""


def uniforms(seed: int, name: str, first: int, last: int) -> NDArray[np.float64]:
    """Numbers strictly between 0 and 1 for runs ``first`` to ``last`` - 1 of what is called ``name``.

    Number k is word k of a Philox stream whose key is the seed and the name: any of them can be had without the others.
    """
    key = [seed, int.from_bytes(blake2b(name.encode(), digest_size=8).digest(), "little")]
    stream = np.random.Philox(key=np.array(key, dtype=np.uint64))
    stream.advance(first // WORDS)
    skip = first % WORDS
    words = stream.random_raw(skip + last - first)[skip:]
    return (np.asarray(words >> np.uint64(11), dtype=np.float64) + 0.5) * 2.0**-53


class Sampler:
    """Values of every run.

    Parameters
    ----------
    file
        The campaign file.
    names
        Names of what varies, in the order of the columns.
    spreads
        How each of them varies.
    groups
        Columns that vary together, with their correlation.
    proposals
        What importance sampling draws from instead of ``spreads``; left out: the same.
    """

    def __init__(
        self,
        file: CampaignFile,
        names: Sequence[str],
        spreads: Sequence[Spread],
        groups: Sequence[tuple[tuple[int, ...], float]] = (),
        proposals: Sequence[Spread] | None = None,
    ) -> None:
        self.file, self.names, self.spreads = file, tuple(names), tuple(spreads)
        self.proposals = self.spreads if proposals is None else tuple(proposals)
        self._groups = [(columns, _factor(len(columns), coefficient)) for columns, coefficient in groups]

    @property
    def drawn(self) -> bool:
        """Whether the lifts stand for all lifts, so that shares of them can be claimed."""
        return self.file.sampling in ("random", "latin-hypercube", "sobol")

    @property
    def base(self) -> int:
        """Rows of a design for Sobol indices."""
        return self.file.lifts // (len(self.names) + 2)

    def untilted(self, run: int) -> bool:
        """Whether a run is flown as asked: all are, but in importance sampling."""
        rare = self.file.rare
        return rare is None or float(uniforms(self.file.seed, "rare.nominal", run, run + 1)[0]) < rare.nominal_share

    def _spreads_of(self, run: int) -> Sequence[Spread]:
        """Distributions that a run draws from."""
        if self.file.rare is None or not self.file.rare.propose or self.untilted(run):
            return self.spreads
        return self.proposals

    def chance(self, run: int) -> int:
        """Number of the run whose chances (detector, readings) a run has: its own, but in a design for Sobol indices."""
        return chance_of(run, self.base) if self.file.sampling == "sensitivity" else run

    @property
    def combined(self) -> bool:
        """Whether every value is combined with every other, so that nothing is drawn."""
        return self.file.sampling in ("corners", "grid")

    @cached_property
    def choices(self) -> list[tuple[float | str, ...]]:
        """Values of each column that are combined."""
        return [ends_of(spread) if self.file.sampling == "corners" else grid_of(spread) for spread in self.spreads]

    @property
    def combinations(self) -> int:
        """How many combinations there are; 1 where values are drawn."""
        return prod(len(values) for values in self.choices) if self.combined else 1

    @cached_property
    def _whole(self) -> NDArray[np.float64]:
        """Every place of a design that is chosen as a whole, shape (lifts, columns), of a design for Sobol indices (rows, 2 columns)."""
        from scipy.stats import qmc

        rng = np.random.Generator(np.random.Philox(np.random.SeedSequence(self.file.seed)))
        count, lifts = len(self.names), self.file.lifts
        if self.file.sampling == "sensitivity":
            count, lifts = 2 * count, self.base  # A and B side by side
        engine = qmc.LatinHypercube(count, rng=rng) if self.file.sampling == "latin-hypercube" else qmc.Sobol(count, rng=rng)
        tiny = 2.0**-54  # scrambled points may lie on the edge of the cube, where a normal distribution has no value
        return np.clip(np.asarray(engine.random(lifts), dtype=np.float64), tiny, 1.0 - 2.0**-53)

    def places(self, first: int, last: int) -> NDArray[np.float64]:
        """Places in the unit cube, correlation included, shape (runs, columns)."""
        if self.file.sampling == "sensitivity":
            return np.stack([self._designed(run) for run in range(first, last)])
        if self.file.sampling == "random":
            columns = [uniforms(self.file.seed, name, first, last) for name in self.names]
            cube = np.stack(columns, axis=1) if columns else np.zeros((last - first, 0))
        else:
            cube = self._whole[first:last].copy()
        for columns_of, factor in self._groups:
            for row in cube:
                scores = [float(ndtri(row[column])) for column in columns_of]
                for i, column in enumerate(columns_of):
                    row[column] = float(ndtr(sum(factor[i][j] * scores[j] for j in range(i + 1))))
        return cube

    def _designed(self, run: int) -> NDArray[np.float64]:
        """Place of a run of the design for Sobol indices."""
        count = len(self.names)
        row, which = design_place(run, self.base, count)
        both = self._whole[row]
        place: NDArray[np.float64] = both[count:].copy() if which == count else both[:count].copy()
        if 0 <= which < count:
            place[which] = both[count + which]
        return place

    def values(self, first: int, last: int) -> list[tuple[float | str, ...]]:
        """Values of runs ``first`` to ``last`` - 1, one tuple a run in the order of the names."""
        if self.combined:
            return [self._combination(run % self.combinations) for run in range(first, last)]
        return [
            tuple(value_of(spread, float(place)) for spread, place in zip(self._spreads_of(first + k), row, strict=True))
            for k, row in enumerate(self.places(first, last))
        ]

    def _combination(self, index: int) -> tuple[float | str, ...]:
        """Combination of a number, the last column changing fastest."""
        found: list[float | str] = []
        for values in reversed(self.choices):
            index, place = divmod(index, len(values))
            found.append(values[place])
        return tuple(reversed(found))


def _factor(count: int, coefficient: float) -> list[list[float]]:
    """Lower factor of a correlation matrix with one coefficient throughout."""
    matrix = np.full((count, count), coefficient)
    np.fill_diagonal(matrix, 1.0)
    return [[float(value) for value in row] for row in np.linalg.cholesky(matrix)]
