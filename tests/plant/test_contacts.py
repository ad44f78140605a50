"""Obstacles at the deck and people who lean on it: statics, what the legs feel, energy, and what is kept of the force."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from machines import (
    COAST,
    DRIVE,
    GRAVITY,
    World,
    clear_away,
    energy_balance,
    lean,
    leg_of,
    obstruct,
    order,
    ready,
    rest,
    run,
    set_a,
    set_b,
    view,
)
from numpy.typing import NDArray

from plant.setup import refresh_load
from plant.touch import BOUNCE_US, feel

FULL_DUTY_A = 34.812e-3
"""m/s, set A raising 60 kg, ``single_leg_figures``."""


def push_only(world: World) -> World:
    world[0]["legs"]["spindle"]["captive"] = 0
    return world


def carried(world: World) -> NDArray[np.float64]:
    """Deck's force on each leg at the present travels [N]."""
    feel(view(world))
    return np.array(world[0]["legs"]["scratch"]["deck_force"][: int(world[0]["n_legs"])])


def residual(world: World) -> float:
    """Energy that is not accounted for, as a share of what the source gave."""
    given, spent, stored = energy_balance(world)
    return (given - sum(spent.values()) - stored) / given


def test_an_obstacle_pushes_with_its_stiffness_times_its_compression_and_only_while_touched() -> None:
    world = ready(set_a(60))
    block = obstruct(world, 75e3, 2e-3)

    leg_of(world)["travel"] = 1.9e-3
    assert carried(world) == pytest.approx([60 * GRAVITY])
    assert float(block["force"]) == 0.0
    leg_of(world)["travel"] = 3e-3
    assert carried(world) == pytest.approx([60 * GRAVITY + 75.0])
    assert float(block["force"]) == pytest.approx(75.0)


@pytest.mark.parametrize("side", [1, -1])
def test_the_legs_share_the_force_of_an_obstacle_as_a_payload_at_its_place(side: int) -> None:
    at = (0.35, -0.22)
    world = ready(set_b(60, 4))
    before = carried(world)
    obstruct(world, 10e3, 0.0, side, at)
    world[0]["legs"]["travel"][:4] = side * 4e-3
    change = carried(world) - before

    loaded = ready(set_b(60, 4))
    loaded[0]["deck"]["payload_x"], loaded[0]["deck"]["payload_y"] = at
    refresh_load(view(loaded))
    shares = np.array(loaded[0]["legs"]["share"][:4]) / (60 * GRAVITY)
    assert change == pytest.approx(side * 40.0 * shares)
    assert np.sum(change) == pytest.approx(side * 40.0)


def test_an_obstacle_below_takes_the_whole_weight_and_the_push_only_nut_goes_on_alone() -> None:
    world = ready(push_only(set_a(60)))
    block = obstruct(world, 500e3, 1e-3, -1)
    order(world, DRIVE, -1.0)
    run(world, 0.3)

    assert int(leg_of(world)["lifted"]) == 1
    assert float(leg_of(world)["deck_force"]) == 0.0
    assert float(block["force"]) == pytest.approx(60 * GRAVITY, rel=1e-9)
    assert float(leg_of(world)["height"]) == pytest.approx(-1e-3 - 60 * GRAVITY / 500e3, abs=1e-9)


def test_a_captive_nut_presses_the_deck_onto_an_obstacle_below_with_more_than_its_weight() -> None:
    world = ready(set_a(60))
    block = obstruct(world, 75e3, 1e-3, -1)
    order(world, DRIVE, -1.0, 8.0)
    run(world, 0.6)

    assert float(block["force"]) > 1.5 * 60 * GRAVITY


WARP_AND_RACKING = [(0.0, 0.0), (16e3, 0.0), (16e3, 4e3), (0.0, 4e3)]


