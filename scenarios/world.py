"""The event clock: the same kernels driven by simpy, for operators, probes and controllers written in Python.

Time is a whole number of microseconds.  At each tick the order is sense, decide, act and advance, observe; user processes
that wake at the same instant run before it (priority by order of scheduling: they wait for absolute times).
"""

from __future__ import annotations

from collections.abc import Callable, Generator
from typing import Any

import numpy as np
import simpy
from numpy.typing import NDArray

from scenarios.rig import records
from scenarios.script import give_order
from scenarios.trace import record_arrays
from scenarios.wiring import advance_arrays, sense_arrays
from sync.tick import tick_arrays

__all__ = ["Controller", "World", "fly_event"]

Controller = Callable[[Any, Any, Any, Any], None]
"""``controller(settings, memory, inputs, outputs)`` on record arrays of shape (1,), as ``sync.tick.tick_arrays``."""


class World:
    """A rig under the event clock.

    Parameters
    ----------
    rig
        Array of shape (1,), prepared by ``scenarios.build.build_rig``.
    trace
        Rows to fill, or None.
    controller
        What decides; the shipped controller if left out.

    Attributes
    ----------
    env : simpy.Environment
        For the user's own processes: ``world.env.process(...)``; its time is in microseconds.
    rows : int
        Trace rows written so far.
    """

    def __init__(self, rig: NDArray[np.void], trace: NDArray[np.float64] | None = None, controller: Controller = tick_arrays) -> None:
        self.rig = rig = records(rig)
        self.trace = np.zeros((0, 0)) if trace is None else trace
        self.controller = controller
        self.rows = 0
        self.env = simpy.Environment()
        one = rig[0]
        self.tick_us = int(one["world"]["sub_step_us"]) * int(one["world"]["steps_per_tick"])
        self.settings, self.memory, self.inputs, self.outputs = rig["settings"], rig["memory"], rig["inputs"], rig["outputs"]

    def order(self, command: int, target_m: float = 0.0) -> None:
        """Give the controller an order (``sync.modes.Command``), seen at its next call."""
        plain = getattr(give_order, "py_func", give_order)
        plain(self.rig.view(np.recarray)[0], command, target_m)

    def height(self, leg: int) -> float:
        """True height of the deck joint on a leg [m]."""
        return float(self.rig["world"]["legs"]["height"][0, leg])

    def _machine(self) -> Generator[simpy.Event, Any, None]:
        """The process of the machine and its controller."""
        env, rig, trace = self.env, self.rig, self.trace
        parts = (self.settings, self.memory, self.inputs, self.outputs)
        every, room, controller, tick_us = int(rig["trace_every"][0]), len(trace), self.controller, self.tick_us
        finished, due, k = rig["finished"], rig["tick_due"], 0
        before = int(rig["ticks"][0])  # of a rig that flies on: rows stand where the flat clock has them
        while not finished[0]:
            sense_arrays(rig)
            if due[0]:
                controller(*parts)
            if self.rows < room and (before + k) % every == 0:
                record_arrays(rig, trace, self.rows)
                self.rows += 1
            advance_arrays(rig)
            k += 1
            yield env.timeout(k * tick_us - env.now)

    def run(self) -> None:
        """Fly to the end of the rehearsal."""
        self.env.run(until=self.env.process(self._machine()))


def fly_event(rig: NDArray[np.void], trace: NDArray[np.float64] | None = None) -> int:
    """Fly a prepared rig in place on the event clock; returns the rows written into ``trace``."""
    world = World(rig, trace)
    world.run()
    return world.rows
