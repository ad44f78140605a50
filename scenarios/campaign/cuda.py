"""Who flies the lifts: a CUDA card, one thread a lift, while the cores build the next rigs and judge the last.

A group of batches makes one launch.  Rigs travel compact; a lift that has no room in the compact layout, or that ran out of it, is
flown by the core that would have judged it.  So the rows are those of the other engines, to the byte.
"""

from __future__ import annotations

import os
from collections.abc import Iterable, Iterator
from concurrent.futures import Future, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from functools import cached_property, partial
from importlib.util import find_spec
from multiprocessing import get_context
from threading import Thread
from typing import Any

import numpy as np
from numpy.typing import NDArray

from scenarios.campaign.compact import WHOLE, Compact, compact_of
from scenarios.campaign.engine import Batch, Cores, end_with_parent
from scenarios.campaign.plan import Plan, Ticket, restored
from scenarios.campaign.rows import Rows, fly_lift, judged_lift
from scenarios.errors import InputError
from scenarios.files.scenario import Scenario
from scenarios.runner import FOREVER

__all__ = ["Cuda", "build_lifts", "judge_lifts"]

THREADS = 64
"""Threads a block: two warps, so that the card can fill every processor of it with a small group too."""
LIFTS_A_LAUNCH = 33_792
"""Lifts in the air at a time: 256 for each of 132 processors, as many as their registers hold; measured, half as many fly 10 % slower."""


def require_card() -> None:
    """Refuse where no card can fly.

    Raises
    ------
    InputError
        If numba-cuda is not installed, or finds no card.
    """
    missing = InputError(["--engine cuda: needs numba-cuda, which is not installed; pip install 'levelrig[cuda]'"])
    try:
        from scenarios.campaign import cuda_kernel
    except ImportError:
        raise missing from None
    if cuda_kernel.simulated():
        return
    if find_spec("numba_cuda") is None:
        raise missing
    try:
        cuda_kernel.card()
    except Exception as error:  # whatever a driver says that is missing, too old or busy
        raise InputError([f"--engine cuda: no CUDA card can be used ({_told(error)}); use --engine cores"]) from None


def _told(error: Exception) -> str:
    """One line of what a driver says in many."""
    return " ".join(str(error).split()) or type(error).__name__


