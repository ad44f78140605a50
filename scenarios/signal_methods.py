"""Which way of counting: spikes, ripple and reference counters side by side, with what each costs in wires, parts and homings.

Reference counters see the shaft itself: a slot is an edge at a fixed angle, so they miss nothing and know no coast; a
switch bounces (``scenarios.signal_reference``).

Source: geometry for counts per mm; wires and parts are what a circuit of each kind needs at least, common practice.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from math import floor, sqrt
from typing import Any

import numpy as np

from scenarios.build_lift import thread_of
from scenarios.files.leg import Leg
from scenarios.signal_reference import DEBOUNCE_S, Wheel, counted
from scenarios.signal_study import CONDITIONS, Study

__all__ = ["Method", "decide_methods"]

SURE = 2.576
"""Standard deviations that 99 % lie within."""


@dataclass(frozen=True)
class Method:
    """One way of counting.

    Attributes
    ----------
    counts_per_mm
        Of lift.
    bias, spread
        Net counts a move: mean and standard deviation, the worse of new and worn; zero where nothing is missed.
    moves
        Moves until the level limit may be used up, so a homing is due; None: never by counting.
    pieces
        Wires, connectors, parts and sensors per leg, by name of ``signal_prices.PRICED``.
    cost
        Per leg, where every price that it needs was given.
    note
        What to mind.
    """

    name: str
    counts_per_mm: float
    bias: float
    spread: float
    moves: int | None
    pieces: dict[str, int]
    cost: float | None
    note: str

    def as_dict(self) -> dict[str, Any]:
        """For JSON."""
        return dict(vars(self))


def _moves_until(limit_counts: float, bias: float, spread: float) -> int | None:
    """Moves n with |bias| n + 2.576 spread sqrt(n) = limit: one leg drifts, the other does not, 99 of 100 stay within."""
    if bias == 0.0 and spread == 0.0:
        return None
    size, swing = abs(bias), SURE * spread
    if size == 0.0:
        return max(0, floor((limit_counts / swing) ** 2))
    root = (-swing + sqrt(swing * swing + 4.0 * size * limit_counts)) / (2.0 * size)
    return max(0, floor(root * root))


def _cost(pieces: Mapping[str, int], prices: Mapping[str, float]) -> float | None:
    if any(name not in prices for name, number in pieces.items() if number):
        return None
    return sum(number * prices[name] for name, number in pieces.items() if number)


def _per_mm(leg: Leg, slots: float, shaft: str) -> float:
    """Counts per mm of a wheel of ``slots`` on a shaft; the gear output turns with the spindle."""
    lead = 1e3 * thread_of(leg.spindle)[1]
    turns = leg.gear.ratio if shaft == "motor shaft" else 1.0
    return slots * turns / lead


def _heard(study: Study, detector: str) -> tuple[float, float]:
    """Bias and spread of the worst condition and move [counts a move]."""
    found = [
        (float(np.mean(case.nets[detector])), float(np.std(case.nets[detector])))
        for condition in CONDITIONS
        for case in study.cases
        if case.condition == condition
    ]
    return max(found, key=lambda one: abs(one[0]) + SURE * one[1])


def _references(leg: Leg) -> list[tuple[str, Wheel, float, dict[str, int], str]]:
    """Name, wheel, counts per mm, pieces and note of every reference counter; the gear output turns with the spindle."""
    slots = leg.detector.hall_slots
    rows: list[tuple[str, Wheel, float, dict[str, int], str]] = []
    for shaft, ratio in (("motor shaft", 1.0), ("spindle", leg.gear.ratio)):
        wheel = Wheel(slots, ratio)
        density = _per_mm(leg, slots, shaft)
        single = {"wire": 3, "connector": 1, "part": 3, "hall": 1}
        rows.append((f"hall, {slots} slots, {shaft}", wheel, density, single, "no sign of direction"))
        pair = {"wire": 4, "connector": 1, "part": 6, "hall": 2}
        four = Wheel(slots, ratio, quadrature=True)
        rows.append((f"hall in quadrature, {shaft}", four, 4.0 * density, pair, "tells direction, four edges a slot"))
        light = {"wire": 4, "connector": 1, "part": 4, "optical": 1}
        rows.append((f"optical, {slots} slots, {shaft}", wheel, density, light, "wants a clean place"))
        contact = {"wire": 2, "connector": 1, "part": 2, "switch": 1}
        switch = Wheel(slots, ratio, bounces=True)
        rows.append((f"switch, {slots} a turn, {shaft}", switch, density, contact, f"bounces, debounced for {1e3 * DEBOUNCE_S:g} ms"))
    return rows


def _wheel_error(study: Study, wheel: Wheel) -> tuple[float, float]:
    """Bias and spread of a reference counter over the moves of the study [counts a move]."""
    nets = []
    for flown in study.moves:
        for seed in range(study.seeds):
            found, true = counted(flown.bench.history, flown.bench.step, wheel, seed)
            nets.append(abs(found) - abs(true))
    return float(np.mean(nets)), float(np.std(nets))


def decide_methods(study: Study, leg: Leg, limit_mm: float, prices: Mapping[str, float]) -> list[Method]:
    """Rows of the decision table.

    Parameters
    ----------
    study
        Scores of the detectors.
    leg
        Its tables.
    limit_mm
        Level error that counting may use up.
    prices
        Per piece, by name of ``signal_prices.PRICED``; none is built in.
    """
    per_mm = _per_mm(leg, leg.motor.commutations, "motor shaft")
    rows = []
    for name, parts in (("spikes", 14), ("shape", 9), ("ripple", 8)):
        bias, spread = _heard(study, name)
        pieces = {"wire": 0, "connector": 0, "part": parts}
        moves = _moves_until(limit_mm * per_mm, bias, spread)
        rows.append(Method(name, per_mm, bias, spread, moves, pieces, _cost(pieces, prices), "no wire beside the motor's own two"))
    for name, wheel, density, pieces, note in _references(leg):
        bias, spread = _wheel_error(study, wheel)
        moves = _moves_until(limit_mm * density, bias, spread)
        rows.append(Method(name, density, bias, spread, moves, pieces, _cost(pieces, prices), note))
    return rows
