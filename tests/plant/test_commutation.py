"""Commutations: unequal pitch, instants inside the sub-step, reversal, the reference counter."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from machines import BRAKE, COAST, DRIVE, World, leg_of, order, ready, run, set_a, set_b, watch

from plant.counting import HALL

PITCH = np.array([0.0, 0.03, -0.01, 0.02, 0.0, -0.03, 0.01, 0.0, 0.02, -0.02, 0.01, 0.0])


def even(world: World) -> World:
    """Hears every commutation; the pitch is even."""
    world[0]["legs"]["detector"]["kind"] = HALL
    return world


def uneven(world: World) -> World:
    for leg in world[0]["legs"]:
        leg["motor"]["pitch"][:12] = PITCH
    return even(world)


def test_at_steady_speed_the_instants_are_evenly_spaced_to_a_hundredth_of_a_microsecond() -> None:
    world = ready(even(set_a(60.0)))
    order(world, DRIVE, 1.0)
    watch(world, 0.8)
    period = 1e6 * math.tau / (12.0 * float(leg_of(world)["motor"]["speed"]))
    _, pulses = watch(world, 0.2)

    # 1473 us between counts, on sub-steps of 100 us.
    assert np.diff(pulses[0]) == pytest.approx(period, abs=0.01)


def test_unequal_pitch_repeats_with_every_turn() -> None:
    world = ready(uneven(set_a(60.0)))
    order(world, DRIVE, 1.0)
    watch(world, 0.8)
    place = int(leg_of(world)["motor"]["place"])
    _, pulses = watch(world, 0.2)
    gaps = np.diff(pulses[0])
    index = (place + 1 + np.arange(len(gaps))) % 12
    expected = (1.0 + PITCH[(index + 1) % 12] - PITCH[index]) * gaps[:12].sum() / 12.0

    assert np.ptp(gaps) > 0.05 * gaps.mean()
    assert gaps == pytest.approx(expected, abs=0.02)


@settings(max_examples=20, deadline=None)
@given(st.floats(-0.02, 0.02), st.lists(st.tuples(st.sampled_from([COAST, DRIVE, BRAKE]), st.floats(-1.0, 1.0)), min_size=1, max_size=4))
def test_the_rotor_always_stands_between_its_two_neighbours(start: float, commands: list[tuple[int, float]]) -> None:
    world = uneven(set_a(60.0))
    leg = leg_of(world)
    leg["travel"] = start
    ready(world)
    motor = leg["motor"]
    for mode, duty in commands:
        order(world, mode, duty)
        run(world, 0.05)
        place = int(motor["place"])
        below, above = ((k + PITCH[k % 12]) * math.tau / 12 for k in (place, place + 1))

        assert float(motor["below"]) <= float(motor["angle"]) < float(motor["above"])
        assert (float(motor["below"]), float(motor["above"])) == pytest.approx((below, above), rel=1e-12, abs=1e-12)


def test_going_up_every_commutation_on_the_way_is_passed_once() -> None:
    world = ready(uneven(set_a(60.0)))
    before = int(leg_of(world)["motor"]["place"])
    order(world, DRIVE, 1.0)
    run(world, 0.5)
    motor = leg_of(world)["motor"]

    assert int(motor["commuted"]) == int(motor["place"]) - before > 300


def test_counts_know_neither_sign_nor_place() -> None:
    """Up and down again: the rotor is back, the count has gone on."""
    world = ready(even(set_a(60.0)))
    motor = leg_of(world)["motor"]
    order(world, DRIVE, 1.0)
    run(world, 0.2)
    up = int(motor["commuted"])
    order(world, DRIVE, -1.0)
    while float(motor["angle"]) > 0.5:
        run(world, 0.01)

    assert int(motor["commuted"]) > 2 * up
    assert abs(int(motor["place"])) < 12


def test_the_reference_counter_counts_its_slots_whatever_the_detector_hears() -> None:
    world = set_b(20.0)
    leg_of(world)["detector"]["hall_slots"] = 4
    leg_of(world)["detector"]["run_miss"] = 1.0
    ready(world)
    order(world, DRIVE, 1.0)
    run(world, 0.3)
    order(world, COAST)
    run(world, 0.5)
    leg = leg_of(world)
    slots = math.floor(float(leg["motor"]["angle"]) * 4 / math.tau)

    assert int(leg["detector"]["heard"]) == 0
    assert int(leg["detector"]["hall_counts"]) == slots > 80


def test_the_travel_of_a_count_is_the_lead_over_gear_and_commutations() -> None:
    """19.50 counts per mm for set A, 37.50 for set B."""
    for build, per_mm in ((set_a, 19.5), (set_b, 37.5)):
        world = ready(even(build(0.0)))
        order(world, DRIVE, 1.0)
        run(world, 1.0)
        leg = leg_of(world)

        assert int(leg["motor"]["commuted"]) == math.floor(float(leg["travel"]) * 1e3 * per_mm)
