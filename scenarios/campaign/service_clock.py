"""A stretch of a service run as a rehearsal of its own: its times run from where it began, and it can be flown again with a trace."""

from __future__ import annotations

from time import perf_counter
from typing import Any

import numpy as np
from numpy.typing import NDArray

from scenarios import cache

cache.prepare()

from scenarios.files.scenario import Scenario  # noqa: E402
from scenarios.result import count_errors_mm  # noqa: E402
from scenarios.rig import trace_columns  # noqa: E402
from scenarios.runner import Flight, fly_on  # noqa: E402

__all__ = ["fly_stretch", "from_start"]

MOVE = ("start_us", "end_us", "first_off_us", "last_off_us", "peak_us", "warp_us", "run_from_us", "run_to_us")
LEG = ("peak_current_us", "off_us", "still_us")
CONDUCT = ("stop_us", "longest_us", "slowest_us", "retreat_us", "crept_us", "made_up_us", "tilt_x_us", "tilt_y_us", "unflagged_us")
CONTACT = ("touch_us", "peak_us", "late_us", "last_peak_us", "clock_us")


def _earlier(records: Any, names: tuple[str, ...], by_us: int) -> None:
    """Move instants that were reached; 0 stands for one that was not."""
    for name in names:
        held = records[name]
        records[name] = np.where(held > 0, held - by_us, held)


def from_start(rig: NDArray[np.void], start_us: int) -> NDArray[np.void]:
    """Copy of a flown rig in which every instant that a result tells of is counted from ``start_us``.

    It is for reading, not for flying on: what the machine and the controller remember of instants stays as it is.
    """
    told = rig.copy()
    if start_us == 0:
        return told
    one = told[0]
    world = one["world"]
    _earlier(one["move"], MOVE, start_us)
    _earlier(one["move"]["legs"], LEG, start_us)
    _earlier(one["conduct"], CONDUCT, start_us)
    _earlier(one["script"], ("fired_us",), start_us)
    _earlier(one["log"], ("time_us",), start_us)
    _earlier(world["contact"], CONTACT, start_us)
    _earlier(world["legs"], ("stop_peak_us",), start_us)
    _earlier(world["legs"]["motor"], ("hottest_us",), start_us)
    world["time_us"] -= start_us
    return told


def fly_stretch(scenario: Scenario, begun: NDArray[np.void], clock: str) -> Flight:
    """Fly what has been prepared in the middle of a service run, with its trace.

    Parameters
    ----------
    scenario
        Its moves.
    begun
        The rig before it is flown, shape (1,); it is not changed.
    clock
        "flat" or "event".
    """
    rig = begun.copy()
    start_us = int(rig["world"]["time_us"][0])
    begin = perf_counter()
    trace = fly_on(rig, clock)
    wall = perf_counter() - begin
    trace[:, 0] = (np.round(trace[:, 0] * 1e6) - start_us) * 1e-6
    columns = trace_columns(list(scenario.lift.names))
    carried = count_errors_mm(begun[0], len(scenario.lift.leg))
    return Flight(scenario, from_start(rig, start_us), trace, columns, wall, clock, int(rig["world"]["seed"][0]), carried)
