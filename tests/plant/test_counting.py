"""Counting at count level: what each kind of detector hears in each phase of a move, and by what chance it errs."""

from __future__ import annotations

import numpy as np
import pytest
from machines import BRAKE, COAST, DRIVE, World, leg_of, order, ready, run, set_a, view, watch
from numpy.typing import NDArray

from plant.counting import HALL, RIPPLE, SPIKES
from plant.pulse_buffer import inject, push_pulse, take_pulses
from plant.records import MAX_PULSES


def hearing(kind: int = SPIKES, fields: dict[str, float] | None = None, seed: int = 1, n_legs: int = 1) -> World:
    """Set A under 60 kg per leg with a detector of the ``kind`` and its other ``fields`` by name."""
    world = set_a(60.0 * n_legs, n_legs)
    world[0]["seed"] = seed
    world[0]["legs"]["detector"]["kind"] = kind
    for name, value in (fields or {}).items():
        world[0]["legs"]["detector"][name] = value
    return ready(world)


def driven(world: World, seconds: float = 0.3) -> NDArray[np.float64]:
    """Pulses [us] of leg 0 while all legs raise."""
    order(world, DRIVE, 1.0)
    return watch(world, seconds)[1][0]


def stopped(kind: int, mode: int) -> tuple[int, int]:
    """Commutations and pulses of a stop from full speed, past the flyback."""
    world = hearing(kind, {"quiet_current": 0.05})
    driven(world)
    leg = leg_of(world)
    before, heard = int(leg["motor"]["commuted"]), int(leg["detector"]["heard"])
    order(world, mode)
    watch(world, 0.3)
    return int(leg["motor"]["commuted"]) - before, int(leg["detector"]["heard"]) - heard


@pytest.mark.parametrize("kind", [SPIKES, RIPPLE, HALL])
def test_when_nothing_goes_wrong_every_commutation_is_one_pulse(kind: int) -> None:
    world = hearing(kind)
    pulses = driven(world)

    assert len(pulses) == int(leg_of(world)["motor"]["commuted"]) > 150
    assert np.all(np.diff(pulses) > 0.0)


@pytest.mark.parametrize(("kind", "mode"), [(kind, mode) for kind in (SPIKES, RIPPLE, HALL) for mode in (COAST, BRAKE)])
def test_shorted_wires_hide_the_spikes_and_open_wires_the_ripple(kind: int, mode: int) -> None:
    passed, heard = stopped(kind, mode)

    assert passed > 5
    if (kind, mode) not in {(SPIKES, BRAKE), (RIPPLE, COAST)}:
        # A ripple needs current: the last of a braked stop is too weak.
        assert passed - (1 if kind == RIPPLE else 0) <= heard <= passed
    else:
        assert heard == 0


def test_below_its_tail_speed_a_coasting_motor_is_not_heard() -> None:
    world = hearing(fields={"tail_speed": 100.0})
    driven(world)
    order(world, COAST)
    leg = leg_of(world)
    spoke = []
    for _ in range(900):
        before = int(leg["detector"]["missed"]), int(leg["detector"]["heard"]), float(leg["motor"]["speed"])
        run_a_step(world)
        spoke += [(before[2], True)] * (int(leg["detector"]["heard"]) - before[1])
        spoke += [(before[2], False)] * (int(leg["detector"]["missed"]) - before[0])
    quickest_missed = max(speed for speed, heard in spoke if not heard)
    slowest_heard = min(speed for speed, heard in spoke if heard)

    assert quickest_missed <= 105.0
    assert slowest_heard >= 99.0


def run_a_step(world: World) -> None:
    """One sub-step as a tick of its own."""
    steps = int(world[0]["steps_per_tick"])
    world[0]["steps_per_tick"] = 1
    run(world, float(world[0]["sub_step"]))
    world[0]["steps_per_tick"] = steps


def test_nothing_is_heard_within_the_flyback_after_a_switch_off() -> None:
    world = hearing(fields={"flyback": 15e-3})
    driven(world)
    off = float(world[0]["time_us"])
    order(world, COAST)
    pulses = watch(world, 0.3)[1][0]

    assert pulses.min() >= off + 15e3
    assert int(leg_of(world)["detector"]["missed"]) in {9, 10, 11}  # 15 ms at about 650 Hz


def test_the_misses_owed_at_the_start_are_the_first_commutations_of_every_start() -> None:
    world = hearing(fields={"start_miss_mean": 3.0})
    plain = hearing()
    late, all_of_them = driven(world), driven(plain)
    assert np.array_equal(late, all_of_them[3:])
    for machine in (world, plain):
        order(machine, COAST)
        watch(machine, 0.3)

    assert np.array_equal(driven(world), driven(plain)[3:])


def test_the_misses_of_a_start_scatter_about_their_mean() -> None:
    owed = []
    for seed in range(200):
        world = hearing(fields={"start_miss_mean": 4.0, "start_miss_sd": 1.5}, seed=seed)
        order(world, DRIVE, 1.0)
        run_a_step(world)
        owed.append(int(leg_of(world)["detector"]["to_miss"]) + int(leg_of(world)["detector"]["missed"]))

    # Four standard errors.
    assert np.mean(owed) == pytest.approx(4.0, abs=4.0 * 1.5 / np.sqrt(200))
    assert np.std(owed) == pytest.approx(1.5, abs=0.35)