def fly_on_card(layout: Compact, rigs: NDArray[np.void]) -> NDArray[np.void]:
    """Fly compact rigs, shape (lifts,), to their ends; returns them flown.

    Raises
    ------
    InputError
        If the card fails, for want of memory for one.
    """
    from scenarios.campaign.cuda_kernel import kernel_of, to_card, unfused

    if not len(rigs):
        return rigs
    try:
        there = to_card(rigs)
        with unfused():
            kernel_of(layout)[-(-len(rigs) // THREADS), THREADS](there, FOREVER)
        flown: NDArray[np.void] = there.copy_to_host()
    except Exception as error:  # a driver has many ways to say so; what was flown before is in the folder
        raise InputError([f"--engine cuda: the card failed ({_told(error)}); the same command goes on, with --engine cores too"]) from error
    return flown


_HELD: list[tuple[Plan, Compact]] = []
"""What a worker builds and judges, made by its initialiser."""


def _begin(ticket: Ticket, layout: Compact) -> None:
    Thread(target=end_with_parent, daemon=True).start()
    _HELD[:] = [(restored(ticket), layout)]


def _built(first: int, last: int) -> tuple[NDArray[np.int64], NDArray[np.void]]:
    return build_lifts(*_HELD[0], first, last)


def _judged(first: int, last: int, runs: NDArray[np.int64], flown: NDArray[np.void]) -> Rows:
    return judge_lifts(*_HELD[0], (first, last), runs, flown)


def build_lifts(plan: Plan, layout: Compact, first: int, last: int) -> tuple[NDArray[np.int64], NDArray[np.void]]:
    """Compact rigs of runs ``first`` to ``last`` - 1, and which runs they are: one that is refused or has no room is left out."""
    from scenarios.build import build_rig

    runs, rigs = [], []
    for k, values in enumerate(plan.sampler.values(first, last)):
        try:
            rig = build_rig(plan.flown(first + k, values), plan.file.seed, plan.sampler.chance(first + k))
        except Exception:  # it is told by the row that its judge makes of it
            continue
        if layout.fits(rig):
            runs.append(first + k)
            rigs.append(layout.pack(rig))
    return np.array(runs, dtype=np.int64), np.concatenate(rigs) if rigs else np.zeros(0, dtype=layout.dtype)


def _ready(rig: NDArray[np.void], _: Scenario) -> NDArray[np.void]:
    return rig


def judge_lifts(plan: Plan, layout: Compact, span: tuple[int, int], runs: NDArray[np.int64], flown: NDArray[np.void]) -> Rows:
    """Rows of the runs from ``span[0]`` to ``span[1]`` - 1, of which ``flown`` holds ``runs``; the others are flown here."""
    whole = ~layout.overflowed(flown)
    places = {int(run): k for k, run in enumerate(runs) if whole[k]}
    rows = []
    for k, values in enumerate(plan.sampler.values(*span)):
        run = span[0] + k
        place = places.get(run)
        if place is None:
            rows.append(fly_lift(plan, run, values))
        else:
            rig = layout.unpack(flown[place : place + 1])
            rows.append(judged_lift(plan, run, values, partial(_ready, rig)))
    return Rows(np.concatenate([one.table for one in rows]), tuple(note for one in rows for note in one.notes))


Built = Future[tuple[NDArray[np.int64], NDArray[np.void]]]


class Cuda:
    """Engine on a CUDA card.

    Parameters
    ----------
    plan
        What is flown.
    jobs
        Processes that build and judge; 0: as many as there are cores.

    Raises
    ------
    InputError
        If there is no card, or a lift of the campaign is a service run.
    """

    def __init__(self, plan: Plan, jobs: int = 0) -> None:
        if plan.file.service is not None:
            raise InputError([f"{plan.path}: service: a card flies single moves; use --engine cores or --engine cluster"])
        require_card()
        self.plan, self.jobs = plan, jobs or os.cpu_count() or 1

    @cached_property
    def layout(self) -> Compact:
        """Of the rigs of all lifts that have room in it."""
        from scenarios.build import build_rig
        from scenarios.campaign.cuda_kernel import simulated

        # the simulator calls kernels compiled for the processor: of the whole rig there are some already
        return WHOLE if simulated() else compact_of(build_rig(self.plan.nominal, self.plan.file.seed))

    def fly(self, batches: Iterable[Batch]) -> Iterator[tuple[Batch, Rows]]:
        """Rows of each batch, as they come: while a group of batches is in the air the next is built and the last is judged.

        Where a process that builds or judges dies, the engine of the cores flies what is left: it finds the lift that killed it.
        """
        left = {batch.number: batch for batch in batches}
        try:
            for batch, rows in self._fly_grouped(_grouped(list(left.values()))):
                del left[batch.number]
                yield batch, rows
        except BrokenProcessPool:
            yield from Cores(self.plan, self.jobs).fly(left.values())

    def _fly_grouped(self, groups: Iterator[list[Batch]]) -> Iterator[tuple[Batch, Rows]]:
        begin = (self.plan.ticket, self.layout)
        with ProcessPoolExecutor(self.jobs, mp_context=get_context("spawn"), initializer=_begin, initargs=begin) as pool:
            waiting: list[tuple[Batch, Future[Rows]]] = []
            group = self._build(pool, next(groups, []))
            while group:
                after = self._build(pool, next(groups, []))
                judged = self._flown(pool, group)
                yield from _results(waiting)
                waiting, group = judged, after
            yield from _results(waiting)

    def _build(self, pool: ProcessPoolExecutor, group: list[Batch]) -> list[tuple[Batch, Built]]:
        return [(batch, pool.submit(_built, batch.first, batch.last)) for batch in group]

    def _flown(self, pool: ProcessPoolExecutor, group: list[tuple[Batch, Built]]) -> list[tuple[Batch, Future[Rows]]]:
        """Fly a group in one launch and hand its batches to their judges."""
        built = [(batch, *future.result()) for batch, future in group]
        flown = fly_on_card(self.layout, np.concatenate([rigs for _, _, rigs in built]))
        judged, at = [], 0
        for batch, runs, rigs in built:
            own = flown[at : at + len(rigs)]
            at += len(rigs)
            judged.append((batch, pool.submit(_judged, batch.first, batch.last, runs, own)))
        return judged


def _grouped(batches: Iterable[Batch]) -> Iterator[list[Batch]]:
    """Batches together that make a launch."""
    group: list[Batch] = []
    for batch in batches:
        group.append(batch)
        if sum(one.last - one.first for one in group) >= LIFTS_A_LAUNCH:
            yield group
            group = []
    if group:
        yield group


def _results(waiting: list[tuple[Batch, Future[Any]]]) -> Iterator[tuple[Batch, Rows]]:
    for batch, future in waiting:
        yield batch, future.result()
