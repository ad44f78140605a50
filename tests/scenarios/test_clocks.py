"""One arithmetic under every clock: the same bytes from the event clock, the flat clock, plain Python, and any number of processes."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Generator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import simpy
from numpy.typing import NDArray
from rehearsals import EXAMPLES, SHIPPED, bytes_of, named, rehearsal, rig_bytes, table

from scenarios.build import build_rig
from scenarios.files import load_scenario
from scenarios.files.scenario import Scenario
from scenarios.rig import Action, Trigger, rig_dtype
from scenarios.runner import Run, fly, fly_rig, fly_runs
from scenarios.trace import empty_trace, record_arrays
from scenarios.wiring import advance_arrays, sense_arrays
from scenarios.world import World, fly_event
from sync.modes import Command
from sync.tick import tick_arrays

UNEVEN = rehearsal("worktop/raise-uneven")


def both(scenario: Scenario, seed: int) -> tuple[str, str]:
    """Digests of rig and trace under the event clock and the flat clock."""
    event, flat = fly(scenario, seed, "event"), fly(scenario, seed, "flat")
    return bytes_of(event.rig, event.trace), bytes_of(flat.rig, flat.trace)


def begun(name: str, ticks: int) -> tuple[NDArray[np.void], NDArray[np.float64]]:
    """Rig and trace for the first ticks of a shipped rehearsal whose first order comes at once."""
    rig = build_rig(load_scenario(rehearsal(name), [("move.1.pause_s", 0.0)]))
    rig["end_us"] = ticks * 1000
    return rig, empty_trace(rig)


@pytest.mark.parametrize("path", SHIPPED, ids=named)
def test_the_event_clock_and_the_flat_clock_leave_the_same_bytes(path: Path) -> None:
    scenario = load_scenario(path)
    for seed in (1, 2, 3):
        event, flat = both(scenario, seed)

        assert event == flat


@pytest.mark.slow
@pytest.mark.parametrize("path", SHIPPED, ids=named)
def test_the_clocks_agree_over_twenty_seeds(path: Path) -> None:
    scenario = load_scenario(path)
    flown = [both(scenario, seed) for seed in range(20)]

    assert [event for event, _ in flown] == [flat for _, flat in flown]
    assert len({flat for _, flat in flown}) == 20


def test_a_flight_repeats_itself_and_another_seed_or_run_does_not() -> None:
    scenario = load_scenario(UNEVEN)
    one, again = fly(scenario), fly(scenario)
    other_seed, other_run = fly(scenario, seed=scenario.seed + 1), fly(scenario, run=1)

    assert bytes_of(one.rig, one.trace) == bytes_of(again.rig, again.trace)
    assert len({bytes_of(flight.trace) for flight in (one, other_seed, other_run)}) == 3


def test_a_run_list_gives_the_same_bytes_from_one_process_and_from_four() -> None:
    runs = [Run(path, seed=4) for path in SHIPPED if path.parent.name == "worktop"]
    alone, shared = fly_runs(runs, rig_bytes, workers=1), fly_runs(runs, rig_bytes, workers=4)

    assert alone == shared
    assert len(set(alone)) == len(runs)


PLAIN = """
import sys
from pathlib import Path
sys.path.insert(0, {tests!r})
from rehearsals import bytes_of
from scenarios.build import build_rig
from scenarios.files import load_scenario
from scenarios.runner import fly_rig
from scenarios.trace import empty_trace
from scenarios.world import fly_event
rig = build_rig(load_scenario(Path({path!r}), [("move.1.pause_s", 0.0)]))
rig["end_us"] = {end}
trace = empty_trace(rig)
rows = {clock}(rig, trace)
print(rows, bytes_of(rig, trace))
"""


@pytest.mark.parametrize(("name", "clock", "ticks"), [("worktop/raise-uneven", "fly_rig", 300), ("worktop/home", "fly_event", 80)])
def test_the_first_ticks_without_the_compiler_are_the_same_bytes(name: str, clock: str, ticks: int) -> None:
    rig, trace = begun(name, ticks)
    rows = fly_rig(rig, trace)
    program = PLAIN.format(tests=str(EXAMPLES.parent / "tests"), path=str(rehearsal(name)), end=ticks * 1000, clock=clock)
    plain = subprocess.run(
        [sys.executable, "-c", program],
        env={**os.environ, "NUMBA_DISABLE_JIT": "1"},
        cwd=EXAMPLES.parent,
        capture_output=True,
        text=True,
        check=True,
    )

    assert rig["ticks"][0] == ticks
    assert np.any(rig["world"]["legs"]["motor"]["speed"][0] != 0.0)
    assert plain.stdout.split() == [str(rows), bytes_of(rig, trace)]


def fields_of(dtype: np.dtype[Any]) -> set[str]:
    """Names of the fields of a record, of those inside it and of the entries of its arrays."""
    inside = dtype.subdtype[0] if dtype.subdtype else dtype
    names = set(inside.names or ())
    return names.union(*(fields_of(inside[name]) for name in names))


def test_no_field_hides_behind_an_attribute_of_numpy() -> None:
    # Without the compiler records are np.record: a field called "size" would silently be the size of the record.
    assert fields_of(rig_dtype()) & set(dir(np.record)) == set()


def by_hand(rig: NDArray[np.void], sense_first: bool) -> NDArray[np.float64]:
    """The loop of a clock, written out: sense, decide, observe, advance; or decide before sensing."""
    trace, rows = empty_trace(rig), 0
    parts = (rig["settings"], rig["memory"], rig["inputs"], rig["outputs"])
    while not rig["finished"][0]:
        if sense_first:
            sense_arrays(rig)
        tick_arrays(*parts)
        if not sense_first:
            sense_arrays(rig)
        if rig["ticks"][0] % rig["trace_every"][0] == 0:
            record_arrays(rig, trace, rows)
            rows += 1
        advance_arrays(rig)
    return trace[:rows]


def test_swapping_sense_and_decide_is_seen() -> None:
    scenario = load_scenario(rehearsal("worktop/raise"), [("move.1.to_mm", 60.0)])
    flown = fly(scenario)
    right = by_hand(build_rig(scenario), sense_first=True)
    swapped = by_hand(build_rig(scenario), sense_first=False)

    assert bytes_of(right) == bytes_of(flown.trace)
    assert bytes_of(swapped[: len(right)]) != bytes_of(right[: len(swapped)])


def test_the_event_clock_calls_the_controller_once_a_tick_between_sense_and_advance() -> None:
    scenario = load_scenario(rehearsal("worktop/raise"), [("move.1.to_mm", 60.0)])
    rig, called = build_rig(scenario), []

    def watching(settings: Any, memory: Any, inputs: Any, outputs: Any) -> None:
        # The machine stands at the instant that the inputs tell of: sensed already, not advanced yet.
        called.append((int(rig["world"]["time_us"][0]), int(inputs["time_us"][0]), world.env.now))
        tick_arrays(settings, memory, inputs, outputs)

    world = World(rig, controller=watching)
    world.run()

    assert called == [(1000 * k, 1000 * k, 1000 * k) for k in range(int(rig["ticks"][0]))]
    assert type(world.env.now) is int


def test_a_controller_in_python_that_calls_tick_gives_the_same_bytes() -> None:
    scenario = load_scenario(UNEVEN)
    flat, rig = fly(scenario), build_rig(scenario)
    trace = empty_trace(rig)

    def controller(settings: Any, memory: Any, inputs: Any, outputs: Any) -> None:
        tick_arrays(settings, memory, inputs, outputs)

    world = World(rig, trace, controller)
    world.run()

    assert bytes_of(rig, trace[: world.rows]) == bytes_of(flat.rig, flat.trace)


def test_a_controller_in_python_that_decides_otherwise_moves_the_machine_otherwise() -> None:
    rig = build_rig(load_scenario(UNEVEN, [("end_s", 2.0)]))

    def full_duty(settings: Any, memory: Any, inputs: Any, outputs: Any) -> None:
        legs = outputs["legs"][0]
        legs["mode"], legs["duty"], legs["limit"] = 1, 1.0, 9.0

    world = World(rig, controller=full_duty)
    world.run()

    # 60 and 30 kg over 2 s at full duty: 37.1 and 34.8 mm/s in the reference figures, which a sagging supply slows a little.
    left, right = (1e3 * world.height(q) - 20.0 for q in range(2))
    assert 55.0 < left < right < 75.0


def test_orders_of_a_process_in_python_arrive_like_those_of_the_script() -> None:
    scenario = load_scenario(UNEVEN)
    scripted, free = build_rig(scenario), build_rig(scenario)
    for rig in (scripted, free):
        rig["script"]["fired"] = 0
        rig["rows"], rig["end_us"] = 0, 3_000_000
    scripted["rows"] = 2
    for row, (at, values) in enumerate([(100_000, (Command.PRESS_UP, 0.0)), (1_500_000, (Command.RELEASE, 0.0))]):
        scripted["script"]["trigger"][0, row], scripted["script"]["at"][0, row] = Trigger.TIME, at
        scripted["script"]["action"][0, row], scripted["script"]["move"][0, row] = Action.COMMAND, 0
        scripted["script"]["values"][0, row, :2] = values
    by_script, by_process = empty_trace(scripted), empty_trace(free)
    rows = fly_event(scripted, by_script)
    world = World(free, by_process)

    def operator() -> Generator[simpy.Event, Any, None]:
        yield world.env.timeout(100_000)
        world.order(Command.PRESS_UP)
        yield world.env.timeout(1_400_000)
        world.order(Command.RELEASE)

    world.env.process(operator())
    world.run()

    assert world.rows == rows
    assert bytes_of(by_process) == bytes_of(by_script)
    assert world.height(0) > 0.05


def renumbered(path: Path) -> tuple[NDArray[np.float64], NDArray[np.float64], list[str], list[str]]:
    """Traces and columns of a rehearsal and of the same one with the legs of its lift file in the opposite order."""
    raw = table(path)
    legs = table(path.parent / raw["lift"])["leg"]
    one, other = fly(load_scenario(path)), fly(load_scenario(path, [("lift.leg", legs[::-1])]))
    return one.trace, other.trace, one.columns, other.columns


@pytest.mark.parametrize("path", SHIPPED, ids=named)
def test_renumbered_legs_give_a_renumbered_trace(path: Path) -> None:
    trace, other, columns, places = renumbered(path)
    other = other[:, [places.index(column) for column in columns]]

    assert places != columns
    assert trace.shape == other.shape
    if path.parent.name == "worktop":
        assert bytes_of(trace) == bytes_of(other)
    heights = [k for k, column in enumerate(columns) if column.endswith("height_m")]
    assert np.max(np.abs(trace[:, heights] - other[:, heights])) <= 1e-12
