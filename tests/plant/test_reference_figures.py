"""The kernels against the single-leg figures that two independent models of the same equations gave.

Full duty, no current limit, stiff supply, winding held at 20 C, no Stribeck; no-load rows have neither mass nor guide
friction. The models used tanh for the brush drop.
"""

from __future__ import annotations

import math

import pytest
from machines import BRAKE, COAST, DRIVE, World, free_of_load, leg_of, order, ready, rest, run, set_a, set_b

# set, load [kg] (0: no load), direction: I [A], rpm, mm/s, Hz, coast s, mm, counts, brake s, mm, counts
ROWS = {
    ("A", 0, 1): (0.84099, 3880.4, 39.799, 776.09, 0.49093, 9.0667, 176.80, 0.066353, 0.55801, 10.88),
    ("A", 30, 1): (2.4920, 3621.3, 37.142, 724.26, 0.13386, 2.4379, 47.54, 0.036351, 0.42678, 8.32),
    ("A", 60, 1): (3.9455, 3394.2, 34.812, 678.84, 0.077851, 1.3405, 26.14, 0.028144, 0.35358, 6.89),
    ("A", 30, -1): (0.98538, 3857.2, 39.561, 771.43, 0.40394, 7.5199, 146.64, 0.060621, 0.54426, 10.61),
    ("A", 60, -1): (1.1525, 3830.8, 39.290, 766.15, 0.33517, 6.2647, 122.16, 0.055718, 0.53003, 10.34),
    ("B", 0, 1): (0.49320, 5038.7, 22.394, 839.79, 0.41068, 4.4192, 165.72, 0.071077, 0.33895, 12.71),
    ("B", 8, 1): (1.0952, 4809.1, 21.374, 801.51, 0.16523, 1.7383, 65.19, 0.044998, 0.27242, 10.22),
    ("B", 20, 1): (1.8149, 4540.8, 20.182, 756.81, 0.092530, 0.92572, 34.71, 0.033517, 0.22322, 8.37),
    ("B", 8, -1): (0.52442, 5025.7, 22.336, 837.61, 0.38303, 4.1225, 154.59, 0.068672, 0.33471, 12.55),
    ("B", 20, -1): (0.58727, 5000.4, 22.224, 833.40, 0.33697, 3.6253, 135.95, 0.064458, 0.32658, 12.25),
}


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


@pytest.mark.parametrize("row", list(ROWS), ids=lambda row: f"{row[0]} {row[1]} kg {'up' if row[2] > 0 else 'down'}")
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
    expected = ROWS[row]
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
