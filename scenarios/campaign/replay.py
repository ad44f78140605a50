"""One lift of a campaign again, with its trace: the scenario from the campaign's folder, and whether it came out as its row says."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from scenarios import cache

cache.prepare()

from scenarios.campaign.folder import read_ticket, row_of  # noqa: E402
from scenarios.campaign.plan import Plan, restored  # noqa: E402
from scenarios.campaign.rows import column_names  # noqa: E402
from scenarios.errors import InputError  # noqa: E402
from scenarios.files.scenario import Scenario  # noqa: E402
from scenarios.result import Result  # noqa: E402

__all__ = ["differences", "replayed"]


def replayed(folder: Path, run: int) -> tuple[Plan, Scenario]:
    """The campaign in a folder, and the scenario of one of its runs.

    Raises
    ------
    InputError
        If it is no folder of a campaign, has no such run, or the values of the run are refused.
    """
    plan = restored(read_ticket(folder))
    if not 0 <= run < plan.file.lifts:
        raise InputError([f"--run {run}: the campaign in {folder} has runs 0 to {plan.file.lifts - 1}"])
    (values,) = plan.sampler.values(run, run + 1)
    return plan, plan.flown(run, values)


def differences(folder: Path, run: int, result: Result) -> list[str]:
    """Lines on what is not as in the row that the campaign kept; one line that says so where all is the same."""
    row = row_of(folder, run)
    if row is None:
        return [f"Run {run} has not been flown by the campaign yet: there is no row to compare with."]
    names = column_names(restored(read_ticket(folder)))
    kept = {name: float(value) for name, value in zip(names, row, strict=True)}
    told = []
    for one in result.verdict.limits:
        found = float("nan") if one.value is None else one.value
        if not np.array_equal(found, kept[one.name], equal_nan=True):
            told.append(f"Run {run}: {one.name} was {kept[one.name]!r} in the campaign, is {found!r}.")
    return told or [f"Run {run}: every limit has the value of the campaign's row, to the last digit."]
