"""Who flies: this process, or several that each hold the bench and compile nothing."""

from __future__ import annotations

import os
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from multiprocessing import get_context
from types import TracebackType
from typing import Self

from scenarios.tuning.corners import Corner
from scenarios.tuning.flight import NOMINAL, Bench
from scenarios.tuning.judging import Cell
from scenarios.tuning.linear import CornerFigures, Linear
from scenarios.tuning.plan import Plan, with_settings

__all__ = ["Crew", "Finding", "Job"]

Job = tuple[dict[str, float], tuple[Corner, ...], bool]
"""Values of the searched keys, the corners at which to fly beside the machine as in its file, and whether margins are wanted of all."""


NO_FIGURES = CornerFigures(why="nothing was judged")


@dataclass(frozen=True)
class Finding:
    """What was found for a job: cells and margins, or why the values are refused."""

    cells: tuple[Cell, ...] = ()
    margins: CornerFigures = NO_FIGURES
    refused: str = ""


class _Hand:
    """One worker: a bench and a linear loop of the same plan."""

    def __init__(self, plan: Plan) -> None:
        self.plan, self.bench, self.linear = plan, Bench(plan), Linear(plan)

    def work(self, job: Job) -> Finding:
        values, corners, full = job
        try:
            settings = with_settings(self.plan.settings, values)
        except ValueError as error:
            return Finding(refused=str(error).splitlines()[-1])
        cells = [
            Cell(self.plan.rehearsals[k].name, corner.name, self.bench.fly(k, corner, settings, full and corner is NOMINAL))
            for corner in (NOMINAL, *corners)
            for k in range(len(self.plan.rehearsals))
        ]
        return Finding(tuple(cells), self.linear.figures(settings, quick=not full))


_HAND: list[_Hand] = []
"""The one worker of a spawned process, made by its initialiser: a bench is too large to travel with every job."""


def _begin(plan: Plan) -> None:
    _HAND[:] = [_Hand(plan)]


def _work(job: Job) -> Finding:
    return _HAND[0].work(job)


class Crew:
    """Workers for a plan; a context manager, so that no process outlives it.

    Parameters
    ----------
    plan
        What is tuned.
    jobs
        Processes; 0: as many as there are cores, 1: this process alone.

    Notes
    -----
    Workers are spawned, never forked; this process flies once first, so that they find the kernels compiled.
    """

    def __init__(self, plan: Plan, jobs: int = 0) -> None:
        self.plan = plan
        self.jobs = jobs or os.cpu_count() or 1
        self.own = _Hand(plan)
        self._pool: ProcessPoolExecutor | None = None

    def __enter__(self) -> Self:
        if self.jobs > 1:
            self.own.bench.fly(0, NOMINAL, self.plan.settings)
            self._pool = ProcessPoolExecutor(self.jobs, mp_context=get_context("spawn"), initializer=_begin, initargs=(self.plan,))
        return self

    def __exit__(self, kind: type[BaseException] | None, value: BaseException | None, trace: TracebackType | None) -> None:
        if self._pool is not None:
            self._pool.shutdown(wait=True, cancel_futures=True)

    def work(self, jobs: Sequence[Job]) -> list[Finding]:
        """Findings of the jobs, in their order, whoever made them."""
        if self._pool is None:
            return [self.own.work(job) for job in jobs]
        return list(self._pool.map(_work, jobs))