@pytest.mark.parametrize(("warp", "tilt"), WARP_AND_RACKING)
def test_no_force_jumps_where_an_obstacle_lifts_the_deck_off_a_leg(warp: float, tilt: float) -> None:
    world = push_only(set_b(60, 4))
    deck = world[0]["deck"]
    deck["warp_stiffness"], deck["tilt_stiffness_x"], deck["tilt_stiffness_y"] = warp, tilt, tilt
    ready(world)
    block = obstruct(world, 50e3, 0.0, -1, (0.55, 0.35))

    steps, lifted, last = [], 0, None
    for depth in np.linspace(0.0, 30e-3, 3001):
        world[0]["legs"]["travel"][:4] = -depth
        now = np.append(carried(world), block["force"])
        lifted = max(lifted, int(np.sum(world[0]["legs"]["lifted"])))
        # what is carried is the weight
        assert np.sum(now) == pytest.approx(60 * GRAVITY, rel=1e-5)
        if last is not None:
            steps.append(np.max(np.abs(now - last)))
        last = now
    assert lifted > 0
    assert max(steps) < 1.05 * 50e3 * 1e-5


@pytest.mark.parametrize(("warp", "tilt"), [(16e3, 0.0), (16e3, 4e3)])
def test_a_deck_that_rests_on_an_obstacle_gives_back_what_it_took(warp: float, tilt: float) -> None:
    """The work that the nuts do on the deck over any closed path of their travels is nothing."""
    world = push_only(set_b(60, 4))
    deck = world[0]["deck"]
    deck["warp_stiffness"], deck["tilt_stiffness_x"], deck["tilt_stiffness_y"] = warp, tilt, tilt
    ready(world)
    obstruct(world, 50e3, 0.0, -1, (0.55, 0.35))
    corners = np.array([[0, 0, 0, 0], [-8, -20, -20, -5], [-20, -20, 3, -10], [0, 0, 0, 0]]) * 1e-3

    work, swing = 0.0, 0.0
    for start, end in pairwise(corners):
        path = np.linspace(start, end, 2001)
        world[0]["legs"]["travel"][:4] = start
        before = carried(world)
        for a, b in pairwise(path):
            world[0]["legs"]["travel"][:4] = b
            after = carried(world)
            work += 0.5 * float((before + after) @ (b - a))
            before = after
        swing = max(swing, abs(work))
    assert swing > 3.0
    assert abs(work) < 1e-5 * swing


def against_a_gauge() -> World:
    """Raised into a gauge of 75 N/mm, held there at 8 A."""
    world = ready(set_a(60))
    obstruct(world, 75e3, 5e-3)
    order(world, DRIVE, 1.0, 8.0)
    return run(world, 0.8)


def down_on_a_corner() -> World:
    """Four push-only legs lowered so that one corner meets a block."""
    world = push_only(set_b(60, 4))
    world[0]["deck"]["warp_stiffness"], world[0]["deck"]["tilt_stiffness_x"] = 16e3, 4e3
    ready(world)
    obstruct(world, 75e3, 2e-3, -1, (0.6, 0.4))
    order(world, DRIVE, -1.0)
    run(world, 0.8)
    assert int(np.sum(world[0]["legs"]["lifted"])) > 0
    return world


def leant_on() -> World:
    """Two legs raised, somebody leans on one end for half a second and lets go; a block is taken away while pressed."""
    world = ready(set_a(60, 2))
    order(world, DRIVE, 1.0, 8.0)
    run(world, 0.4)
    lean(world, 300.0, (0.7, 0.0))
    obstruct(world, 10e3, 1e-3, 1, (-0.3, 0.1))
    run(world, 0.5)
    clear_away(world, 0)
    clear_away(world, 1)
    run(world, 0.3)
    assert abs(float(world[0]["taken"])) > 1.0
    return world


@pytest.mark.parametrize("fly", [against_a_gauge, down_on_a_corner, leant_on])
def test_contacts_keep_the_energy_balance(fly: object) -> None:
    assert callable(fly)
    left = residual(fly())
    print(left)

    assert abs(left) < 2e-4


def test_the_first_touch_is_timed_to_a_sub_step() -> None:
    world = ready(set_a(60))
    order(world, DRIVE, 1.0)
    run(world, 0.5)
    block = obstruct(world, 75e3, 10e-3)
    start = float(world[0]["time_us"])
    run(world, 0.4)

    assert float(block["touch_us"]) - start == pytest.approx(1e6 * 10e-3 / FULL_DUTY_A, abs=150.0)


