"""Who flies the lifts: processes on the cores of this machine, each on the flat clock.

An engine takes batches of runs and gives back their rows, in any order.  A worker that dies takes every batch in flight with it;
these are then flown one lift at a time, so that the lift that kills its process is found, named, and becomes a row.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass
from itertools import islice
from multiprocessing import get_context, parent_process
from threading import Thread
from typing import Protocol

import numpy as np

from scenarios.campaign.plan import Plan, Ticket, restored
from scenarios.campaign.rows import Outcome, Rows, fly_lifts, lost_lift

__all__ = ["Batch", "Cores", "Engine", "Flyer", "end_with_parent"]

IN_FLIGHT = 2
"""Batches a worker: one that it flies and one that waits."""

Flyer = Callable[[Plan, int, int], Rows]


@dataclass(frozen=True)
class Batch:
    """Runs ``first`` to ``last`` - 1, and the number of their file."""

    number: int
    first: int
    last: int


class Engine(Protocol):
    """Whatever flies batches."""

    def fly(self, batches: Iterable[Batch]) -> Iterator[tuple[Batch, Rows]]:
        """Rows of each batch, as they come."""


_PLAN: list[tuple[Plan, Flyer]] = []
"""What a worker flies, made by its initialiser."""


def end_with_parent() -> None:
    """End this process with the one that started it, however that ended."""
    parent = parent_process()
    if parent is not None:
        parent.join()
        os._exit(1)


def _begin(ticket: Ticket, flyer: Flyer) -> None:
    Thread(target=end_with_parent, daemon=True).start()
    _PLAN[:] = [(restored(ticket), flyer)]


def _work(first: int, last: int) -> Rows:
    plan, flyer = _PLAN[0]
    return flyer(plan, first, last)


class Cores:
    """Engine on the cores of this machine.

    Parameters
    ----------
    plan
        What is flown.
    jobs
        Processes; 0: as many as there are cores.
    flyer
        What flies runs of a plan; a module-level function.

    Notes
    -----
    Workers are spawned, never forked.  Even one worker is a process of its own, so that a lift that kills it is found.
    """

    def __init__(self, plan: Plan, jobs: int = 0, flyer: Flyer = fly_lifts) -> None:
        self.plan, self.flyer = plan, flyer
        self.jobs = jobs or os.cpu_count() or 1
        self._single: ProcessPoolExecutor | None = None

    def _pool(self, workers: int) -> ProcessPoolExecutor:
        return ProcessPoolExecutor(workers, mp_context=get_context("spawn"), initializer=_begin, initargs=(self.plan.ticket, self.flyer))

    def fly(self, batches: Iterable[Batch]) -> Iterator[tuple[Batch, Rows]]:
        """Rows of each batch, as they come."""
        left = iter(batches)
        suspects: list[Batch] = []
        while True:
            yield from self._fly_pooled(left, suspects)
            if not suspects:
                return
            for batch in suspects:
                yield batch, self._fly_alone(batch)
            suspects.clear()
            if self._single is not None:
                self._single.shutdown()
                self._single = None

    def _fly_pooled(self, left: Iterator[Batch], suspects: list[Batch]) -> Iterator[tuple[Batch, Rows]]:
        """Rows until there is nothing left or a worker dies; then ``suspects`` are the batches that were in flight."""
        flying: dict[Future[Rows], Batch] = {}
        handed: Batch | None = None
        with self._pool(self.jobs) as pool:
            try:
                while True:
                    for batch in islice(left, IN_FLIGHT * self.jobs - len(flying)):
                        handed = batch
                        flying[pool.submit(_work, batch.first, batch.last)] = batch
                        handed = None
                    if not flying:
                        return
                    for future in wait(flying, return_when=FIRST_COMPLETED).done:
                        batch = flying[future]
                        rows = future.result()
                        del flying[future]
                        yield batch, rows
            except BrokenProcessPool:
                held = [*flying.values(), *([handed] if handed is not None else [])]
                suspects += sorted(held, key=lambda batch: batch.number)
            finally:
                for future in flying:
                    future.cancel()

    def _fly_alone(self, batch: Batch) -> Rows:
        """A suspect batch, one lift at a time in a process of its own; a lift that ends it twice is a row that says so."""
        rows: list[Rows] = []
        for run in range(batch.first, batch.last):
            rows.append(self._attempt(run) or self._attempt(run) or self._lost(run))
        return Rows(np.concatenate([one.table for one in rows]), tuple(note for one in rows for note in one.notes))

    def _attempt(self, run: int) -> Rows | None:
        if self._single is None:
            self._single = self._pool(1)
        try:
            return self._single.submit(_work, run, run + 1).result()
        except BrokenProcessPool:
            self._single = None
            return None

    def _lost(self, run: int) -> Rows:
        return lost_lift(self.plan, run, Outcome.CRASHED, "the process that flew it ended, twice")
