"""How much faster than the machine itself the two clocks fly it: one core, kernels loaded, the best of several flights."""

from __future__ import annotations

from collections.abc import Callable
from time import perf_counter
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from rehearsals import bytes_of, rehearsal

from scenarios.build import build_rig
from scenarios.files import load_scenario
from scenarios.runner import fly_rig
from scenarios.trace import empty_trace
from scenarios.world import fly_event

pytestmark = pytest.mark.benchmark

EVERYTHING: tuple[tuple[str, Any], ...] = (
    # 60 and 30 kg over 15 s; racking, guides that feel it, springy spindles on top of what the worktop has
    ("lift.deck.tilt_stiffness_x_kn_m_per_rad", 20.0),
    ("lift.leg.spindle.axial_stiffness_n_per_mm", 800.0),
    ("lift.leg.spindle.collar_friction", 0.05),
    ("lift.leg.spindle.collar_diameter_mm", 16.0),
    ("payload.mass_kg", 60.0),
    ("payload.at_mm", [-300.0, 0.0]),
    ("move.1.to_mm", 430.0),
)
REPEATS = 41


def best(fly: Callable[[NDArray[np.void], NDArray[np.float64]], object], traced: bool) -> tuple[float, float, str]:
    """Simulated and shortest wall time [s] of the raise, and the digest of the rig it leaves."""
    start = build_rig(load_scenario(rehearsal("worktop/raise"), EVERYTHING))
    world = start[0]["world"]
    assert world["deck"]["elastic"] == 1
    assert world["ideal_sensing"] == 0
    room = empty_trace(start) if traced else np.zeros((0, 0))
    took = []
    for _ in range(REPEATS):
        rig = start.copy()
        begin = perf_counter()
        fly(rig, room)
        took.append(perf_counter() - begin)
    simulated = float(rig["world"]["time_us"][0]) * 1e-6
    assert simulated > 15.0
    return simulated, min(took), bytes_of(rig)


def test_the_flat_clock_flies_a_thousand_times_faster_than_the_machine() -> None:
    simulated, took, _ = best(fly_rig, traced=False)
    ratio = simulated / took
    print(f"flat clock: {simulated:.1f} s in {1e3 * took:.2f} ms, {ratio:.0f} x real time")

    assert ratio >= 1000.0


def test_the_event_clock_with_its_trace_flies_a_hundred_times_faster_than_the_machine() -> None:
    simulated, took, left = best(fly_event, traced=True)
    ratio = simulated / took
    print(f"event clock: {simulated:.1f} s in {1e3 * took:.1f} ms, {ratio:.0f} x real time")

    assert ratio >= 100.0
    assert left == best(fly_rig, traced=False)[2]
