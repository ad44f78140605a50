"""The decision table of counting methods."""

from __future__ import annotations

import numpy as np
import pytest
from rehearsals import EXAMPLES

from scenarios.files import load_lift
from scenarios.signal_bench import bench_move
from scenarios.signal_detectors import Setting
from scenarios.signal_methods import decide_methods
from scenarios.signal_phases import Phase
from scenarios.signal_reference import Wheel, counted, edges
from scenarios.signal_score import PhaseScore, Score
from scenarios.signal_study import Case, Flown, Study

NETS = {"spikes": (-2, -3, -4), "shape": (0, 0, 0), "ripple": (-120, -120, -120)}


def study() -> tuple[Study, Flown]:
    lift = load_lift(EXAMPLES / "worktop" / "worktop.toml")
    flown = Flown("up", lift.leg[0], bench_move(lift, "left", 1))
    scores = {name: Score({Phase.RUN: PhaseScore(100, 0, 0, 0, 0.0)}) for name in NETS}
    cases = tuple(Case(condition, "up", scores, NETS) for condition in ("new", "worn"))
    return Study("worktop", "left", 3, 1e6, Setting(1.0, 0.2, 1.0, 0.01), cases, (flown,)), flown


def test_counts_per_mm_follow_from_geometry_and_homings_from_the_drift() -> None:
    made, flown = study()
    rows = {one.name: one for one in decide_methods(made, flown.leg, 1.5, {})}

    assert rows["spikes"].counts_per_mm == pytest.approx(19.5)  # set A, parameter sheet
    assert rows["hall, 4 slots, motor shaft"].counts_per_mm == pytest.approx(4 * 6.5 / 4.0)
    assert rows["hall, 4 slots, spindle"].counts_per_mm == pytest.approx(1.0)
    # 1.5 mm are 29.25 counts; 3 n + 2.576 * 0.816 sqrt(n) reaches them between 7 and 8 moves
    assert rows["spikes"].moves == 7
    assert rows["ripple"].moves == 0
    assert rows["shape"].moves is None
    assert rows["hall, 4 slots, motor shaft"].bias == 0.0
    # 264 edges a second against a debounce of 2 ms: none is lost; bounces end before it
    assert rows["switch, 4 a turn, motor shaft"].bias == 0.0
    assert rows["switch, 4 a turn, spindle"].bias == 0.0


def test_costs_come_from_the_prices_that_were_typed_and_are_left_out_where_one_is_missing() -> None:
    made, flown = study()
    none = decide_methods(made, flown.leg, 1.5, {})
    some = {one.name: one for one in decide_methods(made, flown.leg, 1.5, {"part": 0.1, "wire": 0.5, "connector": 1.0})}

    assert all(one.cost is None for one in none)
    assert some["spikes"].cost == pytest.approx(1.4)
    assert some["hall, 4 slots, spindle"].cost is None


def test_a_wheel_counts_the_angle_and_a_switch_loses_what_is_faster_than_its_debounce() -> None:
    _, flown = study()
    history, step = flown.bench.history, flown.bench.step
    turned = float(history["angle"][-1] - history["angle"][0]) / (2.0 * np.pi)
    instants, signs = edges(history, step, Wheel(4))

    assert abs(len(instants) - 4.0 * turned) < 1.0
    assert np.all(np.diff(instants) > 0.0)
    assert np.all(signs == 1.0)
    assert counted(history, step, Wheel(4, quadrature=True), 1)[0] == pytest.approx(16.0 * turned, abs=1.0)
    found, true = counted(history, step, Wheel(20, bounces=True), 1)
    assert found < 0.6 * true  # an edge each 0.8 ms


def test_backwards_counts_against_a_single_channel_only() -> None:
    _, flown = study()
    history = np.concatenate((flown.bench.history, flown.bench.history[::-1]))
    single, true = counted(history, flown.bench.step, Wheel(4), 1)
    signed, _ = counted(history, flown.bench.step, Wheel(4, quadrature=True), 1)

    assert true == signed == 0
    assert single > 100
