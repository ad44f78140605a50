"""The plant's own kernels linearised by differences about steady motion: the second way to the model of ``operating_point``.

The machine is put into the steady motion that the closed forms tell; there its rates must vanish, and their differences give
the same matrices.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from plant.bridge import DRIVE
from plant.kernel import kernel
from plant.step import take_rates
from scenarios.loop_model import basis_of
from scenarios.operating_point import OperatingPoint
from scenarios.rig import records
from sync.design.basis import Array
from sync.design.lift_model import StateSpace

__all__ = ["Linearised", "linearise", "place"]

_STEPS = {"current": 1e-4, "speed": 1e-3, "travel": 1e-6, "voltage": 1e-4, "duty": 1e-5, "share": 1e-2}
"""Half widths of the central differences [A, rad/s, m, V, -, N]."""


@kernel
def _rates(world: Any) -> None:
    take_rates(world[0])


@dataclass(frozen=True)
class Linearised:
    """Matrices by differences, and the rates that were left at the operating point.

    Attributes
    ----------
    space : StateSpace
        In the states of ``sync.design.lift_model``.
    rest : numpy.ndarray
        Shape (2 N,) or (2 N + 1,): rates of currents [A/s], speeds [rad/s2] and supply [V/s]; zero in steady motion.
    """

    space: StateSpace
    rest: Array


def place(world: NDArray[np.void], point: OperatingPoint) -> None:
    """Put a prepared machine into steady motion, in place: level, half-way between its stops, play taken up."""
    one = world[0]
    n = int(one["n_legs"])
    legs = one["legs"][:n]
    middle = 0.5 * (float(legs["stop_low"].max()) + float(legs["stop_high"].min()))
    one["supply"]["voltage"] = point.voltage
    for record, leg in zip(legs, point.legs, strict=True):
        motor, bridge, spindle = record["motor"], record["bridge"], record["spindle"]
        motor["current"], motor["speed"] = leg.current, leg.speed
        bridge["mode"], bridge["duty"], bridge["limit"] = DRIVE, leg.duty, bridge["current_limit"]
        record["travel"] = record["scratch"]["end_travel"] = middle
        pulled = leg.force < 0.0
        width = float(spindle["gear_play"]) + (float(spindle["nut_play"]) if pulled else 0.0)
        record["play"] = 0.0 if point.direction > 0 else -width
        record["stuck"] = 0


def _now(world: NDArray[np.void]) -> Array:
    """Rates of currents, speeds, heights and, with a capacitor, of the supply."""
    _rates(records(world))
    one = world[0]
    legs = one["legs"][: int(one["n_legs"])]
    climb = legs["motor"]["speed"] * legs["spindle"]["travel_per_radian"]
    parts = [legs["scratch"]["current_rate"], legs["scratch"]["speed_rate"], climb]
    if one["supply"]["capacitance"] > 0.0:
        parts.append(np.array([one["supply"]["rate"]]))
    return np.concatenate(parts).astype(np.float64)


def _slope(world: NDArray[np.void], put: Callable[[Any, float], None], width: float) -> Array:
    """Central difference of the rates; ``put(world, change)`` changes one thing on a copy."""
    ends = []
    for change in (width, -width):
        changed = world.copy()
        put(changed[0], change)
        ends.append(_now(changed))
    return np.asarray((ends[0] - ends[1]) / (2.0 * width), dtype=np.float64)


def _slopes(world: NDArray[np.void], what: str) -> Array:
    """Slopes of the rates by one quantity of every leg, shape (rates, N)."""
    inside = {"current": "motor", "speed": "motor", "duty": "bridge"}.get(what)
    columns = []
    for q in range(int(world[0]["n_legs"])):

        def put(one: Any, change: float, q: int = q) -> None:
            leg = one["legs"][q]
            (leg[inside] if inside else leg)[what] += change

        columns.append(_slope(world, put, _STEPS[what]))
    return np.stack(columns, axis=1)


def _supply_slope(world: NDArray[np.void]) -> Array:
    def put(one: Any, change: float) -> None:
        one["supply"]["voltage"] += change

    return _slope(world, put, _STEPS["voltage"])[:, None]


def linearise(rig: NDArray[np.void], point: OperatingPoint) -> Linearised:
    """Linearise the kernels about steady motion.

    Parameters
    ----------
    rig
        Prepared rig, shape (1,); it is not changed.
    point
        Steady motion from ``operating_point`` of the same rig, without a condition that the records do not have.
    """
    world = rig["world"].copy()
    place(world, point)
    rest = _now(world)
    n, q = len(point.legs), basis_of(world[0]).columns
    kept = bool(world[0]["supply"]["capacitance"] > 0.0)
    columns = [_slopes(world, "current"), _slopes(world, "speed"), _slopes(world, "travel") @ q]
    a = np.hstack([*columns, _supply_slope(world)] if kept else columns)
    b, e = _slopes(world, "duty"), _slopes(world, "share")
    m = q.shape[1]
    project = np.zeros((2 * n + m + int(kept), len(rest)))
    project[: 2 * n, : 2 * n] = np.eye(2 * n)
    project[2 * n : 2 * n + m, 2 * n : 3 * n] = q.T
    if kept:
        project[-1, -1] = 1.0
    c = np.zeros((m, len(project)))
    c[:, 2 * n : 2 * n + m] = np.eye(m)
    return Linearised(StateSpace(project @ a, project @ b, project @ e, c), np.delete(rest, slice(2 * n, 3 * n)))
