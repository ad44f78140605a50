"""Mishaps of a leg: jam, binding guide, slipping gear, debris, vibration, a spindle turned by hand, a load that walks."""

from __future__ import annotations

from typing import Any

import pytest
from machines import DRIVE, GRAVITY, World, energy_balance, leg_of, order, ready, run, set_a, view

from plant.kernel import kernel
from plant.mishaps import put_debris, refresh_guide, shake, slip_gear, start_hand


@kernel
def _slip(machine: Any, q: int, way: float) -> None:
    slip_gear(machine, q, way)


@kernel
def _litter(machine: Any, q: int, thickness: float, high: bool) -> None:
    put_debris(machine, machine.legs[q], thickness, high)


@kernel
def _shake(machine: Any, q: int, factor: float) -> None:
    shake(machine.legs[q], factor)


@kernel
def _turn(machine: Any, q: int, way: float, speed: float) -> None:
    start_hand(machine, machine.legs[q], way, speed)


@kernel
def _jam(machine: Any, q: int, force: float) -> None:
    machine.legs[q].jam = force
    refresh_guide(machine.legs[q])


def unbalanced(world: World) -> float:
    """Energy that is not accounted for [J]."""
    given, spent, stored = energy_balance(world)
    return given - sum(spent.values()) - stored


def raising(payload: float = 60.0, n_legs: int = 1, seconds: float = 0.4) -> World:
    world = ready(set_a(payload, n_legs))
    order(world, DRIVE, 1.0, 8.0)
    return run(world, seconds)


def test_a_jammed_leg_stops_within_milliseconds_and_draws_the_current_limit() -> None:
    world = raising()
    before = float(leg_of(world)["travel"])
    _jam(view(world), 0, 20000.0)
    run(world, 0.05)

    assert float(leg_of(world)["motor"]["speed"]) == 0.0
    # J w / (c_F F) = 2.9 ms, the speed falling evenly from 34.8 mm/s (set A: c_F 0.275 N mm of motor torque per N)
    assert float(leg_of(world)["travel"]) - before == pytest.approx(0.5 * 2.9e-3 * 34.8e-3, rel=0.1)
    assert float(leg_of(world)["motor"]["current"]) == 8.0
    given, _, _ = energy_balance(world)
    assert abs(unbalanced(world)) < 1e-4 * given


def test_a_jam_that_ends_leaves_the_guide_as_it_was() -> None:
    world = raising()
    _jam(view(world), 0, 300.0)
    assert float(leg_of(world)["guide_friction"]) == pytest.approx(340.0)
    _jam(view(world), 0, 0.0)

    assert float(leg_of(world)["guide_friction"]) == pytest.approx(40.0)
    run(world, 0.3)
    assert float(leg_of(world)["motor"]["speed"]) > 300.0


@pytest.mark.parametrize(("travel", "friction"), [(0.009, 40.0), (0.015, 140.0), (0.02, 240.0), (0.03, 240.0)])
def test_a_binding_guide_rubs_more_and_more_from_one_height_to_another(travel: float, friction: float) -> None:
    world = ready(set_a(60))
    leg = leg_of(world)
    leg["bind_from"], leg["bind_to"], leg["bind_force"] = 0.01, 0.02, 200.0
    leg["travel"] = travel
    run(world, 0.01)

    assert float(leg["guide_friction"]) == pytest.approx(friction)


def test_a_guide_that_binds_takes_its_friction_from_the_motor() -> None:
    """Raising 5.00 mA/N, set A (planning figures), less what the viscous drag takes at the lower speed."""
    world = ready(set_a(60))
    leg = leg_of(world)
    leg["bind_from"], leg["bind_to"], leg["bind_force"] = 0.02, 0.021, 200.0
    order(world, DRIVE, 1.0)
    run(world, 0.5)
    before, speed = float(leg["motor"]["current"]), float(leg["motor"]["speed"])
    run(world, 0.4)

    slower = float(leg["motor"]["viscous"]) * (float(leg["motor"]["speed"]) - speed) / float(leg["motor"]["torque_constant"])
    assert float(leg["motor"]["current"]) - before == pytest.approx(200.0 * 5.00e-3 + slower, rel=2e-3)
    given, _, _ = energy_balance(world)
    assert abs(unbalanced(world)) < 1e-4 * given


def test_a_gear_that_slips_drops_the_nut_and_no_count_tells() -> None:
    world = raising(60, 2)
    world[0]["deck"]["tilt_stiffness_x"] = 20e3
    world[0]["deck"]["elastic"] = 1
    leg = leg_of(world)
    counted, angle, travel = int(leg["motor"]["commuted"]), float(leg["motor"]["angle"]), float(leg["travel"])
    lost = unbalanced(world)
    _slip(view(world), 0, 3e-3)

    assert float(leg["travel"]) == pytest.approx(travel - 3e-3)
    assert (int(leg["motor"]["commuted"]), float(leg["motor"]["angle"])) == (counted, angle)
    # 30 kg fall by 3 mm against the deck that racks
    assert 0.0 < float(leg["energy"]["impact"]) < 30 * GRAVITY * 3e-3
    assert unbalanced(world) == pytest.approx(lost, abs=1e-9)


