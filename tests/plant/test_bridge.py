"""The bridge: averaged voltage and supply current, the current limit, diodes, flyback, brake, the delay of a command."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from machines import BRAKE, COAST, DRIVE, World, leg_of, order, ready, run, set_a, set_b, step


def now(world: World, mode: int, duty: float = 0.0, limit: float = 1e9) -> None:
    """Put a command into force at once, without a tick."""
    bridge = leg_of(world)["bridge"]
    bridge["mode"], bridge["duty"], bridge["limit"] = mode, duty, limit


def running(duty: float = 1.0, payload: float = 60.0) -> World:
    """Set A at its steady speed."""
    world = ready(set_a(payload))
    order(world, DRIVE, duty)
    return run(world, 0.5)


def currents(world: World, seconds: float, span: float) -> np.ndarray:
    """Motor current after every sub-step of ``span`` [s]."""
    found = np.zeros(round(seconds / span))
    for k in range(len(found)):
        step(world, span)
        found[k] = leg_of(world)["motor"]["current"]
    return found


@pytest.mark.parametrize("duty", [1.0, 0.6, -0.88])
def test_the_supply_carries_the_duty_times_the_motor_current(duty: float) -> None:
    world = running(duty)
    current = float(leg_of(world)["motor"]["current"])

    assert current * duty > 0.0
    assert float(world[0]["supply"]["current"]) == pytest.approx(duty * current, rel=1e-12)


def test_the_limit_holds_the_current_exactly() -> None:
    world = ready(set_a(60.0))
    now(world, DRIVE, 1.0, 5.0)
    found = currents(world, 0.05, 1e-4)
    reached = int(np.argmax(found >= 5.0))

    assert reached < 10
    assert np.all(found[reached : reached + 50] == 5.0)
    assert np.all(found <= 5.0)


def test_the_limit_lowers_the_voltage_and_so_what_the_supply_gives() -> None:
    """At the limit the supply gives exactly the motor's electrical power: nothing is clipped away."""
    world = ready(set_a(60.0))
    now(world, DRIVE, 1.0, 5.0)
    currents(world, 0.01, 1e-4)
    supply, motor = world[0]["supply"], leg_of(world)["motor"]
    given = []
    for _ in range(20):
        before = float(supply["energy_in"]), float(motor["angle"])
        step(world, 1e-4)
        turned = float(motor["angle"]) - before[1]
        taken = (0.9 * 25.0 + 0.9 * 5.0) * 1e-4 + 5.0 * 0.055 * turned
        given.append((float(supply["energy_in"]) - before[0]) / taken)

    # The brush drop is full at 5 A: 17 times Ib. What is left is the second order of the step.
    assert given == pytest.approx([1.0] * 20, rel=1e-7)


def test_a_lowered_limit_lets_the_current_fall_to_it_and_holds_it_there() -> None:
    """The rotor is held against its stop, so that only the limit decides."""
    world = set_a(60.0)
    leg_of(world)["stop_high"] = 2e-3
    ready(world)
    order(world, DRIVE, 1.0, 8.0)
    run(world, 0.4)
    assert float(leg_of(world)["motor"]["speed"]) == 0.0
    now(world, DRIVE, 1.0, 4.0)
    found = currents(world, 0.02, 1e-4)

    assert found[0] < 8.0
    assert np.all(np.diff(found) <= 0.0)
    assert found[-1] == 4.0


@pytest.mark.parametrize("synchronous", [0, 1])
def test_a_diode_bridge_never_lets_the_driven_current_reverse_and_a_synchronous_one_does(synchronous: int) -> None:
    world = set_a(20.0)
    leg_of(world)["bridge"]["synchronous"] = synchronous
    ready(world)
    order(world, DRIVE, 1.0)
    run(world, 0.4)
    now(world, DRIVE, 0.3)
    found = currents(world, 0.05, 1e-4)

    if synchronous == 1:
        assert found.min() < -3.0
    else:
        assert found.min() == 0.0


def test_a_diode_bridge_carries_the_off_time_through_one_diode() -> None:
    world = set_a(60.0)
    leg_of(world)["bridge"]["synchronous"] = 0
    ready(world)
    order(world, DRIVE, 0.8)
    run(world, 0.5)
    motor = leg_of(world)["motor"]
    current, speed = float(motor["current"]), float(motor["speed"])

    assert 0.9 * current + 0.055 * speed + 0.9 == pytest.approx(0.8 * 24.0 - 0.2 * 0.7, rel=1e-9)


