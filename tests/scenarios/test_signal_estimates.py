"""The estimates of the shape check, and what disturbs which detector."""

from __future__ import annotations

from functools import lru_cache

import pytest
from rehearsals import EXAMPLES

from scenarios.files import load_lift
from scenarios.signal_estimates import EstimateScore, sum_estimates
from scenarios.signal_influence import Sweep, influences, verdicts
from scenarios.signal_study import Study, study_lift

SPEED = {"worktop": 0.12, "roof": 1.0}
"""Relative error of the speed, rms.  On the roof motor the check locks onto half periods in some starts (make pulses fall
half-way between its breaks, 5 segments on 2 poles) and is then off by a factor of two until it has settled: measured 0.84."""


@lru_cache
def study(name: str) -> Study:
    lift = load_lift(EXAMPLES / name / f"{name}.toml")
    return study_lift(lift, lift.names[0], range(2))


@pytest.mark.parametrize("name", ["worktop", "roof"])
def test_speed_direction_and_power_off_are_told_from_the_wires_of_a_new_motor(name: str) -> None:
    for case in study(name).cases:
        told = case.estimates
        print(name, case.condition, case.move, told.as_dict())
        if case.condition == "new":
            assert told.samples > 60
            assert (told.square_sum / told.samples) ** 0.5 < SPEED[name]
            assert told.right > 0.9 * told.samples
            assert told.wrong <= 0.02 * told.samples
            assert told.offs_told == 2
            assert 0.0 <= told.off_sum_us / told.offs_told < 50.0


@pytest.mark.parametrize("name", ["worktop", "roof"])
def test_the_wear_index_tells_a_worn_motor_from_a_new_one(name: str) -> None:
    index = {case.condition + case.move: case.estimates.wear_sum / case.estimates.moves for case in study(name).cases}

    assert min(index["wornup"], index["worndown"]) > 1.3 * max(index["newup"], index["newdown"])


def test_scores_of_estimates_add_up() -> None:
    both = sum_estimates([EstimateScore(10, 0.1, 8, 1, 1, 4.0, 1, 0, 0.2, 1), EstimateScore(30, 0.3, 30, 0, 0, 6.0, 1, 1, 0.4, 1)])

    assert both == EstimateScore(40, pytest.approx(0.4), 38, 1, 1, 10.0, 2, 1, pytest.approx(0.6), 2)  # type: ignore[arg-type]
    assert both.as_dict()["power_off"]["late_us"] == pytest.approx(5.0)
    assert EstimateScore().as_dict()["wear"] is None


@pytest.mark.slow
def test_each_factor_is_swept_alone_and_the_verdict_on_ripple_is_measured() -> None:
    lift = load_lift(EXAMPLES / "worktop" / "worktop.toml")
    rows = influences(Sweep(lift, "left", study("worktop").setting, range(1)))
    sentences = verdicts(rows)
    by_name = {(row.factor, row.value): row for row in rows}
    for row in rows:
        print(
            f"{row.factor:14} {row.value:20} "
            + "  ".join(f"{name} {row.missed(name)[0]:.1f}/{row.extra(name)[0]:.1f}" for name in row.counts)
        )
    print("\n".join(sentences))

    factors = {
        "supply",
        "load",
        "speed",
        "direction",
        "temperature",
        "wear",
        "cable",
        "sensing point",
        "suppression",
        "interference",
        "air",
    }
    assert factors <= {row.factor for row in rows}
    # the ripple detector is blind in the coast whatever the supply does, the spike detector is not
    assert by_name["power", "coasting"].missed("ripple")[0] > 900.0
    assert by_name["power", "coasting"].missed("spikes")[0] < 100.0
    # lost on a long cable, with the setting of a short one
    assert by_name["cable", "30 m"].missed("spikes")[0] > by_name["cable", "1 m"].missed("spikes")[0]
    # what is fed by the wires dies before the end of the coast
    assert by_name["feed", "motor wires, down"].missed("spikes")[0] > by_name["direction", "down"].missed("spikes")[0]
    low, high = by_name["rated", ""].missed("spikes")[1:]
    assert low <= by_name["rated", ""].missed("spikes")[0] <= high
    assert len(sentences) == 3
