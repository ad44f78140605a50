"""The search: differential evolution over the settings, corners joining in as they turn out to be the worst.

A candidate's findings depend on its values and corners alone, and the draws of the search on its seed alone.  So the search
is the same whoever flies, and one that was broken off goes on by replaying it from the findings on disk.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, cast

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import differential_evolution
from scipy.stats import qmc

from scenarios.files.tuning import Choices
from scenarios.tuning.archive import Archive
from scenarios.tuning.corners import Corner
from scenarios.tuning.flight import NOMINAL
from scenarios.tuning.guards import GUARDS
from scenarios.tuning.judging import Judgement, judge_settings
from scenarios.tuning.plan import Plan
from scenarios.tuning.workers import Crew, Finding

__all__ = ["REFUSED_COST", "Effort", "Found", "Searcher"]

REFUSED_COST = 1e4
DIGITS = 4
WORST_CORNERS = 2
VERIFIED = 2


@dataclass(frozen=True)
class Effort:
    """How long to search: candidates a generation, generations on the machine as in its files, rounds with the worst corners.

    ``corner_generations`` are those of each round, ``polish`` the steps to a better neighbour at the end.
    """

    population: int = 16
    generations: int = 4
    rounds: int = 2
    corner_generations: int = 2
    polish: int = 3

    def candidates(self) -> int:
        """Candidates judged in the whole search, at most."""
        return self.population * (self.generations + 1 + self.rounds * (self.corner_generations + 1)) + VERIFIED * (self.rounds + 1)


@dataclass(frozen=True)
class Found:
    """The best settings, judged at every corner, and everything that was tried on the way."""

    best: Judgement
    tried: tuple[Judgement, ...]


def _never(point: NDArray[np.float64]) -> float:
    """The cost function that differential evolution hands to its map, which judges a whole generation at once and does not call it."""
    raise AssertionError(f"a candidate was judged alone: {point}")


class Searcher:
    """Searches the settings of a plan.

    Parameters
    ----------
    plan
        What is tuned.
    crew
        Who flies.
    archive
        Findings so far, from an earlier run that was broken off.
    before
        Travel time of each rehearsal with the settings as they stand [s].
    tick
        Called with the number of candidates judged since the last call, for a progress bar.
    """

    def __init__(
        self, plan: Plan, crew: Crew, archive: Archive, before: dict[str, float], tick: Callable[[int], None] = lambda _: None
    ) -> None:
        self.plan, self.crew, self.archive, self.before, self.tick = plan, crew, archive, before, tick
        self.keys = [key for key in plan.search if key not in GUARDS]
        self.kept = {key: value for key, value in plan.start().items() if key in GUARDS}
        self.tried: list[Judgement] = []

    def judge(self, candidates: Sequence[dict[str, float]], corners: tuple[Corner, ...], full: bool = False) -> list[Judgement | None]:
        """Judgement of each candidate; None where the values contradict each other."""
        missing = [values for values in candidates if self.archive.get(values, corners, full) is None]
        unique = list({tuple(values.items()): values for values in missing}.values())
        for values, finding in zip(unique, self.crew.work([(values, corners, full) for values in unique]), strict=True):
            self.archive.put(values, corners, full, finding)
        self.archive.save()
        self.tick(len(candidates))
        judged: list[Judgement | None] = []
        for values in candidates:
            known = self.archive.get(values, corners, full)
            judged.append(self._judged(values, known) if known is not None and not known.refused else None)
        self.tried += [one for one in judged if one is not None]
        return judged

    def _judged(self, values: dict[str, float], finding: Finding) -> Judgement:
        return judge_settings(self.plan, values, finding.cells, finding.margins, self.before)

    def values(self, point: NDArray[np.float64]) -> dict[str, float]:
        """Values of a point of the unit cube, or of indices where one of several is taken; rounded as they would be written."""
        found = dict(self.kept)
        for key, place in zip(self.keys, point, strict=True):
            span = self.plan.search[key]
            if isinstance(span, Choices):
                found[key] = float(span.of[round(float(place))])
            else:
                found[key] = float(f"{span[0] + place * (span[1] - span[0]):.{DIGITS}g}")
        return found

    def point(self, values: dict[str, float]) -> NDArray[np.float64]:
        """The inverse of ``values``."""
        found = []
        for key in self.keys:
            span, value = self.plan.search[key], values[key]
            if isinstance(span, Choices):
                found.append(float(min(range(len(span.of)), key=lambda k: abs(span.of[k] - value))))
            else:
                found.append(min(max((value - span[0]) / (span[1] - span[0]), 0.0), 1.0))
        return np.array(found)

    def _bounds(self) -> Any:
        spans = [self.plan.search[key] for key in self.keys]
        return [(0.0, float(len(span.of) - 1)) if isinstance(span, Choices) else (0.0, 1.0) for span in spans]

    def _evolve(self, start: NDArray[np.float64], generations: int, corners: tuple[Corner, ...], seed: int) -> None:
        """Evolve a population; whatever is judged is kept in ``tried``."""

        def costs(_: object, points: Sequence[NDArray[np.float64]]) -> list[float]:
            judged = self.judge([self.values(np.asarray(point)) for point in points], corners)
            return [REFUSED_COST if one is None else one.cost for one in judged]

        differential_evolution(
            _never,
            self._bounds(),
            init=start,
            maxiter=generations,
            rng=np.random.default_rng(seed),
            workers=cast(Any, costs),
            updating="deferred",
            polish=False,
            tol=0.0,
            mutation=(0.4, 0.9),
            recombination=0.8,
            integrality=[isinstance(self.plan.search[key], Choices) for key in self.keys],
        )

    def _population(self, size: int, around: Sequence[dict[str, float]], spread: float, seed: int) -> NDArray[np.float64]:
        """A Latin hypercube; the given candidates first, and half of the rest drawn together around them."""
        bounds = np.array(self._bounds())
        cube = qmc.LatinHypercube(len(self.keys), rng=np.random.default_rng(seed)).random(size)
        points: NDArray[np.float64] = bounds[:, 0] + cube * (bounds[:, 1] - bounds[:, 0])
        centres = [self.point(values) for values in around]
        for k, centre in enumerate(centres[:size]):
            points[k] = centre
        for k in range(len(centres), len(centres) + (size - len(centres)) // 2):
            centre = centres[k % len(centres)]
            points[k] = np.clip(centre + spread * (points[k] - centre), bounds[:, 0], bounds[:, 1])
        return points

    def _best(self, number: int) -> list[dict[str, float]]:
        """Values of the best candidates so far, each once, those flown at most corners judged by their last judgement."""
        latest = {tuple(one.values.items()): one for one in self.tried}
        ranked = sorted(latest.values(), key=lambda one: (one.cost, tuple(one.values.values())))
        return [one.values for one in ranked[:number]]

    def search(self, guesses: Sequence[dict[str, float]], effort: Effort) -> Found:
        """Search from some guesses.

        First on the machine as in its files; then in rounds: the best are flown at every corner, the corners that were
        worst join in, and the search goes on around the best.
        """
        seed = self.plan.seed
        self._evolve(self._population(effort.population, guesses, 0.3, seed), effort.generations, (), seed)
        active: tuple[Corner, ...] = ()
        verified = self._verify()
        for number in range(effort.rounds):
            active = self._worst_corners(verified, active)
            start = self._population(effort.population, self._best(max(2, effort.population // 4)), 0.15, seed + 1 + number)
            self._evolve(start, effort.corner_generations, active, seed + 1 + number)
            verified += self._verify()
        best = min(verified, key=lambda one: (not one.ok, one.cost, tuple(one.values.values())))
        return Found(best, tuple(self.tried))

    def _verify(self) -> list[Judgement]:
        """The best so far, flown at every corner and with the margins of every corner."""
        judged = self.judge(self._best(VERIFIED), self.plan.corners, full=True)
        return [one for one in judged if one is not None]

    def _worst_corners(self, verified: Sequence[Judgement], active: tuple[Corner, ...]) -> tuple[Corner, ...]:
        """The corners of ``active`` and those at which the last verified settings were worst."""
        peaks: dict[str, float] = {}
        for cell in verified[-1].cells if verified else ():
            if cell.corner != NOMINAL.name:
                peaks[cell.corner] = max(peaks.get(cell.corner, 0.0), cell.outcome.peak + (0.0 if cell.outcome.ended else 1e3))
        known = {corner.name for corner in active}
        fresh = sorted((name for name in peaks if name not in known), key=lambda name: -peaks[name])[:WORST_CORNERS]
        return (*active, *(corner for corner in self.plan.corners if corner.name in fresh))
