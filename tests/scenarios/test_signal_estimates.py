"""The estimates of the shape check, and what disturbs which detector."""

from __future__ import annotations

from functools import lru_cache

import pytest
from rehearsals import EXAMPLES

from scenarios.files import load_lift
from scenarios.signal_estimates import EstimateScore, sum_estimates
from scenarios.signal_influence import Sweep, influences, verdicts
from scenarios.signal_study import Study, study_lift

MOTORS = ("worktop", "roof", "showcase")
SPEED = {("new", False): 0.05, ("worn", False): 0.06, ("new", True): 0.09, ("worn", True): 0.09}
"""Relative error of the speed, rms, from 20 rad/s up, by condition and whether the move is the one with a reversal.  Measured over
four moves: new 0.6 to 2.2 %, worn 1.1 to 4.5 %; with a reversal, after which the period is found anew, 0.6 to 5.5 %."""
SEEDS = range(1000, 1004)
"""None of them was looked at when the constants of the check were chosen: those were 0 to 3."""
FACTOR = 2.0
"""By which the shape check must have fewer wrong counts than the plain Schmitt trigger on a worn motor, whole bench move, both
directions, each lift as it is shipped.  Over twenty seeds (1000 to 1019): worktop 305 wrong become 135 (2.3), roof 445 become 179 (2.5),
showcase 375 become 126 (3.0).  It is the more, the worse the plain trigger is set: with the worktop at 175 mV and 350 us 3.3, at 120 mV
1.2, since the check listens for smaller spikes than the trigger and its own threshold follows from that one's."""


@lru_cache
def study(name: str) -> Study:
    lift = load_lift(EXAMPLES / name / f"{name}.toml")
    return study_lift(lift, lift.names[0], SEEDS)


@pytest.mark.parametrize("name", MOTORS)
def test_speed_direction_and_power_off_are_told_from_the_wires_of_a_new_motor(name: str) -> None:
    for case in study(name).told:
        told = case.estimates
        print(name, case.condition, case.move, told.as_dict())
        assert (told.square_sum / told.samples) ** 0.5 < SPEED[case.condition, case in study(name).turned]
        if case.condition == "new":
            assert told.samples > 60
            assert told.right > 0.9 * told.samples
            assert told.wrong <= 0.02 * told.samples
            assert told.offs_told == 4
            assert 0.0 <= told.off_sum_us / told.offs_told < 50.0


def wrong(name: str, detector: str, condition: str) -> tuple[int, int]:
    """Missed and extra counts of a detector on all moves of a condition."""
    parts = [case.scores[detector].whole for case in study(name).cases if case.condition == condition]
    return sum(part.missed for part in parts), sum(part.doubled + part.false for part in parts)


@pytest.mark.parametrize("name", MOTORS)
def test_the_shape_check_beats_the_plain_trigger_on_a_worn_motor_by_a_factor(name: str) -> None:
    plain, shape = wrong(name, "spikes", "worn"), wrong(name, "shape", "worn")
    print(f"{name}, worn: {plain[0]} missed and {plain[1]} extra become {shape[0]} and {shape[1]}")

    assert FACTOR * sum(shape) < sum(plain)
    # doubles, bounces and the neighbour's sparks do not pass, and what is missed is not the price for it
    assert 10 * shape[1] < plain[1]
    assert shape[0] < plain[0]


@pytest.mark.parametrize("name", MOTORS)
def test_the_shape_check_costs_a_new_motor_little(name: str) -> None:
    plain, shape = wrong(name, "spikes", "new"), wrong(name, "shape", "new")
    print(f"{name}, new: {plain} become {shape}")

    assert sum(shape) <= sum(plain) + 8


@pytest.mark.parametrize("name", MOTORS)
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