def test_the_peak_does_not_depend_on_the_sub_step() -> None:
    peaks = []
    for halvings in (0, 2):
        world = set_a(60)
        world[0]["sub_step"] /= 2**halvings
        world[0]["sub_step_us"] //= 2**halvings
        world[0]["steps_per_tick"] *= 2**halvings
        ready(world)
        block = obstruct(world, 500e3, 10e-3)
        order(world, DRIVE, 1.0)
        run(world, 0.3)
        peaks.append(float(block["peak"]))
        run(world, 0.0)

    assert peaks[0] == pytest.approx(peaks[1], rel=1e-4)


def back_and_forth(world: World, seconds: float) -> None:
    """Down for ``seconds``, and up again as long."""
    order(world, DRIVE, -1.0)
    run(world, seconds)
    order(world, DRIVE, 1.0)
    run(world, seconds + 0.1)


def test_every_return_to_the_obstacle_is_an_attempt_with_a_clock_of_its_own() -> None:
    world = ready(set_a(30))
    block = obstruct(world, 10e3, 5e-3)
    order(world, DRIVE, 1.0)
    run(world, 0.5)
    assert int(block["attempts"]) == 1
    first, begun = float(block["first_peak"]), float(block["clock_us"])
    assert first > 25.0

    back_and_forth(world, 0.8)
    assert int(block["attempts"]) == 2
    assert float(block["clock_us"]) > begun
    assert float(block["first_peak"]) >= first
    order(world, DRIVE, -1.0)
    run(world, 1.0)
    assert int(block["touching"]) == 0
    assert float(world[0]["time_us"]) - float(block["last_us"]) > BOUNCE_US


def test_late_and_last_force_are_kept_apart_from_the_peak() -> None:
    world = ready(set_a(60))
    block = obstruct(world, 75e3, 5e-3)
    world[0]["late_after"], world[0]["last_after"] = 0.3, 0.6
    order(world, DRIVE, 1.0)
    run(world, 0.25)
    order(world, COAST)
    rest(world)
    peak = float(block["peak"])
    assert peak > 100.0
    assert float(block["late_peak"]) == 0.0
    run(world, 0.4)

    # the self-locking screw keeps what it pressed in
    assert float(block["late_peak"]) == pytest.approx(float(block["force"]))
    assert float(block["last_peak"]) == 0.0
    run(world, 0.3)
    assert float(block["last_peak"]) == pytest.approx(float(block["force"]))


@settings(max_examples=60, deadline=None)
@given(
    st.tuples(st.floats(-0.5, 0.5), st.floats(-0.35, 0.35)),
    st.lists(st.floats(-0.02, 0.02), min_size=4, max_size=4),
    st.sampled_from([(16e3, 0.0), (16e3, 4e3), (3e3, 1e3)]),
    st.floats(5e3, 500e3),
)
def test_a_deck_on_push_only_legs_and_a_block_is_in_equilibrium_and_nothing_pulls(
    at: tuple[float, float], travels: list[float], stiffnesses: tuple[float, float], stiffness: float
) -> None:
    world = push_only(set_b(60, 4))
    deck, legs = world[0]["deck"], world[0]["legs"]
    deck["warp_stiffness"], deck["tilt_stiffness_x"], deck["tilt_stiffness_y"] = stiffnesses[0], stiffnesses[1], stiffnesses[1]
    ready(world)
    block = obstruct(world, stiffness, 0.0, -1, at)
    legs["travel"][:4] = travels
    forces, push = carried(world), float(block["force"])

    assert np.sum(forces) + push == pytest.approx(60 * GRAVITY, rel=1e-6)
    assert push >= 0.0
    assert np.all(forces >= -1e-6)
    lifted = legs["lifted"][:4] == 1
    assert np.all(forces[lifted] == 0.0)
    assert np.all(legs["height"][:4][lifted] >= legs["travel"][:4][lifted] - 1e-9)
    # moments about the middle: legs, block and racking, which follows the deck
    joints = np.where(lifted, legs["height"][:4], legs["travel"][:4])
    for axis, slope in (("x", "slope_x"), ("y", "slope_y")):
        rack = stiffnesses[1] * float(legs[slope][:4] @ joints)
        assert forces @ legs[axis][:4] + push * float(block[axis]) == pytest.approx(rack, abs=1e-3)
