"""The deck on its legs: published load shares, racking, warp, legs that lift off, and what renumbering must not change.

MS-2 and MS-4 are statics; MS-3 is the square plate on four equal springs of
https://engineering.stackexchange.com/q/35600; MS-5 is its extension to a leg that stands low.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from machines import COAST, DRIVE, GRAVITY, World, leg_of, order, ready, run, set_a, set_b
from numpy.typing import NDArray

Place = tuple[float, float]
TRIPOD: tuple[Place, ...] = ((0.0, 0.0), (0.8, 0.0), (0.4, 0.6))
SQUARE: tuple[Place, ...] = ((1.0, 1.0), (-1.0, 1.0), (-1.0, -1.0), (1.0, -1.0))
PLATE: tuple[Place, ...] = ((0.3, 0.2), (0.3, -0.2), (-0.3, 0.2), (-0.3, -0.2))
SPRING = 1e5
"""N/m of each of the four supports of the plates."""


def deck(places: Sequence[Place], load: float, at: Place, captive: int = 1) -> World:
    """A deck without mass on legs at ``places`` under ``load`` [N] ``at`` a place; not yet prepared."""
    world = set_b(load / GRAVITY, 4)
    machine = world[0]
    machine["n_legs"] = len(places)
    for q, (x, y) in enumerate(places):
        machine["legs"][q] = machine["legs"][0]
        leg = leg_of(world, q)
        leg["x"], leg["y"], leg["key"], leg["axial_stiffness"], leg["spindle"]["captive"] = x, y, 50 + q, SPRING, captive
    machine["deck"]["payload_x"], machine["deck"]["payload_y"] = at
    return world


def forces(world: World) -> NDArray[np.float64]:
    """Force of the deck on every leg [N]."""
    return np.array(world[0]["legs"]["deck_force"][: int(world[0]["n_legs"])])


def heights(world: World, *travels: float) -> World:
    """Set the nuts to ``travels`` [m] and let the deck settle on them."""
    world[0]["legs"]["travel"][: len(travels)] = travels
    return ready(world)


@pytest.mark.parametrize(("at", "expected"), [((0.4, 0.2), (300.0, 300.0, 300.0)), ((0.3, 0.15), (450.0, 225.0, 225.0))])
def test_three_legs_share_as_the_barycentric_coordinates_say(at: Place, expected: tuple[float, ...]) -> None:
    # MS-2
    assert forces(ready(deck(TRIPOD, 900.0, at))) == pytest.approx(expected, rel=1e-12)


@pytest.mark.parametrize("captive", [0, 1])
def test_the_corners_of_a_square_plate_share_as_published(captive: int) -> None:
    # MS-3: corner = P/4 (1 +- x/a +- y/a)
    shares = forces(ready(deck(SQUARE, 400.0, (0.4, 0.2), captive)))

    assert shares == pytest.approx([160.0, 80.0, 40.0, 120.0], rel=1e-12)
    assert shares[0] + shares[2] == pytest.approx(200.0, rel=1e-12)


def test_the_corners_of_a_rectangular_plate_share_as_published() -> None:
    # MS-4: P/4 (1 +- 2x/a +- 2y/b)
    assert forces(ready(deck(PLATE, 1000.0, (0.15, 0.05)))) == pytest.approx([437.5, 312.5, 187.5, 62.5], rel=1e-12)


def test_past_the_line_of_uplift_a_push_only_leg_lets_go_and_three_carry() -> None:
    # MS-4: uplift where |2x/a| + |2y/b| > 1; three legs are statically determinate.
    world = ready(deck(PLATE, 1000.0, (0.18, 0.09), captive=0))

    # A leg may rest softly on what keeps a lone leg solvable: parts in 1e4.
    assert forces(world) == pytest.approx([525.0, 275.0, 200.0, 0.0], abs=0.1)
    assert [int(leg_of(world, q)["lifted"]) for q in range(4)] == [0, 0, 0, 1]


def test_past_the_line_of_uplift_captive_nuts_pull() -> None:
    world = ready(deck(PLATE, 1000.0, (0.18, 0.09), captive=1))

    assert forces(world) == pytest.approx([512.5, 287.5, 212.5, -12.5], rel=1e-12)
    assert not np.any(world[0]["legs"]["lifted"])


@pytest.mark.parametrize("captive", [0, 1])
def test_a_leg_that_stands_low_hands_its_load_to_its_neighbours(captive: int) -> None:
    # MS-5: its diagonal loses k d/4 = 12.5 N a leg at 0.5 mm, the other diagonal gains it.
    world = deck(PLATE, 1000.0, (0.0, 0.0), captive)
    world[0]["deck"]["warp_stiffness"] = SPRING

    assert forces(heights(world, -0.5e-3, 0.0, 0.0, 0.0)) == pytest.approx([237.5, 262.5, 262.5, 237.5], rel=1e-9)


def test_a_push_only_deck_rocks_on_a_diagonal_where_captive_nuts_would_pull() -> None:
    # MS-5 at 20 mm: 250 N are fewer than k d/4 = 500 N.
    world = deck(PLATE, 1000.0, (0.0, 0.0), captive=0)
    world[0]["deck"]["warp_stiffness"] = SPRING
    heights(world, -20e-3, 0.0, 0.0, 0.0)
    carried = forces(world)

    assert carried == pytest.approx([0.0, 500.0, 500.0, 0.0], abs=1.0)
    assert int(leg_of(world)["lifted"]) == 1
    # The deck stays where its diagonal holds it, well above the nut that went down.
    assert float(leg_of(world)["height"]) > -15e-3


@settings(max_examples=60, deadline=None)
@given(st.floats(-0.29, 0.29), st.floats(-0.19, 0.19), st.lists(st.floats(-20e-3, 20e-3), min_size=4, max_size=4))
def test_push_only_legs_carry_the_weight_at_its_place_and_none_of_them_pulls(x: float, y: float, travels: list[float]) -> None:
    world = deck(PLATE, 1000.0, (x, y), captive=0)
    world[0]["deck"]["warp_stiffness"] = SPRING
    heights(world, *travels)
    carried = forces(world)
    legs = world[0]["legs"][:4]

    assert np.all(carried >= -1e-9)
    assert carried.sum() == pytest.approx(1000.0, rel=1e-9)
    # 1 N m/rad keeps a deck on a lone leg solvable; tilts here stay below 0.2 rad.
    assert carried @ legs["x"] == pytest.approx(1000.0 * x, abs=0.2)
    assert carried @ legs["y"] == pytest.approx(1000.0 * y, abs=0.2)
    lifted = legs["lifted"] == 1
    assert np.all(carried[lifted] == 0.0)
    assert np.all(legs["height"][lifted] >= legs["travel"][lifted])


def test_a_leg_let_go_too_early_takes_its_load_back() -> None:
    """Both legs of a diagonal stand 50 mm low; the load, off the other diagonal, tips the deck onto one of them."""
    world = deck(PLATE, 1000.0, (0.06, 0.04), captive=0)
    world[0]["deck"]["warp_stiffness"] = SPRING
    heights(world, -50e-3, 0.0, 0.0, -50e-3)
    carried = forces(world)

    # Moments about the diagonal through the second and third leg.
    assert carried[3] == 0.0
    assert carried[0] == pytest.approx(1000.0 * (0.06 / 0.3 + 0.04 / 0.2) / 2.0, abs=1.0)
    assert carried.sum() == pytest.approx(1000.0, rel=1e-9)


@settings(max_examples=60, deadline=None)
@given(st.lists(st.tuples(st.floats(-1.0, 1.0), st.floats(-1.0, 1.0)), min_size=1, max_size=8), st.floats(-1.0, 1.0), st.floats(-1.0, 1.0))
def test_captive_legs_always_carry_the_whole_weight(places: list[Place], x: float, y: float) -> None:
    world = set_b(80.0, 4)
    world[0]["n_legs"] = len(places)
    for q, place in enumerate(places):
        world[0]["legs"][q] = world[0]["legs"][0]
        leg_of(world, q)["x"], leg_of(world, q)["y"] = place
    world[0]["deck"]["payload_x"], world[0]["deck"]["payload_y"] = x, y
    shares = forces(ready(world))

    # Legs nearly on a line share a moment about it by large forces either way, which cost digits.
    assert shares.sum() == pytest.approx(80.0 * GRAVITY, abs=1e-9 * (1.0 + np.abs(shares).max()))


def test_the_shares_are_those_of_the_pseudo_inverse() -> None:
    places = ((-0.6, -0.4), (0.5, -0.3), (0.7, 0.4), (-0.4, 0.5), (0.1, 0.9))
    world = deck(places[:4], 600.0, (0.1, 0.05))
    world[0]["n_legs"] = 5
    world[0]["legs"][4] = world[0]["legs"][3]
    leg_of(world, 4)["x"], leg_of(world, 4)["y"] = places[4]
    world[0]["deck"]["mass"], world[0]["deck"]["centre_x"], world[0]["deck"]["centre_y"] = 12.0, -0.2, 0.3
    plan = np.column_stack([np.ones(5), np.array(places)])
    own = 12.0 * GRAVITY
    expected = np.linalg.pinv(plan).T @ np.array([600.0 + own, 60.0 - 0.2 * own, 30.0 + 0.3 * own])

    assert forces(ready(world)) == pytest.approx(expected, rel=1e-9)


def test_the_roof_with_its_load_off_centre_and_one_post_5_mm_high() -> None:
    """Set B: 60 kg at (0.15, 0.05) m; 5 mm at one post make 20 N alternating, tilts of 0.12 and 0.18 degrees."""
    world = set_b(60.0, 4)
    machine = world[0]
    machine["deck"]["payload_x"], machine["deck"]["payload_y"] = 0.15, 0.05
    level = forces(ready(world.copy()))
    machine["deck"]["warp_stiffness"] = 16e3
    tilted = forces(heights(world, 0.0, 0.0, 5e-3, 0.0))

    # An independent model gave 20.6, 13.1, 9.4 and 16.9 kg.
    assert level / GRAVITY == pytest.approx([9.375, 16.875, 20.625, 13.125], rel=1e-12)
    assert tilted - level == pytest.approx([20.0, -20.0, 20.0, -20.0], rel=1e-9)
    assert math.degrees(float(machine["deck"]["tilt_x"])) == pytest.approx(0.119, abs=1e-3)
    assert math.degrees(float(machine["deck"]["tilt_y"])) == pytest.approx(0.179, abs=1e-3)
    assert float(machine["deck"]["warp"]) == pytest.approx(1.25e-3, rel=1e-9)
    assert float(machine["deck"]["level_error"]) == pytest.approx(5e-3, rel=1e-9)


def test_racking_loads_the_leg_that_leads() -> None:
    """Set A: 20 kN m/rad on columns 1.2 m apart are 13.9 N per mm at one column."""
    world = set_a(60.0, 2)
    world[0]["deck"]["tilt_stiffness_x"] = 20e3

    assert forces(heights(world, 0.0, 1e-3)) - 30.0 * GRAVITY == pytest.approx([-13.889, 13.889], rel=1e-4)


def test_an_elastic_leg_sags_under_its_share() -> None:
    world = ready(deck(PLATE, 1000.0, (0.0, 0.0)))

    assert float(leg_of(world)["height"]) == pytest.approx(-250.0 / SPRING, rel=1e-12)


@pytest.mark.parametrize("warp_stiffness", [0.0, SPRING])
@pytest.mark.parametrize("tilt_stiffness", [0.0, 20e3])
def test_no_force_jumps_where_a_push_only_leg_lets_go(warp_stiffness: float, tilt_stiffness: float) -> None:
    found = []
    # 2 mm across 0.6 m with 20 kN m/rad move the load by 66.7 N m: the line of uplift moves as far.
    tilt = 2e-3 if tilt_stiffness > 0.0 else 0.0
    place = 0.15 - tilt_stiffness * tilt / 0.6 / 1000.0
    for beyond in (-1e-7, 1e-7):
        world = deck(PLATE, 1000.0, (place, 0.1 + beyond), captive=0)
        world[0]["deck"]["warp_stiffness"] = warp_stiffness
        world[0]["deck"]["tilt_stiffness_x"] = tilt_stiffness
        found.append(forces(heights(world, tilt, tilt, 0.0, 0.0)))

    assert np.any(found[0] != found[1])
    assert found[1] == pytest.approx(found[0], abs=0.02)


def uneven(mirrored: bool = False, swapped: bool = False) -> World:
    """Two legs under 60/30 kg with racking, guides that feel it and one supply, 0.3 s of raising and a coast."""
    world = set_a(90.0, 2)
    machine = world[0]
    machine["deck"]["payload_x"], machine["deck"]["tilt_stiffness_x"] = 0.2 if mirrored else -0.2, 20e3
    machine["legs"]["guide_coefficient"], machine["legs"]["guide_overlap"] = 0.15, 0.2
    machine["supply"]["resistance"], machine["supply"]["capacitance"] = 0.65, 2.2e-3
    machine["legs"]["detector"]["run_miss"] = 0.05
    if swapped:
        machine["legs"][:2] = machine["legs"][1::-1].copy()
    ready(world)
    order(world, DRIVE, 1.0)
    run(world, 0.3)
    order(world, COAST)
    return run(world, 0.2)


def test_two_legs_renumbered_give_the_same_bytes_renumbered() -> None:
    plain, swapped = uneven(), uneven(swapped=True)

    assert leg_of(plain, 0)["travel"] != leg_of(plain, 1)["travel"]
    for field in ("travel", "deck_force", "height", "motor", "detector", "energy"):
        assert plain[0]["legs"][0][field].tobytes() == swapped[0]["legs"][1][field].tobytes()
        assert plain[0]["legs"][1][field].tobytes() == swapped[0]["legs"][0][field].tobytes()


def test_four_legs_renumbered_move_alike_within_1e_12_m() -> None:
    turn = [2, 0, 3, 1]
    found = []
    for renumbered in (False, True):
        world = set_b(60.0, 4)
        machine = world[0]
        machine["deck"]["payload_x"], machine["deck"]["payload_y"], machine["deck"]["warp_stiffness"] = 0.15, 0.05, 16e3
        machine["deck"]["tilt_stiffness_x"], machine["deck"]["tilt_stiffness_y"] = 4e3, 3e3
        machine["supply"]["resistance"] = 0.08
        if renumbered:
            machine["legs"][:4] = machine["legs"][turn].copy()
        ready(world)
        order(world, DRIVE, 0.8)
        run(world, 0.3)
        order(world, COAST)
        found.append(np.array(run(world, 0.2)[0]["legs"]["travel"][:4]))

    assert np.ptp(found[0]) > 1e-5
    assert found[1] == pytest.approx(found[0][turn], abs=1e-12)


def test_a_mirrored_load_mirrors_the_tilt() -> None:
    plain, mirrored = uneven()[0], uneven(mirrored=True)[0]

    assert abs(float(plain["deck"]["tilt_x"])) > 1e-4
    assert float(mirrored["deck"]["tilt_x"]) == pytest.approx(-float(plain["deck"]["tilt_x"]), abs=1e-15)
    assert float(mirrored["deck"]["level_error"]) == pytest.approx(float(plain["deck"]["level_error"]), abs=1e-15)


def test_a_leg_that_the_deck_has_left_lifts_only_itself() -> None:
    """Two push-only legs, the load outside the left one: the right nut goes down alone and its motor feels no load."""
    world = deck(((-0.6, 0.0), (0.6, 0.0), (0.0, 0.8)), 600.0, (-0.5, -0.2), captive=0)
    machine = world[0]
    machine["legs"]["moving_mass"][:3] = 2.0
    ready(world)
    order(world, DRIVE, 1.0, legs=(2,))
    run(world, 0.3)

    assert int(leg_of(world, 2)["lifted"]) == 1
    # Its own mass and the friction of its own guide.
    assert float(leg_of(world, 2)["scratch"]["nut_force"]) == pytest.approx(2.0 * GRAVITY + 20.0, rel=1e-12)
