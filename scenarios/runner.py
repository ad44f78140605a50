"""Fly a scenario, or a list of its variants over all cores."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from contextlib import suppress
from dataclasses import dataclass
from functools import partial
from multiprocessing import get_context
from pathlib import Path
from time import perf_counter
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from scenarios import cache

cache.prepare()

from scenarios.build import build_rig  # noqa: E402
from scenarios.files import load_scenario  # noqa: E402
from scenarios.files.scenario import Scenario  # noqa: E402
from scenarios.flat import fly_flat  # noqa: E402
from scenarios.rig import records, trace_columns  # noqa: E402
from scenarios.trace import empty_trace  # noqa: E402

__all__ = ["FOREVER", "Flight", "Run", "fly", "fly_on", "fly_rig", "fly_runs", "spread_over_cores"]

Item = TypeVar("Item")
Made = TypeVar("Made")

FOREVER = 1 << 62
"""More ticks than any rehearsal has."""


@dataclass(frozen=True)
class Flight:
    """One flown rehearsal."""

    scenario: Scenario
    rig: NDArray[np.void]
    trace: NDArray[np.float64]
    columns: list[str]
    wall_s: float
    clock: str
    seed: int
    carried_mm: tuple[float, ...] = ()
    """True minus counted height of each leg where it began, if earlier moves had been flown; empty: none had."""


def fly_rig(rig: NDArray[np.void], trace: NDArray[np.float64] | None = None, ticks: int = FOREVER) -> int:
    """Fly a prepared rig in place on the flat clock; returns the rows written into ``trace``."""
    room = np.zeros((0, 0)) if trace is None else trace
    return int(fly_flat(records(rig), room, ticks))


def fly_on(rig: NDArray[np.void], clock: str, trace: bool = True) -> NDArray[np.float64]:
    """Fly a prepared rig in place from where it stands to the end of its script; returns its trace, empty where none is wanted."""
    rows = empty_trace(rig) if trace else np.zeros((0, 0))
    if clock == "event":
        from scenarios.world import fly_event

        return rows[: fly_event(rig, rows)]
    return rows[: fly_rig(rig, rows)]


def fly(scenario: Scenario, seed: int | None = None, clock: str = "flat", trace: bool = True, run: int = 0) -> Flight:
    """Fly a scenario from start to end.

    Parameters
    ----------
    scenario
        A checked scenario.
    seed, run
        Of the random draws; None: the scenario's own seed.
    clock
        "flat" or "event".
    trace
        Whether to keep a row per control tick.

    Raises
    ------
    InputError
        If the machine cannot be integrated as asked.
    """
    rig = build_rig(scenario, seed, run)
    if clock == "event":
        import scenarios.world  # noqa: F401  # loaded before the time is taken
    else:
        fly_rig(rig, None, 0)  # loads the kernel, flies nothing
    begin = perf_counter()
    rows = fly_on(rig, clock, trace)
    wall = perf_counter() - begin
    columns = trace_columns(list(scenario.lift.names))
    return Flight(scenario, rig, rows, columns, wall, clock, int(rig["world"]["seed"][0]))


@dataclass(frozen=True)
class Run:
    """One row of a run list: a scenario file, changes by path, and the seed."""

    file: Path
    sets: tuple[tuple[str, Any], ...] = ()
    seed: int | None = None


def spread_over_cores(work: Callable[[Item], Made], items: Sequence[Item], workers: int = 0, chunk: int = 1) -> Iterator[Made]:
    """Do ``work`` on every item over several processes; yields what it returns, in the order of the items.

    Parameters
    ----------
    work
        A module-level function, or a ``partial`` of one (it travels to the workers).
    items
        What to work on.
    workers
        Processes; 0: as many as there are cores, 1: this process.
    chunk
        Items handed to a worker at a time.

    Notes
    -----
    Workers are spawned, never forked, and find the kernels compiled: the first item is done here.  Where a worker dies
    (for want of memory, say), what is left is done here, one at a time.
    """
    if not items:
        return
    yield work(items[0])
    if workers == 1 or len(items) == 1:
        yield from map(work, items[1:])
        return
    done = 1
    with suppress(BrokenProcessPool), ProcessPoolExecutor(workers or None, mp_context=get_context("spawn")) as pool:
        for made in pool.map(work, items[1:], chunksize=chunk):
            done += 1
            yield made
    yield from map(work, items[done:])


def _fly_run(run: Run, read: Callable[[Flight], Any]) -> Any:
    return read(fly(load_scenario(run.file, run.sets), seed=run.seed, trace=False))


def fly_runs(runs: Sequence[Run], read: Callable[[Flight], Any], workers: int = 0) -> list[Any]:
    """Fly a run list through the flat clock and return ``read(flight)`` of each, in order.

    Parameters
    ----------
    runs
        What to fly.
    read
        A module-level function (it travels to the workers) that takes what is wanted from a flight.
    workers
        Processes; 0: as many as there are cores, 1: this process.
    """
    return list(spread_over_cores(partial(_fly_run, read=read), runs, workers, chunk=4))
