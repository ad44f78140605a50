"""Many rehearsals at once: each one flown, judged, held against what its file expects, and laid out as a page, by one task.

A task is plain data and travels to a worker process, so that a folder is flown over all cores; what comes back is in the
order of the tasks, whoever was done first.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from scenarios.against import Shrunk
from scenarios.assumptions import assumptions, derivations
from scenarios.campaign.service_clock import fly_stretch
from scenarios.errors import InputError
from scenarios.expectation import Outcome, TwinOutcome, outcome_of, twin_outcome
from scenarios.files.limits import Limits
from scenarios.files.scenario import Scenario
from scenarios.files.twin import twin_changes
from scenarios.result import Result, result_of
from scenarios.runner import fly, spread_over_cores
from scenarios.why import explain
from scenarios.wiring import stored_energy

__all__ = ["Task", "Told", "fly_task", "fly_tasks"]

PAGES_A_WORKER = 12
"""Pages that are worth starting a process for: a page takes about a second to draw, a worker four to get ready to."""
FLIGHTS_A_WORKER = 60
"""The same for flights without pages."""


@dataclass(frozen=True)
class Task:
    """One rehearsal to fly."""

    scenario: Scenario
    file: str
    label: str
    folder: str
    seed: int | None
    clock: str
    twin: bool
    """Whether to fly its spoiled twin too."""
    keep_trace: bool
    why: bool = False
    """Whether to look for what a broken limit goes back to."""
    stem: str = ""
    """Name of its page, without ending; empty: no page."""
    command: str = ""
    """Command line that repeats it; on the page."""
    run: int = 0
    """Number of the run in a campaign; another run draws other numbers."""
    begun: NDArray[np.void] | None = None
    """Rig of a service run before the moves of the scenario; None: one is built from the scenario."""


@dataclass(frozen=True)
class Told:
    """What became of a task; ``result`` is ``None`` where the input was wrong, then ``bad`` says why."""

    file: str
    label: str
    folder: str
    lift: str = ""
    result: Result | None = None
    outcome: Outcome | None = None
    twin: TwinOutcome | None = None
    bad: tuple[str, ...] = ()
    shrunk: tuple[Shrunk, ...] = ()
    """Margins smaller than in the run that this one is held against."""
    ids: tuple[str, ...] = ()
    """Requirement ids of the lift and the scenario file, replaced limits included."""
    stem: str = ""
    page: tuple[tuple[str, bytes], ...] = ()
    """Files of the page by name."""

    @property
    def as_expected(self) -> bool:
        """Whether the rehearsal, and its twin where it was flown, ended as the file says."""
        return self.outcome is not None and self.outcome.as_expected and (self.twin is None or self.twin.as_expected)


def _judged(scenario: Scenario, task: Task) -> Result:
    if task.begun is not None:
        flight = fly_stretch(scenario, task.begun, task.clock)
    else:
        flight = fly(scenario, seed=task.seed, clock=task.clock, trace=True, run=task.run)
    return result_of(flight, float(stored_energy(flight.rig)), scenario.limits, task.file, scenario.sets)


def _twin(task: Task, result: Result) -> TwinOutcome | None:
    twin = task.scenario.file.twin
    if not task.twin or twin is None:
        return None
    (change,) = twin_changes(twin)
    try:
        spoiled = _judged(task.scenario.spoiled_twin(), task)
    except InputError as error:
        return TwinOutcome(change[0], str(change[1]), twin.breaks, (), tuple(error.messages))
    return twin_outcome(result.verdict, spoiled.verdict, change, twin.breaks)


def _page(task: Task, told: Told) -> tuple[tuple[str, bytes], ...]:
    if not task.stem or told.result is None:
        return ()
    from scenarios.report import Page, page_files
    from scenarios.sheet import derive

    scenario, result = task.scenario, told.result
    page = Page(
        stem=task.stem,
        result=result,
        lift=scenario.lift.name,
        about=scenario.about,
        command=task.command,
        sheet=derive(scenario.lift),
        assumptions=tuple(assumptions(scenario)),
        derivations=tuple(derivations(scenario)),
    )
    return tuple(page_files(page).items())


def _ids(scenario: Scenario) -> tuple[str, ...]:
    tables = (scenario.lift.limits, scenario.file.limits)
    values = [getattr(table, name) for table in tables for name in Limits.model_fields]
    return tuple(dict.fromkeys(value.id for value in values if value is not None and value.id))


def fly_task(task: Task) -> Told:
    """Fly, judge and lay out one rehearsal; wrong input that only flying shows is told, not raised."""
    told = Told(task.file, task.label, task.folder, lift=task.scenario.lift.name, ids=_ids(task.scenario), stem=task.stem)
    try:
        result = _judged(task.scenario, task)
    except InputError as error:
        return replace(told, bad=tuple(error.messages))
    if task.why:
        result = replace(result, why=explain(task.scenario, result))
    told = replace(
        told,
        result=result,
        outcome=outcome_of(result.verdict, task.scenario.file.expect_broken),
        twin=_twin(task, result),
    )
    page = _page(task, told)
    return replace(told, result=result if task.keep_trace else result.without_trace(), page=page)


def _workers(tasks: Sequence[Task], jobs: int) -> int:
    if jobs > 0:
        return jobs
    import os

    paged = sum(1 for task in tasks if task.stem)
    worth = -(-paged // PAGES_A_WORKER) if paged else -(-len(tasks) // FLIGHTS_A_WORKER)
    return max(1, min(os.cpu_count() or 1, worth))


def fly_tasks(tasks: Sequence[Task], jobs: int = 0) -> Iterator[Told]:
    """Fly tasks over several processes; yields what became of each, in their order.

    Parameters
    ----------
    tasks
        What to fly.
    jobs
        Processes; 0: as many as are worth starting, at most one a core.
    """
    yield from spread_over_cores(fly_task, tasks, _workers(tasks, jobs))
