"""The kernels against the single-leg figures that two independent models of the same equations gave.

Full duty, no current limit, stiff supply, winding held at 20 C, no Stribeck; no-load rows have neither mass nor guide
friction. The models used tanh for the brush drop.
"""

from __future__ import annotations

import math

import pytest
from machines import BRAKE, COAST, DRIVE, World, free_of_load, leg_of, order, ready, rest, run, set_a, set_b
from single_leg_figures import FIGURES, named


def machine(name: str, load: int) -> World:
    world = set_a(load) if name == "A" else set_b(load)
    return ready(world if load else free_of_load(world))


def stop(world: World, mode: int) -> tuple[float, float, float]:
    """Time [s], way [mm] and commutations of a stop from the present speed."""
    leg = leg_of(world)
    began_us, began, counted = int(world[0]["time_us"]), float(leg["travel"]), int(leg["motor"]["commuted"])
    order(world, mode)
    lasted = rest(world)
    assert lasted < 3.0
    # To the sub-step in which it stands: the last commutation and half a sub-step are as near as the figures need.
    return (int(world[0]["time_us"]) - began_us) * 1e-6, abs(float(leg["travel"]) - began) * 1e3, int(leg["motor"]["commuted"]) - counted


@pytest.mark.parametrize("row", list(FIGURES), ids=named)
def test_run_coast_and_braked_stop_are_those_of_two_independent_models(row: tuple[str, int, int]) -> None:
    name, load, direction = row
    world = machine(name, load)
    order(world, DRIVE, float(direction))
    run(world, 1.0)
    motor, spindle = leg_of(world)["motor"], leg_of(world)["spindle"]
    turns = abs(float(motor["speed"])) / math.tau
    running = (
        abs(float(motor["current"])),
        60.0 * turns,
        abs(float(motor["speed"])) * float(spindle["travel_per_radian"]) * 1e3,
        turns * int(motor["commutations"]),
    )
    braked = world.copy()
    coast, brake = stop(world, COAST), stop(braked, BRAKE)
    expected = FIGURES[row]
    step = float(world[0]["sub_step"])

    assert running == pytest.approx(expected[:4], rel=1e-3)
    # The end of a stop is known to the sub-step it falls into.
    assert coast[:2] == pytest.approx(expected[4:6], rel=5e-3)
    assert coast[2] == pytest.approx(expected[6], abs=1.0)
    assert brake[0] == pytest.approx(expected[7], rel=5e-3, abs=step)
    assert brake[1] == pytest.approx(expected[8], rel=5e-3)
    assert brake[2] == pytest.approx(expected[9], abs=1.0)


@pytest.mark.parametrize("direction", [1, -1])
def test_guide_friction_adds_to_the_nut_force_going_up_and_takes_from_it_going_down(direction: int) -> None:
    world = machine("A", 60)
    order(world, DRIVE, float(direction))
    run(world, 0.5)

    assert float(leg_of(world)["scratch"]["nut_force"]) == pytest.approx(60 * 9.81 + direction * 40.0, rel=1e-12)


def test_the_inertia_holds_rotor_spindle_and_load_as_the_motor_feels_them() -> None:
    world = machine("A", 60)
    rx = 4e-3 / (math.tau * 6.5)

    assert 1.0 / float(leg_of(world)["inverse_inertia"]) == pytest.approx(4.5e-5 + 1.5e-5 / 6.5**2 + 60.0 * rx**2, rel=1e-12)


def test_the_winding_warms_when_it_is_not_held() -> None:
    # 14.0 W of copper and 3.6 W of brush heat (power balance of set A, 60 kg up) into 20 J/K for one second.
    world = set_a(60)
    motor = leg_of(world)["motor"]
    motor["winding_capacity"], motor["case_capacity"], motor["winding_to_case"], motor["case_to_air"] = 20.0, 200.0, 1e6, 1e6
    ready(world)
    order(world, DRIVE, 1.0)
    run(world, 0.5)
    before = float(motor["winding"])
    run(world, 1.0)

    assert float(motor["winding"]) - before == pytest.approx((14.0 + 3.6) / 20.0, rel=5e-3)
