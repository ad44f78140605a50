"""Who flies the lifts: workers of a dask.distributed cluster, started here on the loopback, or found by the address of their scheduler.

Only the texts of a plan travel, and rows come back.  A worker that is lost is replaced, or the others take its batches over; a batch
that loses its worker again and again is flown one lift at a time, and a lift that does so alone becomes a row that says so.

A scheduler runs whatever code it is sent: give ``--scheduler`` only one that nobody else can reach.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator
from dataclasses import asdict
from functools import lru_cache
from itertools import islice
from typing import TYPE_CHECKING, Any

import numpy as np

from scenarios import cache
from scenarios.campaign.engine import Batch, Flyer
from scenarios.campaign.plan import Plan, Ticket, restored
from scenarios.campaign.rows import Outcome, Rows, fly_lifts, lost_lift
from scenarios.errors import InputError

if TYPE_CHECKING:
    from distributed import Client, Future

__all__ = ["Cluster"]

IN_FLIGHT = 2
"""Batches a thread of the cluster: one that it flies and one that waits."""
LOSSES = 1
"""Workers that a task may lose, beyond the first, before it is given up; dask's own setting, for clusters started here."""
REACHED_WITHIN = "10s"


@lru_cache(maxsize=2)
def _plan(ticket: str) -> Plan:
    held = json.loads(ticket)
    held["changes"] = tuple((str(key), value) for key, value in held["changes"])
    return restored(Ticket(**held))


@lru_cache(maxsize=1)
def _sources() -> str:
    return cache.sources_key()


def _work(ticket: str, sources: str, flyer: Flyer, first: int, last: int) -> Rows:
    """What a worker does; raises InputError where it is another levelrig than the one that asks."""
    if _sources() != sources:
        raise InputError(
            ["a worker of the cluster has another levelrig, numpy, numba or scipy than this machine; install the same on every worker"]
        )
    return flyer(_plan(ticket), first, last)


class Cluster:
    """Engine on a cluster.

    Parameters
    ----------
    plan
        What is flown.
    jobs
        Worker processes of a cluster started here; 0: as many as there are cores.
    scheduler
        Address of a running scheduler, ``tcp://HOST:PORT``; None: a cluster of this machine alone, which ends with the campaign.
    flyer
        What flies runs of a plan; a module-level function that the workers can import.
    """

    def __init__(self, plan: Plan, jobs: int = 0, scheduler: str | None = None, flyer: Flyer = fly_lifts) -> None:
        self.plan, self.jobs, self.scheduler, self.flyer = plan, jobs, scheduler, flyer
        self._ticket = json.dumps(asdict(plan.ticket))

    def fly(self, batches: Iterable[Batch]) -> Iterator[tuple[Batch, Rows]]:
        """Rows of each batch, as they come.

        Raises
        ------
        InputError
            If dask.distributed is not installed, the scheduler cannot be reached or is lost, or a worker has another levelrig.
        """
        try:
            import dask
            from distributed import Client, LocalCluster
        except ImportError:
            raise InputError(["--engine cluster: needs dask.distributed; pip install 'levelrig[cluster]'"]) from None
        if self.scheduler is not None:
            try:
                client = Client(self.scheduler, timeout=REACHED_WITHIN)
            except (OSError, ValueError) as error:
                raise InputError([f"--scheduler {self.scheduler}: cannot be reached ({error}); is it tcp://HOST:PORT?"]) from None
            with client:
                yield from self._flown(client, batches)
            return
        with (
            dask.config.set({"distributed.scheduler.allowed-failures": LOSSES}),
            LocalCluster(
                n_workers=self.jobs or None, threads_per_worker=1, host="127.0.0.1", dashboard_address=None, silence_logs=50
            ) as local,
            Client(local) as client,
        ):
            yield from self._flown(client, batches)

    def _submit(self, client: Client, first: int, last: int) -> Future[Rows]:
        return client.submit(_work, self._ticket, _sources(), self.flyer, first, last, pure=False)

    def _flown(self, client: Client, batches: Iterable[Batch]) -> Iterator[tuple[Batch, Rows]]:
        from distributed import as_completed
        from distributed.client import FutureCancelledError
        from distributed.scheduler import KilledWorker

        left = iter(batches)
        flying: dict[Any, Batch] = {}
        suspects: list[Batch] = []
        coming: Any = as_completed()

        def hand_out(number: int) -> None:
            for batch in islice(left, number):
                future = self._submit(client, batch.first, batch.last)
                flying[future.key] = batch
                coming.add(future)

        hand_out(IN_FLIGHT * max(1, sum(client.nthreads().values())))
        try:
            for future in coming:
                batch = flying.pop(future.key)
                try:
                    rows = future.result()
                except KilledWorker:
                    suspects.append(batch)
                else:
                    yield batch, rows
                hand_out(1)
            for batch in sorted(suspects, key=lambda batch: batch.number):
                yield batch, self._fly_alone(client, batch)
        except (FutureCancelledError, OSError) as error:
            raise InputError([f"the cluster was lost ({error}); the same command goes on from what was flown"]) from None

    def _fly_alone(self, client: Client, batch: Batch) -> Rows:
        """A batch that lost its workers, one lift at a time and nothing beside it, so that no other lift is blamed."""
        from distributed.scheduler import KilledWorker

        rows: list[Rows] = []
        for run in range(batch.first, batch.last):
            try:
                rows.append(self._submit(client, run, run + 1).result())
            except KilledWorker:
                rows.append(lost_lift(self.plan, run, Outcome.CRASHED, "the worker that flew it ended, twice"))
        return Rows(np.concatenate([one.table for one in rows]), tuple(note for one in rows for note in one.notes))