@pytest.mark.parametrize(("freewheel", "figure", "exact"), [(0, 82e-6, 1e-6), (1, 170e-6, 3e-6)])
def test_the_flyback_lasts_as_its_closed_form_says_and_ends_at_exactly_zero(freewheel: int, figure: float, exact: float) -> None:
    """All switches open: L i / (V + 2 Vd + E + Vb + R i / 2); one freewheel path: (L/R) ln(1 + R i / (E + Vd + Vb))."""
    world = set_a(60.0)
    leg_of(world)["bridge"]["freewheel"] = freewheel
    ready(world)
    order(world, DRIVE, 1.0)
    run(world, 0.5)
    motor = leg_of(world)["motor"]
    current, emf = float(motor["current"]), 0.055 * float(motor["speed"])
    if freewheel == 1:
        expected = 1e-3 / 0.9 * math.log(1.0 + 0.9 * current / (emf + 0.7 + 0.9))
    else:
        expected = 1e-3 * current / (24.0 + 1.4 + emf + 0.9 + 0.45 * current)
    now(world, COAST)
    found = currents(world, 4e-4, 1e-6)

    assert expected == pytest.approx(figure, rel=0.03)
    # The forms take the brush drop as full to the end, which it is but for the last 10 us.
    assert 1e-6 * (1 + np.argmax(found == 0.0)) == pytest.approx(expected, abs=exact)
    assert np.all(found >= 0.0)
    assert found[-1] == 0.0


def test_an_open_coast_returns_its_current_to_the_supply_and_a_freewheel_does_not() -> None:
    returned = []
    for freewheel in (0, 1):
        world = set_a(60.0)
        leg_of(world)["bridge"]["freewheel"] = freewheel
        ready(world)
        order(world, DRIVE, 1.0)
        run(world, 0.5)
        before = float(world[0]["supply"]["energy_in"])
        now(world, COAST)
        currents(world, 1e-3, 1e-5)
        returned.append(before - float(world[0]["supply"]["energy_in"]))

    # Half of L i^2 is 7.8 mJ; the back-EMF adds to what the inductance gives, resistance, brushes and diodes take theirs.
    assert 2e-3 < returned[0] < 7.8e-3
    assert returned[1] == 0.0


def test_a_diode_bridge_told_to_reverse_lets_the_old_current_die_as_an_open_one_does() -> None:
    found = []
    for mode, duty in ((COAST, 0.0), (DRIVE, -1.0)):
        world = set_a(60.0)
        leg_of(world)["bridge"]["synchronous"] = 0
        ready(world)
        order(world, DRIVE, 1.0)
        run(world, 0.5)
        now(world, mode, duty)
        found.append(currents(world, 75e-6, 1e-6))

    assert found[0][-1] > 0.1
    assert np.array_equal(found[0], found[1])


def test_a_brake_drives_a_current_against_the_motion_and_takes_none_from_the_supply() -> None:
    world = running()
    emf = 0.055 * float(leg_of(world)["motor"]["speed"])
    before = float(world[0]["supply"]["energy_in"])
    now(world, BRAKE)
    found = currents(world, 0.02, 1e-4)

    # Less than (E - Vb)/R for what inductance and deceleration take.
    assert 0.5 < -found.min() / ((emf - 0.9) / 0.9) < 1.0
    assert float(world[0]["supply"]["energy_in"]) == before


def test_a_coast_through_open_switches_rotates_freely_at_zero_current() -> None:
    world = running(payload=30.0)
    now(world, COAST)
    found = currents(world, 0.1, 1e-4)

    assert np.all(found[3:] == 0.0)
    assert float(leg_of(world)["motor"]["speed"]) > 0.0


@pytest.mark.parametrize("build", [set_a, set_b])
def test_without_load_down_is_the_mirror_of_up(build: type) -> None:
    travels = []
    for direction in (1.0, -1.0):
        world = ready(build(0.0))
        order(world, DRIVE, direction * 0.9)
        run(world, 0.1)
        order(world, BRAKE)
        travels.append(float(leg_of(run(world, 0.1))["travel"]))

    assert travels[0] > 1e-3
    assert travels[1] == -travels[0]


@pytest.mark.parametrize("delay", [0, 3, 57])
def test_a_command_acts_its_compute_delay_after_the_tick(delay: int) -> None:
    world = set_a(60.0)
    world[0]["delay_steps"] = delay
    ready(world)
    order(world, DRIVE, 1.0)
    run(world, 0.01)
    early = ready(set_a(60.0))
    order(early, DRIVE, 1.0)
    now(early, DRIVE, 1.0)
    currents(early, (100 - delay) * 1e-4, 1e-4)

    assert float(leg_of(world)["motor"]["current"]) == float(leg_of(early)["motor"]["current"])
    assert float(leg_of(world)["bridge"]["switched_us"]) == 100.0 * delay


@settings(max_examples=20, deadline=None)
@given(st.floats(0.1, 1.0), st.floats(0.5, 12.0), st.floats(0.0, 80.0))
def test_no_current_ever_passes_its_limit(duty: float, limit: float, payload: float) -> None:
    world = ready(set_a(payload))
    order(world, DRIVE, duty, limit)
    run(world, 0.2)

    # the voltage that holds the current is a sum of rounded terms: the limit is kept to some units in the last place
    assert float(leg_of(world)["motor"]["peak_current"]) <= limit * (1.0 + 1e-14)