def test_debris_on_a_stop_is_met_early_and_gives_until_it_is_flat() -> None:
    world = set_a(60)
    leg_of(world)["stop_low"] = -10e-3
    ready(world)
    leg_of(world)["debris_stiffness"] = 50e3
    _litter(view(world), 0, 4e-3, False)
    order(world, DRIVE, -1.0, 4.0)
    run(world, 0.9)

    leg = leg_of(world)
    assert float(leg["motor"]["speed"]) == 0.0
    depth = -6e-3 - float(leg["travel"])
    assert depth > 0.0
    stop = 50e3 * depth + 1e6 * max(depth - 4e-3, 0.0)
    assert float(leg["stop_peak"]) == pytest.approx(stop, rel=1e-3)
    given, _, _ = energy_balance(world)
    assert abs(unbalanced(world)) < 1e-4 * given
    _litter(view(world), 0, -4e-3, False)
    assert float(leg["stop_low"]) == pytest.approx(-10e-3)
    assert abs(unbalanced(world)) < 1e-4 * given


def test_the_largest_force_of_a_stop_is_kept_with_its_time() -> None:
    """From 6 mm away at full speed without a limit, set A: more than the rotor's energy alone, v sqrt(eta k M) = 1,424 N, no more than
    that and the stall thrust of 5,027 N gross together (planning figures of set A).
    """
    world = set_a(60)
    leg_of(world)["stop_high"] = 6e-3
    ready(world)
    order(world, DRIVE, 1.0)
    run(world, 0.6)

    leg = leg_of(world)
    assert 1424.0 < float(leg["stop_peak"]) < 5027.0 + 1424.0
    # against 1000 N/mm the drive creeps on for a second: damping K^2/(R rx^2) over eta k
    assert float(leg["stop_peak_us"]) == 600e3
    assert float(leg["stop_peak"]) == pytest.approx(1e6 * (float(leg["travel"]) - 6e-3), rel=1e-3)


def test_a_marginal_screw_creeps_when_vibration_takes_its_break_away_friction() -> None:
    world = set_a(60)
    for part, name, value in (("spindle", "stribeck_speed", 15e-3), ("motor", "stribeck_speed", 6.28), ("motor", "static_ratio", 1.3)):
        leg_of(world)[part][name] = value
    ready(world)
    run(world, 0.5)
    assert float(leg_of(world)["travel"]) == 0.0
    _shake(view(world), 0, 0.1)
    run(world, 2.0)

    crept = float(leg_of(world)["travel"])
    assert -20e-3 < crept < -0.1e-3
    heard = int(leg_of(world)["detector"]["heard"])
    assert int(leg_of(world)["motor"]["commuted"]) > 0
    _shake(view(world), 0, 10.0)
    run(world, 0.5)
    assert float(leg_of(world)["motor"]["speed"]) == 0.0
    assert heard >= 0
    lost = unbalanced(world)
    assert abs(lost) < 1e-3 * 60 * GRAVITY * -crept


@pytest.mark.parametrize("way", [2e-3, -2e-3])
def test_a_spindle_turned_by_hand_goes_where_it_is_turned(way: float) -> None:
    world = ready(set_a(60))
    _turn(view(world), 0, way, 1e-3)
    run(world, 1.0)
    assert float(leg_of(world)["motor"]["speed"]) != 0.0
    assert float(leg_of(world)["travel"]) == pytest.approx(0.5 * way, rel=0.05)
    run(world, 1.5)

    assert float(leg_of(world)["travel"]) == pytest.approx(way, rel=0.02)
    assert float(leg_of(world)["motor"]["speed"]) == 0.0
    assert int(leg_of(world)["motor"]["commuted"]) == pytest.approx(2 * 19.5, abs=2)
    # the hand's work is what friction and load took, and the load gives some back on its way down
    assert float(world[0]["taken"]) < 0.0
    assert abs(unbalanced(world)) < 0.02 * -float(world[0]["taken"])


def test_the_hand_waits_while_the_motor_is_driven() -> None:
    world = raising(60)
    _turn(view(world), 0, -2e-3, 1e-3)
    run(world, 0.2)

    assert float(leg_of(world)["hand_speed"]) == -1e-3
    assert float(world[0]["taken"]) == 0.0


def test_a_load_that_walks_arrives_where_it_walks_to_and_loads_the_legs_on_its_way() -> None:
    world = ready(set_a(60, 2))
    deck = world[0]["deck"]
    deck["walk_ticks"], deck["walk_mass"], deck["walk_x"] = 50, 60.0, 0.4
    shares = [run(world, 0.1)[0]["legs"]["share"][1] / (60 * GRAVITY) for _ in range(6)]

    assert shares == pytest.approx([0.5 + x / 1.2 for x in (0.08, 0.16, 0.24, 0.32, 0.4, 0.4)])
