"""Every kind of fault changes a recorded signal, is named in the events, and flies the same on both clocks.

One short move each. A new kind of fault needs a row in ``FAULTS``: the last test says which one is missing.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
from functools import lru_cache
from typing import Any

import numpy as np
import pytest
from rehearsals import EXAMPLES, UNGUARDED, bytes_of, rehearsal

from scenarios.build import build_rig
from scenarios.files import load_scenario
from scenarios.files.faults import KINDS
from scenarios.happenings import tell_events
from scenarios.result import result_of
from scenarios.runner import fly, fly_rig
from scenarios.trace import empty_trace
from scenarios.wiring import stored_energy
from scenarios.world import fly_event

AT = {"at_s": 1.0}
SETS = (("move.1.to_mm", 45.0),)
HELD = (*SETS, ("lift.logic.hold_up_mf", 0.05), ("lift.logic.power_fail_v", 17.0))

FAULTS: dict[str, tuple[dict[str, Any], str, str]] = {
    "lose-counts": ({"leg": "left", "counts": 20, **AT}, "left.missed", "20 commutations are not heard"),
    "extra-counts": ({"leg": "left", "counts": 5, **AT}, "left.extra", "5 false pulses injected"),
    "count-rates": ({"double": 0.3, "edge_false": 3.0, **AT}, "left.extra", "errs more often"),
    "weak-segment": ({"leg": "right", "segment": 3, **AT}, "right.missed", "commutation 3 of every revolution"),
    "tail-loss": ({"below_rpm": 2500.0, **AT}, "left.missed", "a coast is not heard"),
    "dead-channel": ({"leg": "left", "for_s": 0.1, **AT}, "left.missed", "channel is dead"),
    "stuck-high": ({"leg": "left", "for_s": 0.1, **AT}, "left.extra", "stuck high"),
    "swapped-counts": ({"leg": "left", "with_leg": "right", "at_s": 0.0}, "left.counts", "inputs of this leg and another"),
    "springback": ({"leg": "left", "counts": 2, **AT}, "left.extra", "springing back"),
    "interference": ({"rate_hz": 300.0, "for_s": 0.2, **AT}, "right.extra", "interference from outside"),
    "crosstalk": ({"leg": "left", "chance": 0.1, **AT}, "left.extra", "neighbour's commutations"),
    "supply-step-counts": ({"pulses": 2.0, "least_v": 0.3, "at_s": 0.0}, "left.extra", "a step of the supply"),
    "supply": ({"open_voltage_v": 20.0, **AT}, "supply_v", "open-circuit supply becomes 20 V"),
    "source-resistance": ({"resistance_ohm": 0.5, **AT}, "supply_v", "resistance of the source becomes 0.5 ohm"),
    "power-fail": ({"for_s": 0.2, **AT}, "supply_v", "the mains is away"),
    "power-off": ({**AT}, "left.bridge_mode", "power off, past the controller"),
    "motor-reversed": ({"leg": "right", "at_s": 0.0}, "right.height_m", "wires are exchanged"),
    "broken-wire": ({"leg": "right", **AT}, "right.current_a", "a wire of the motor is broken"),
    "bridge-stuck": ({"leg": "right", "state": "on", **AT}, "right.duty", "it stays on, at duty 1"),
    "no-current-limit": ({"leg": "left", "during": "start"}, "left.current_a", "current limit does not act"),
    "motor-drag": ({"leg": "left", "viscous_factor": 3.0, **AT}, "left.current_a", "viscous drag by 3"),
    "clock-jitter": ({"jitter_us": 700.0, **AT}, "left.current_a", "up to 700 us late"),
    "clock-rate": ({"error_percent": 2.0, "at_s": 0.0}, "left.rate_hz", "clock is off by 2 %"),
    "missed-ticks": ({"ticks": 60, **AT}, "left.counts", "misses the next 60 calls"),
    "save-damaged": ({"leg": "left", "at_s": 1.5}, "left.counts", "a bit of the saved position flips"),
    "payload": ({"mass_kg": 20.0, **AT}, "left.force_n", "payload becomes 20 kg"),
    "thread-friction": ({"leg": "left", "factor": 1.5, **AT}, "left.current_a", "friction is multiplied by 1.5"),
    "obstacle": (
        {"side": "above", "at_mm": [0.0, 0.0], "gap_mm": 3.0, "stiffness_n_per_mm": 20.0, **AT},
        "left.force_n",
        "an obstacle of 20 N/mm",
    ),
    "lean": ({"force_n": 300.0, "at_mm": [400.0, 0.0], "for_s": 0.5, **AT}, "right.force_n", "leans on the deck with 300 N"),
    "guide-friction": ({"leg": "left", "friction_n": 150.0, **AT}, "left.current_a", "guide friction becomes 150 N"),
    "guide-binding": (
        {"leg": "right", "from_mm": 30.0, "to_mm": 40.0, "friction_n": 150.0, "at_s": 0.1},
        "right.current_a",
        "binds: friction grows by 150 N from 30 to 40 mm",
    ),
    "jam": ({"leg": "left", "at_mm_above": 35.0}, "left.speed_m_s", "jams: its guide holds with 20000 N"),
    "gear-slip": ({"leg": "left", "at_mm_above": 35.0, "slip_mm": 0.5}, "left.height_m", "the nut falls by 0.5 mm behind its motor"),
    "hand-turn": (
        {"leg": "right", "turn_mm": -0.4, "speed_mm_s": 2.0, "at_s": 0.05},
        "right.height_m",
        "by hand, -0.4 mm at 2 mm/s",
    ),
    "vibration": ({"static_factor": 0.1, "for_s": 0.3, "at_s": 0.05}, "left.height_m", "break-away friction is multiplied by 0.1"),
    "debris": (
        {"leg": "left", "stop": "high", "thickness_mm": 460.0, "stiffness_n_per_mm": 50.0, "at_s": 0.1},
        "left.current_a",
        "debris of 460 mm and 50 N/mm on the upper stop",
    ),
}
"""Of each kind: its keys, a signal that it changes, and words of its event."""


BESIDE: dict[str, list[dict[str, Any]]] = {"save-damaged": [{"what": "power-fail", "at_s": 1.0, "for_s": 1.5}]}
"""What must happen beside a fault for it to be met: the save is only read when the power comes back."""


def sets_of(kind: str) -> list[tuple[str, Any]]:
    short_of_power = [("lift.logic.hold_up_mf", 0.1), ("lift.logic.power_fail_v", 17.0), ("lift.supply.capacitance_mf", 0.5)]
    free = [("settings.speed.soft_start_ms", 0.0), *UNGUARDED]
    changes = {"no-current-limit": free, "save-damaged": short_of_power}.get(kind, [])
    return [*SETS, *changes]


@lru_cache
def flown(kind: str, faulty: bool) -> Any:
    faults = [*BESIDE.get(kind, []), *([{"what": kind, **FAULTS[kind][0]}] if faulty else [])]
    return fly(load_scenario(rehearsal("worktop/raise"), [*sets_of(kind), ("fault", faults)]))


def column(flight: Any, name: str) -> np.ndarray[Any, Any]:
    return np.asarray(flight.trace[:, flight.columns.index(name)])


@pytest.mark.parametrize("kind", FAULTS)
def test_a_fault_changes_a_recorded_signal_and_is_named_in_the_events(kind: str) -> None:
    _, signal, words = FAULTS[kind]
    clean, faulty = flown("lose-counts" if sets_of(kind) == list(SETS) else kind, False), flown(kind, True)
    short = min(len(clean.trace), len(faulty.trace))
    told = [event.text for event in tell_events(faulty.rig[0], ("left", "right"))[0]]

    assert not np.array_equal(column(clean, signal)[:short], column(faulty, signal)[:short])
    assert any(words in text for text in told), told
    assert not any(words in event.text for event in tell_events(clean.rig[0], ("left", "right"))[0])


@pytest.mark.parametrize("kind", FAULTS)
def test_under_a_fault_the_energy_still_adds_up(kind: str) -> None:
    flight = flown(kind, True)
    run = result_of(flight, stored_energy(flight.rig), flight.scenario.limits, kind).summary

    assert flight.rig["world"]["diverged"][0] == 0
    assert run.energy.residual is not None
    assert run.energy.residual < 1e-3


def test_all_faults_together_are_the_same_bytes_on_both_clocks() -> None:
    gentle = ("power-off", "bridge-stuck", "broken-wire", "motor-reversed", "swapped-counts")
    faults = [{"what": kind, **keys} for kind, (keys, _, _) in FAULTS.items() if kind not in gentle]
    scenario = load_scenario(rehearsal("worktop/raise"), [*HELD, ("fault", faults)])
    flat, event = build_rig(scenario), build_rig(scenario)
    by_flat, by_event = empty_trace(flat), empty_trace(event)
    rows = fly_rig(flat, by_flat)

    assert flat["logic"]["downs"][0] > 0
    assert flat["clock"]["skipped"][0] == 60
    assert fly_event(event, by_event) == rows
    assert by_flat[:rows].tobytes() == by_event[:rows].tobytes()
    assert flat.tobytes() == event.tobytes()


PLAIN = """
import json, sys
sys.path.insert(0, {tests!r})
from rehearsals import bytes_of, rehearsal
from scenarios.build import build_rig
from scenarios.files import load_scenario
from scenarios.runner import fly_rig
from scenarios.trace import empty_trace
rig = build_rig(load_scenario(rehearsal("worktop/raise"), json.loads({sets!r})))
trace = empty_trace(rig)
rows = fly_rig(rig, trace)
print(rows, bytes_of(rig, trace))
"""


@pytest.mark.slow
def test_the_kernels_of_the_faults_give_the_same_bytes_without_the_compiler() -> None:
    conditions = ("during", "at_mode", "at_mm_above", "at_mm_below", "on", "after_s")
    apart = ("power-off", "motor-reversed", "swapped-counts")
    faults = [{"what": kind, **keys, "at_s": 0.1} for kind, (keys, _, _) in FAULTS.items() if kind not in apart]
    kept = [{key: value for key, value in fault.items() if key not in conditions} for fault in faults]
    sets = [*HELD, ("move.1.pause_s", 0.0), ("end_s", 0.3), ("fault", kept)]
    rig = build_rig(load_scenario(rehearsal("worktop/raise"), sets))
    trace = empty_trace(rig)
    rows = fly_rig(rig, trace)
    program = PLAIN.format(tests=str(EXAMPLES.parent / "tests"), sets=json.dumps(sets))
    environment = {**os.environ, "NUMBA_DISABLE_JIT": "1"}
    plain = subprocess.run(
        [sys.executable, "-c", program], env=environment, cwd=EXAMPLES.parent, capture_output=True, text=True, check=True
    )

    assert plain.stdout.split() == [str(rows), bytes_of(rig, trace)]


def test_every_kind_that_a_file_may_hold_is_rehearsed_here() -> None:
    assert sorted(FAULTS) == sorted(KINDS), "add the new kind to FAULTS above: keys, a signal it changes, words of its event"
