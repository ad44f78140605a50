"""The measuring chain: gain, offset, ripple, filter, noise, full scale, quantum, instant; and nothing of it when ideal."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from machines import DRIVE, World, leg_of, order, ready, run, set_a
from numpy.typing import NDArray


def measured(fields: dict[str, float] | None = None, n_legs: int = 1) -> World:
    """Set A under 60 kg per leg with a plain chain but for the ``fields`` of the current sensors, at full duty."""
    world = set_a(60.0 * n_legs, n_legs)
    world[0]["ideal_sensing"] = 0
    for sensor in (world[0]["supply_sensor"], world[0]["legs"]["current_sensor"]):
        sensor["gain"], sensor["filter_share"] = 1.0, 1.0
    for name, value in (fields or {}).items():
        world[0]["legs"]["current_sensor"][name] = value
    ready(world)
    order(world, DRIVE, 1.0)
    return world


def steady(fields: dict[str, float] | None = None) -> World:
    return run(measured(fields), 0.5)


def readings(world: World, ticks: int) -> NDArray[np.float64]:
    """Reading of leg 0 after each of the ``ticks``."""
    found = np.zeros(ticks)
    for k in range(ticks):
        run(world, 0.01)
        found[k] = leg_of(world)["current_sensor"]["reading"]
    return found


def current(world: World) -> float:
    return float(leg_of(world)["motor"]["current"])


def test_a_plain_chain_reads_what_flows() -> None:
    world = steady()

    assert float(leg_of(world)["current_sensor"]["reading"]) == current(world)
    assert float(world[0]["supply_sensor"]["reading"]) == 24.0


def test_ideal_sensing_reads_what_flows_whatever_the_chain() -> None:
    world = measured({"gain": 1.1, "offset": 0.5, "noise": 0.3, "quantum": 0.7})
    world[0]["ideal_sensing"] = 1
    run(world, 0.5)

    assert float(leg_of(world)["current_sensor"]["reading"]) == current(world)


def test_gain_and_offset_of_a_sensor_are_errors_of_its_reading() -> None:
    world = steady({"gain": 1.03, "offset": -0.05})

    assert float(leg_of(world)["current_sensor"]["reading"]) == pytest.approx(1.03 * current(world) - 0.05, rel=1e-12)


@settings(max_examples=20, deadline=None)
@given(st.sampled_from([0.001, 0.0244, 0.1, 0.5]), st.floats(0.0, 0.2))
def test_readings_are_whole_quanta(quantum: float, noise: float) -> None:
    world = measured({"quantum": quantum, "noise": noise})
    found = readings(world, 5)

    assert found / quantum == pytest.approx(np.round(found / quantum), abs=1e-9)
    if noise == 0.0:
        assert abs(found[-1] - current(world)) <= 0.5 * quantum * (1.0 + 1e-9)


def test_a_reading_ends_at_full_scale() -> None:
    world = measured({"full_scale": 10.0})
    run(world, 0.01)

    assert current(world) > 12.0
    assert float(leg_of(world)["current_sensor"]["reading"]) == 10.0


def test_noise_has_its_stated_spread_and_is_drawn_per_leg_and_reading() -> None:
    world = steady({"noise": 0.05})
    found = readings(world, 2000) - current(world)

    # Four standard errors.
    assert abs(found.mean()) < 4.0 * 0.05 / math.sqrt(2000)
    assert found.std() == pytest.approx(0.05, rel=4.0 / math.sqrt(4000))
    # sums of 16-bit pieces: 524,281 values, so a few of 2,000 readings meet by chance
    assert len(set(found)) > 1950


def test_readings_do_not_depend_on_what_else_is_drawn() -> None:
    found = []
    for errors in (0.0, 0.3):
        world = measured({"noise": 0.05}, n_legs=2)
        world[0]["legs"]["detector"]["run_miss"] = errors
        leg_of(world, 1)["current_sensor"]["noise"] = errors
        found.append(readings(world, 20))

    assert np.array_equal(found[0], found[1])


def test_the_filter_follows_a_step_with_its_time_constant() -> None:
    """Share h/(h + tau) a sub-step, tau 2 ms; the current, held at its limit, is the step."""
    share = 1e-4 / (1e-4 + 2e-3)
    world = set_a(60.0)
    world[0]["ideal_sensing"], world[0]["steps_per_tick"] = 0, 1
    sensor = leg_of(world)["current_sensor"]
    sensor["gain"], sensor["filter_share"] = 1.0, share
    ready(world)
    order(world, DRIVE, 1.0, 3.0)
    run(world, 2e-4)
    filtered, found = float(sensor["filtered"]), []
    for _ in range(60):
        run(world, 1e-4)
        assert current(world) == 3.0
        found.append(float(sensor["reading"]))

    assert np.array(found) == pytest.approx(3.0 - (3.0 - filtered) * (1.0 - share) ** np.arange(1, 61), rel=1e-9)


@pytest.mark.parametrize("early", [0, 5, 50])
def test_the_converter_samples_before_the_tick_by_the_stated_sub_steps(early: int) -> None:
    world, shorter = measured(), measured()
    world[0]["sample_steps"] = early
    run(world, 0.01)
    shorter[0]["steps_per_tick"] = 100 - early
    run(shorter, (100 - early) * 1e-4)

    assert float(leg_of(world)["current_sensor"]["reading"]) == current(shorter)
    assert early == 0 or current(world) != current(shorter)


def ripple_of(fields: dict[str, float] | None = None, emf: float = 0.034, resistance: float = 0.0) -> tuple[NDArray[np.float64], World]:
    """Readings less the current at steady speed, over many phases."""
    world = measured(fields)
    leg_of(world)["motor"]["ripple_emf"], leg_of(world)["motor"]["ripple_resistance"] = emf, resistance
    run(world, 0.5)
    world[0]["steps_per_tick"] = 1
    found = np.zeros(3000)
    for k in range(3000):
        run(world, 1e-4)
        found[k] = leg_of(world)["current_sensor"]["reading"]
    return found - current(world), world


@pytest.mark.parametrize(("emf", "resistance"), [(0.034, 0.0), (0.0, 0.05), (0.034, 0.05)])
def test_the_ripple_swings_by_its_formula_peak_to_peak_about_the_mean(emf: float, resistance: float) -> None:
    """Set A, 12 segments: eps = 1 - cos(pi/12) = 3.4 % of the back-EMF on |R + j c w L| make 0.15 A."""
    found, world = ripple_of(emf=emf, resistance=resistance)
    speed = float(leg_of(world)["motor"]["speed"])
    swing = (emf * 0.055 * speed + resistance * 0.9 * current(world)) / math.hypot(0.9, 12.0 * speed * 1e-3)

    assert np.ptp(found) == pytest.approx(swing, rel=2e-3)
    assert abs(found.mean()) < 0.01 * swing
    if resistance == 0.0:
        assert swing == pytest.approx(0.15, abs=0.006)


def test_the_ripple_repeats_with_the_commutations() -> None:
    found, world = ripple_of()
    period = math.tau / (12.0 * float(leg_of(world)["motor"]["speed"]))
    spectrum = np.abs(np.fft.rfft(found))
    frequency = np.fft.rfftfreq(len(found), 1e-4)

    assert frequency[np.argmax(spectrum)] == pytest.approx(1.0 / period, abs=4.0)


def test_the_anti_alias_filter_damps_the_ripple() -> None:
    free, _ = ripple_of()
    share = 1e-4 / (1e-4 + 1e-3)
    damped, world = ripple_of({"filter_share": share})
    turn = 12.0 * float(leg_of(world)["motor"]["speed"]) * 1e-3

    assert np.ptp(damped) / np.ptp(free) == pytest.approx(1.0 / math.hypot(1.0, turn), rel=5e-3)


def test_without_current_there_is_no_ripple() -> None:
    world = measured()
    leg_of(world)["motor"]["ripple_emf"] = 0.034
    order(world, DRIVE, 0.0)
    run(world, 0.02)

    assert float(leg_of(world)["current_sensor"]["reading"]) == 0.0


def test_the_supply_is_read_through_its_own_chain() -> None:
    world = measured()
    supply = world[0]["supply_sensor"]
    supply["gain"], supply["offset"], supply["quantum"] = 0.98, 0.1, 0.25
    run(world, 0.05)

    assert float(supply["reading"]) == 0.25 * math.floor((0.98 * 24.0 + 0.1) / 0.25 + 0.5)
