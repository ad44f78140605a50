"""How many moves may pass between two homings: drawn from the shipped count-error model, beside the law of a random walk.

Per leg, at move n: the number of moves after which the count is off by more than a limit with a probability of 1 %.  Each move
has one start and one stop; its errors are those of the detector's switching edges and start misses, set so that a move has the
mean and the standard deviation of a row.
"""

from __future__ import annotations

from math import erf, sqrt
from typing import Any

import numpy as np
import pytest
from machines import leg_of, set_a
from numpy.typing import NDArray

from plant.counting import switch_edge
from plant.kernel import kernel

LIFTS = 8000
LIMITS = (20, 40, 100)
ROWS = {
    # sd, bias of a move [counts]: mean false pulses of an edge, mean and sd of the start misses; moves for 20, 40, 100 counts
    # (domain table, by simulation of a normal random walk there; recomputed here as the law)
    (1.0, 0.0): ((0.25, 0.21273, 1.00600), (60, 241, 1507)),
    (1.0, 0.2): ((0.20, 0.34916, 1.04729), (33, 89, 298)),
    (2.0, 0.0): ((1.00, 1.93340, 1.50855), (15, 60, 376)),
    (2.0, 0.5): ((0.85, 2.13446, 1.61251), (10, 29, 104)),
    (5.0, 1.0): ((5.00, 10.99752, 3.87001), (2, 7, 33)),
}


@kernel
def _walk(machine: Any, errors: Any) -> None:
    """Counts lost less counts gained of every lift after every move; shape (lifts, moves)."""
    lifts, moves = errors.shape
    leg = machine.legs[0]
    detector = leg.detector
    for run in range(lifts):
        machine.run = run
        detector.extra = 0
        detector.to_miss = 0
        for move in range(moves):
            detector.waiting = 0
            leg.bridge.starts = move + 1
            switch_edge(machine, leg, True, 0.0)
            leg.bridge.stops = move + 1
            switch_edge(machine, leg, False, 0.0)
            errors[run, move] = detector.to_miss - detector.extra


@kernel
def _walk_of(machines: Any, errors: Any) -> None:
    _walk(machines[0], errors)


def drawn(edge_false: float, mean: float, sd: float, moves: int) -> NDArray[np.int64]:
    """Errors of many lifts over many moves, drawn by the shipped model."""
    world = set_a()
    detector = leg_of(world)["detector"]
    detector["edge_false_on"] = detector["edge_false_off"] = edge_false
    detector["start_miss_mean"], detector["start_miss_sd"] = mean, sd
    world["seed"] = 7
    errors = np.zeros((LIFTS, moves), np.int64)
    _walk_of(world, errors)
    return errors


def beyond(sd: float, bias: float, n: int, limit: float) -> float:
    """P(|drift| > limit) after n moves of a normal random walk; whole counts, hence the half."""
    spread, middle, edge = sd * sqrt(n), bias * n, limit + 0.5
    below = 0.5 * (1.0 + erf((edge - middle) / (spread * sqrt(2.0))))
    return 1.0 - below + 0.5 * (1.0 + erf((-edge - middle) / (spread * sqrt(2.0))))


def allowed(sd: float, bias: float, limit: float, share: float = 0.01) -> int:
    """Moves up to which the law stays within ``share``."""
    n = 1
    while beyond(sd, bias, n + 1, limit) <= share:
        n += 1
    return n


@pytest.mark.parametrize("row", [pytest.param(row, marks=[pytest.mark.slow] if row[1] == 0.0 else []) for row in ROWS])
def test_moves_between_homings_drawn_from_the_count_error_model(row: tuple[float, float]) -> None:
    (sd, bias), (model, table) = row, ROWS[row]
    longest = int(1.25 * max(table)) + 5
    errors = drawn(*model, longest)
    steps = np.diff(errors, axis=1, prepend=0)
    found = [int(np.argmax(np.mean(np.abs(errors) > limit, axis=0) > 0.01)) for limit in LIMITS]
    told = [
        f"{limit} counts: {n} (table {given}, law {allowed(sd, bias, limit)})" for limit, n, given in zip(LIMITS, found, table, strict=True)
    ]
    print(f"per move sd {steps.std():.3f}, bias {steps.mean():.3f} counts; moves until 1 % are beyond " + "; ".join(told))

    assert steps.std() == pytest.approx(sd, rel=0.01)
    assert steps.mean() == pytest.approx(bias, abs=0.01 * sd)
    # three standard errors of a share of 1 % among so many lifts, and a move for the whole number
    error = 3.0 * sqrt(0.01 * 0.99 / LIFTS)
    for limit, n in zip(LIMITS, found, strict=True):
        assert allowed(sd, bias, limit, 0.01 - error) - 1 <= n <= allowed(sd, bias, limit, 0.01 + error) + 1
    # and the table, which counts in whole numbers of a normal walk, within the same and 3 %
    for given, n in zip(table, found, strict=True):
        assert n == pytest.approx(given, rel=0.08, abs=1.5)
