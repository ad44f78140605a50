"""Which engine flies a campaign, by its name on the command line."""

from __future__ import annotations

from scenarios.campaign.engine import Cores, Engine
from scenarios.campaign.plan import Plan
from scenarios.errors import InputError

__all__ = ["engine_of"]


def engine_of(name: str, plan: Plan, jobs: int = 0, scheduler: str | None = None) -> Engine:
    """Engine of a name: ``cores``, processes of this machine; ``cuda``, a card; ``cluster``, workers of dask.distributed.

    Parameters
    ----------
    name
        ``cores``, ``cuda`` or ``cluster``.
    plan
        What is flown.
    jobs
        Processes; 0: as many as there are cores.
    scheduler
        Address of the cluster's scheduler; None: a cluster of this machine alone.

    Raises
    ------
    InputError
        If a scheduler is given for another engine, or there is no card.
    """
    if scheduler is not None and name != "cluster":
        raise InputError([f"--scheduler: belongs to --engine cluster, not to --engine {name}"])
    if name == "cluster":
        from scenarios.campaign.cluster import Cluster

        return Cluster(plan, jobs, scheduler)
    if name == "cuda":
        from scenarios.campaign.cuda import Cuda

        return Cuda(plan, jobs)
    return Cores(plan, jobs)