def test_doubles_come_30_to_250_us_after_their_commutation() -> None:
    rates = {"run_double": 1.0, "double_delay_low": 30e-6, "double_delay_high": 250e-6}
    world = hearing(fields=rates)
    pulses, true = driven(world), driven(hearing())
    delays = pulses[1::2][: len(true)] - pulses[::2][: len(true)]

    assert np.array_equal(pulses[::2][: len(true)], true)
    assert delays.min() > 30.0
    assert delays.max() < 250.0
    assert np.mean(delays) == pytest.approx(140.0, abs=4.0 * 220.0 / np.sqrt(12.0 * len(delays)))
    assert int(leg_of(world)["detector"]["extra"]) == len(true)


@pytest.mark.parametrize(("field", "counter"), [("run_miss", "missed"), ("run_double", "extra"), ("run_false", "extra")])
def test_errors_come_as_often_as_their_probability_says(field: str, counter: str) -> None:
    world = hearing(fields={field: 0.1})
    driven(world, 3.0)
    number = int(leg_of(world)["motor"]["commuted"])

    assert number > 2000
    assert int(leg_of(world)["detector"][counter]) == pytest.approx(0.1 * number, abs=4.0 * np.sqrt(0.09 * number))


@pytest.mark.parametrize(("field", "off"), [("edge_false_on", False), ("edge_false_off", True)])
def test_a_switching_edge_makes_false_pulses_with_its_mean(field: str, off: bool) -> None:
    extra = []
    for seed in range(150):
        world = hearing(fields={field: 1.5}, seed=seed)
        order(world, DRIVE, 0.0)
        run(world, 0.01)
        assert not off or int(leg_of(world)["detector"]["extra"]) == 0
        order(world, COAST)
        run(world, 0.01)
        extra.append(int(leg_of(world)["detector"]["extra"]))

    assert np.mean(extra) == pytest.approx(1.5, abs=4.0 * np.sqrt(1.5 / 150))


def test_between_brake_and_coast_there_is_no_driving_edge() -> None:
    world = hearing(fields={"edge_false_on": 20.0, "edge_false_off": 20.0})
    order(world, BRAKE)
    run(world, 0.01)
    order(world, COAST)
    run(world, 0.01)

    assert int(leg_of(world)["detector"]["extra"]) == 0


def noisy(seed: int = 1, sensing: bool = False, other: float = 0.05) -> list[NDArray[np.float64]]:
    """Pulses of both legs, with every kind of error."""
    rates = {"run_miss": 0.05, "run_double": 0.05, "run_false": 0.02, "edge_false_on": 1.0, "start_miss_mean": 2.0, "start_miss_sd": 1.0}
    world = hearing(SPIKES, {**rates, "double_delay_low": 30e-6, "double_delay_high": 250e-6}, seed, 2)
    leg_of(world, 1)["detector"]["run_miss"] = other
    if sensing:
        world[0]["ideal_sensing"] = 0
        world[0]["legs"]["current_sensor"]["noise"] = 0.02
        world[0]["legs"]["current_sensor"]["filter_share"] = 1.0
    order(world, DRIVE, 1.0)
    return watch(world, 0.4)[1]


def test_a_draw_depends_on_nothing_but_what_it_is_drawn_for() -> None:
    """Another leg's errors and the noise of every current reading draw in between and change nothing."""
    plain = noisy()

    assert np.array_equal(noisy()[0], plain[0])
    assert np.array_equal(noisy(sensing=True)[0], plain[0])
    assert np.array_equal(noisy(other=0.5)[0], plain[0])
    assert not np.array_equal(noisy(other=0.5)[1], plain[1])
    assert not np.array_equal(noisy(seed=2)[0], plain[0])


def test_two_legs_under_the_same_load_err_apart() -> None:
    first, second = noisy()

    assert not np.array_equal(first, second)


def test_injected_pulses_stand_in_order_of_time() -> None:
    world = hearing()
    detector = view(world)["legs"][0]["detector"]
    push_pulse(detector, 1500.0)
    inject(detector, 3, 1e-3, 1000.0)
    stamps = np.zeros(MAX_PULSES)

    assert take_pulses(detector, 1e9, 0.0, stamps) == 4
    assert stamps[:4].tolist() == [1000.0, 1500.0, 2000.0, 3000.0]
    assert int(leg_of(world)["detector"]["extra"]) == 3


def test_pulses_after_the_tick_wait_for_the_next_and_stamps_are_those_of_the_timer() -> None:
    world = hearing()
    detector = view(world)["legs"][0]["detector"]
    for instant in (123.4, 987.6, 1001.0):
        push_pulse(detector, instant)
    stamps = np.zeros(MAX_PULSES)

    assert take_pulses(detector, 1000.0, 8.0, stamps) == 2
    assert stamps[:2].tolist() == [120.0, 984.0]
    assert take_pulses(detector, 2000.0, 0.0, stamps) == 1
    assert stamps[0] == 1001.0
    assert take_pulses(detector, 3000.0, 0.0, stamps) == 0


def test_a_full_buffer_says_what_it_lost() -> None:
    world = hearing()
    detector = view(world)["legs"][0]["detector"]
    inject(detector, MAX_PULSES + 5, 1e-6, 0.0)

    assert int(leg_of(world)["detector"]["waiting"]) == MAX_PULSES
    assert int(leg_of(world)["detector"]["lost"]) == 5
