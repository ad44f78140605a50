"""``levelrig rehearse --from CAMPAIGN --run N``: one run of a campaign as a rehearsal, and whether it comes out as its row says."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from scenarios.collection import Collection, Found
from scenarios.errors import InputError

if TYPE_CHECKING:
    from scenarios.campaign.service_replay import Stretch
    from scenarios.files import Scenario
    from scenarios.rehearsal_order import Order
    from scenarios.result import Result
    from scenarios.suite import Task

__all__ = ["Replay", "check_run_options"]


def check_run_options(order: Order) -> None:
    """Refuse options of runs where no campaign is named.

    Raises
    ------
    InputError
        Naming the option.
    """
    for name, value in (("--run", order.run), ("--move", order.move)):
        if order.source is None and value is not None:
            raise InputError([f"{name} {value}: is of a campaign; name its folder with --from"])


class Replay:
    """One run of a campaign, from its folder.

    Parameters
    ----------
    order
        What the command line asks for.
    source
        The folder.

    Raises
    ------
    InputError
        If it is no folder of a campaign, has no such run, or other options do not go with it.
    """

    def __init__(self, order: Order, source: Path) -> None:
        from scenarios.campaign.replay import replayed

        if order.files or order.sets or order.twins or order.run is None:
            raise InputError([f"--from {source}: needs --run N, and goes with no file, --set or --twins"])
        self.order, self.source, self.run = order, source, order.run
        self.plan, self.scenario = replayed(source, order.run)
        if self.plan.file.service is None and order.move is not None:
            raise InputError([f"--move {order.move}: the campaign in {source} flies no service runs; leave it out"])
        if self.plan.file.service is not None and order.seed not in (None, self.plan.file.seed):
            raise InputError([f"--seed {order.seed}: a service run has the seed of its campaign, {self.plan.file.seed}; leave it out"])
        self.stretch: Stretch | None = None

    @property
    def collection(self) -> Collection:
        """The run as a file that was named."""
        file = f"{self.plan.file.rehearsal}, run {self.run} of {self.source}"
        return Collection((Found(file, f"run-{self.run}", str(self.source), True, self.plan.sampler.chance(self.run)),), (), (), False)

    @property
    def loaded(self) -> list[tuple[Found, Scenario | list[str]]]:
        """The run with its scenario."""
        return [(self.collection.found[0], self.scenario)]

    def begun(self, tasks: Sequence[Task]) -> Sequence[Task]:
        """Tasks that are ready to be flown: a service run is brought to the move that is to be seen."""
        if self.plan.file.service is None:
            return tasks
        from tqdm import tqdm

        from scenarios.campaign.service_replay import find_stretch

        order = self.order
        wanted = order.move or self.plan.file.service.moves
        with tqdm(total=wanted, desc="moves", unit="move", file=sys.stderr, disable=True if order.quiet else None, leave=False) as bar:
            found = find_stretch(self.plan, self.scenario, self.run, order.move, lambda moves: bar.update(moves - bar.n))
        self.stretch = found
        (task,) = tasks
        return [replace(task, scenario=found.scenario, begun=found.begun, file=f"{task.file}, {found.name}")]

    def lines(self, result: Result) -> list[str]:
        """Whether it came out as the campaign's row says."""
        if self.stretch is not None:
            from scenarios.campaign.service_replay import stretch_lines

            return stretch_lines(self.source, self.plan, self.run, self.stretch, result)
        from scenarios.campaign.replay import differences

        return differences(self.source, self.run, result) if self.order.seed in (None, self.plan.file.seed) else []
