"""The wires in the loop: the controller hears what a detector makes of the waveform, and its estimates, tick by tick."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from plant.signal.records import CHANNELS, HISTORY
from scenarios.build import build_rig
from scenarios.build_signal import build_line
from scenarios.files.scenario import Scenario
from scenarios.rig import records, trace_columns
from scenarios.runner import Flight
from scenarios.signal_bench import bench_move
from scenarios.signal_detectors import chains, sample_rate, setting_of
from scenarios.signal_flight import advance_noted, begin_notes, give_pulse
from scenarios.signal_run import Chain, Floats, ShapeChain, Source, prepare_source, synthesise_into
from scenarios.wiring import sense_arrays
from sync.tick import tick_arrays

__all__ = ["LegHeard", "fly_in_the_loop", "heard_lines"]

NEVER = 1 << 40
"""More misses than any flight has: the count level stays silent, the wires speak."""


@dataclass(frozen=True)
class LegHeard:
    """What a leg's controller input was given: true commutations, pulses heard on the wires, how the direction was told."""

    name: str
    true: int
    heard: int
    direction_right: int
    direction_unknown: int
    direction_wrong: int
    power_off_told: int


class _Ear:
    """The wires of one leg with its detector."""

    def __init__(self, source: Source, chain: Chain | ShapeChain, shape: ShapeChain) -> None:
        self.source, self.chain, self.shape = source, chain, shape
        self.given = 0
        self.directions = [0, 0, 0]
        self.offs: set[float] = set()
        prepare_source(source)

    def listen(self, block: Floats, samples: int, start_us: float, dt_us: float) -> list[float]:
        """Take a block; the pulses that it brought."""
        for one in {id(self.chain): self.chain, id(self.shape): self.shape}.values():
            one.take(block, samples, start_us, dt_us)
        heard = self.chain.heard()
        fresh = heard[self.given :].tolist()
        self.given = len(heard)
        return [float(at) for at in fresh]

    def report(self, seen: Any, speed: float) -> None:
        """Write the estimates into the controller's inputs of the leg, and score the direction against the true ``speed``."""
        shape = self.shape.shape[0]
        seen["direction"] = shape["direction"]
        seen["confidence"] = 1.0 if shape["direction"] != 0 and shape["periods"] > 5 else 0.0
        seen["wear"] = shape["wear"]
        seen["power_off_us"] = shape["off_us"]
        if shape["off_us"] > 0.0:
            self.offs.add(float(shape["off_us"]))
        if abs(speed) > 20.0:
            told = int(shape["direction"])
            self.directions[1 if told == 0 else 0 if told == np.sign(speed) else 2] += 1


def _ears(scenario: Scenario, rig: NDArray[np.void], detector: str, worn: bool) -> list[_Ear]:
    ears = []
    for q, leg in enumerate(scenario.lift.leg):
        setting = setting_of(leg, bench_move(scenario.lift, leg.name, 1))
        made = chains(leg, setting)
        shape = made["shape"]
        assert isinstance(shape, ShapeChain)
        shape.keep = False
        line = build_line(rig["world"], q, leg, worn, sample_rate(leg))
        ears.append(_Ear(Source(line, np.zeros(0, HISTORY)), made[detector], shape))
    return ears


def fly_in_the_loop(scenario: Scenario, detector: str, worn: bool, seed: int | None = None) -> tuple[Flight, list[LegHeard]]:
    """Fly a scenario with every leg heard on its wires.

    Parameters
    ----------
    scenario
        A checked scenario.
    detector
        "spikes", "shape" or "ripple"; the shape check gives the estimates in any case.
    worn
        Whether the motors are worn.
    seed
        Of all draws; None: the scenario's own.

    Returns
    -------
    flight, legs
        As any flight, without a trace; and what each leg heard.

    Raises
    ------
    InputError
        If the machine cannot be integrated as asked.

    Notes
    -----
    A pulse reaches the controller at the first tick after it; injected miscounts of the script are added to those of the
    wires.
    """
    rig = build_rig(scenario, seed)
    ears = _ears(scenario, rig, detector, worn)
    world = rig["world"][0]
    n, steps = int(world["n_legs"]), int(world["steps_per_tick"])
    legs = world["legs"]
    history = np.zeros((n, steps + 1), HISTORY)
    blocks = [np.zeros((CHANNELS, steps * int(ear.source.line["samples"][0]))) for ear in ears]
    begin_notes(rig, history)
    parts = [records(rig[name]) for name in ("settings", "memory", "inputs", "outputs")]
    while not int(rig["finished"][0]):
        sense_arrays(records(rig))
        if rig["tick_due"][0]:
            tick_arrays(*parts)
        start_us = float(world["time_us"])
        legs["detector"]["to_miss"][:n] = NEVER
        advance_noted(rig, history)
        for q, ear in enumerate(ears):
            synthesise_into(ear.source.line, history[q], blocks[q])
        for q, ear in enumerate(ears):
            _hear(rig, q, ear, blocks, start_us)
            ear.report(rig["inputs"][0]["legs"][q], float(legs[q]["motor"]["speed"]))
        history[:, 0] = history[:, steps]
    return _flight(scenario, rig), [_told(leg.name, legs[q], ear) for q, (leg, ear) in enumerate(zip(scenario.lift.leg, ears, strict=True))]


def _hear(rig: NDArray[np.void], q: int, ear: _Ear, blocks: list[Floats], start_us: float) -> None:
    """Let a leg hear its block, with what its neighbour's spikes add, and hand on the pulses."""
    block = blocks[q]
    share = float(ear.source.line["wires"]["crosstalk"][0])
    if share > 0.0 and len(blocks) > 1:
        block = block.copy()
        block[0] += share * blocks[(q + 1) % len(blocks)][4]
    for at in ear.listen(block, block.shape[1], start_us, 1e6 * float(ear.source.line["dt"][0])):
        give_pulse(rig, q, at)


def heard_lines(legs: list[LegHeard]) -> list[str]:
    """Lines for the terminal."""
    lines = []
    for one in legs:
        asked = max(one.direction_right + one.direction_unknown + one.direction_wrong, 1)
        shares = " / ".join(f"{100 * part / asked:.0f}" for part in (one.direction_right, one.direction_unknown, one.direction_wrong))
        lines.append(
            f"  {one.name}: {one.true} true, {one.heard} heard on the wires; direction right / unknown / wrong {shares} %;"
            f" power-off told {one.power_off_told} times"
        )
    return lines


def _told(name: str, leg: Any, ear: _Ear) -> LegHeard:
    right, unknown, wrong = ear.directions
    return LegHeard(name, int(leg["motor"]["commuted"]), int(leg["detector"]["heard"]), right, unknown, wrong, len(ear.offs))


def _flight(scenario: Scenario, rig: NDArray[np.void]) -> Flight:
    legs = rig["world"][0]["legs"]
    off = legs["detector"]["heard"] - legs["motor"]["commuted"]
    legs["detector"]["missed"] = np.maximum(-off, 0)
    legs["detector"]["extra"] = np.maximum(off, 0)
    columns = trace_columns(list(scenario.lift.names))
    return Flight(scenario, rig, np.zeros((0, len(columns))), columns, 0.0, "flat", int(rig["world"]["seed"][0]))
