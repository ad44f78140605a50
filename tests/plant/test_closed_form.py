"""Closed forms against each other, against independent integrations and against figures of independent models."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal
from math import inf, isinf, pi, radians

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st
from scipy.integrate import solve_ivp
from single_leg_figures import FIGURES, named

from plant.closed_form import coast, duty, gear, motor, power_screw, statics
from plant.closed_form.braked_stop import braked_stop

GRAVITY = 9.81
TWO_COLUMN = motor.Motor(0.90, 0.055, 1.0e-3, 4.5e-5, 4.0e-5, 0.030, 0.9, 0.3)
FOUR_POST = motor.Motor(0.80, 0.0205, 0.5e-3, 7.0e-6, 4.0e-6, 0.0080, 0.8, 0.2)

LIFTS = {
    "A": (TWO_COLUMN, 24.0, power_screw.Screw(12e-3, 4e-3, 0.13, radians(15)), 6.5, 0.82, 1.5e-5, 40.0, 12),
    "B": (FOUR_POST, 12.0, power_screw.Screw(8.5e-3, 3e-3, 0.13, radians(15)), 11.25, 0.75, 2e-6, 20.0, 10),
}


def leg_figures(lift: str, mass: float, direction: int) -> tuple[float, ...]:
    drive, voltage, screw, ratio, efficiency, spindle, guide, counts = LIFTS[lift]
    torque = power_screw.guided_torque_up if direction >= 0 else power_screw.guided_torque_down
    load = gear.motor_torque(torque(mass * GRAVITY, guide if mass else 0.0, screw), ratio, efficiency, efficiency)
    point = motor.steady_point(voltage, load, drive)
    lift_per_radian = gear.travel_per_radian(screw.lead, ratio)
    inertia = gear.motor_inertia(drive.inertia, spindle, ratio, mass, lift_per_radian)
    resisting = load + drive.coulomb
    angle = coast.coast_angle(inertia, point.speed, resisting, drive.viscous)
    stop = braked_stop(replace(drive, inertia=inertia), point.speed, point.current, resisting)
    per_radian = counts / (2.0 * pi)
    coasting = (coast.coast_time(inertia, point.speed, resisting, drive.viscous), angle * lift_per_radian * 1e3, angle * per_radian)
    braking = (stop.time, stop.angle * lift_per_radian * 1e3, stop.angle * per_radian)
    running = (point.current, point.speed * 30.0 / pi, point.speed * lift_per_radian * 1e3, point.speed * per_radian)
    return (*running, *coasting, *braking)


@pytest.mark.parametrize("row", FIGURES, ids=named)
def test_the_closed_forms_give_the_figures_of_independent_models(row: tuple[str, int, int]) -> None:
    # 0.15 %: the decay of the running current (82 us), which the coast formula leaves out, is 0.11 % of the shortest coast.
    np.testing.assert_allclose(leg_figures(*row), FIGURES[row], rtol=1.5e-3)


@pytest.mark.parametrize("row", FIGURES, ids=named)
def test_the_planning_laws_hold_within_what_they_state(row: tuple[str, int, int]) -> None:
    drive, _, screw, ratio, _, spindle, _, _ = LIFTS[row[0]]
    current, rpm = FIGURES[row][:2]
    speed = rpm * pi / 30.0
    per_radian = gear.travel_per_radian(screw.lead, ratio)
    inertia = gear.motor_inertia(drive.inertia, spindle, ratio, row[1], per_radian)
    running = drive.torque_constant * current

    distance = coast.planned_coast_angle(inertia, speed, running, drive.viscous) * per_radian * 1e3
    time = coast.planned_coast_time(inertia, speed, running, drive.viscous)
    braked = coast.brake_angle(inertia, speed, drive.resistance, drive.torque_constant) * per_radian * 1e3

    assert -0.024 < distance / FIGURES[row][5] - 1.0 < 0.001
    assert -0.05 < time / FIGURES[row][4] - 1.0 < 0.001
    assert -0.26 < FIGURES[row][8] / braked - 1.0 < 0.15


@given(share=st.floats(1e-9, 10.0), speed=st.floats(1.0, 1e3), torque=st.floats(1e-4, 1.0))
def test_the_coast_time_and_angle_obey_the_energy_of_the_rotor(share: float, speed: float, torque: float) -> None:
    # J w0 = T t + b theta is the momentum balance of the retardation test; it must hold on both sides of the series switch.
    inertia, viscous = 1e-5, share * torque / speed
    time = coast.coast_time(inertia, speed, torque, viscous)
    angle = coast.coast_angle(inertia, speed, torque, viscous)

    assert torque * time + viscous * angle == pytest.approx(inertia * speed, rel=1e-9)
    assert 0.0 < angle < speed * time


@pytest.mark.parametrize("share", ["1e-7", "9e-5", "2e-4", "1e-2", "3"])
def test_the_coast_keeps_eleven_digits_through_the_change_to_its_series(share: str) -> None:
    s, log = Decimal(share), (1 + Decimal(share)).ln()
    inertia, speed, torque = 1e-5, 300.0, 2e-3
    viscous = float(s) * torque / speed
    scale = inertia * speed / torque

    assert coast.coast_time(inertia, speed, torque, viscous) == pytest.approx(scale * float(log / s), rel=1e-11)
    assert coast.coast_angle(inertia, speed, torque, viscous) == pytest.approx(scale * speed * float((s - log) / (s * s)), rel=1e-11)


def test_without_coulomb_drag_a_motor_never_stops_but_goes_only_so_far() -> None:
    assert isinf(coast.coast_time(1e-5, 300.0, 0.0, 1e-6))
    assert coast.coast_angle(1e-5, 300.0, 0.0, 1e-6) == pytest.approx(3000.0)
    assert coast.coast_angle(1e-5, 300.0, -1e-3, 1e-6) == inf


def test_a_guided_load_coasts_longer_down_than_up() -> None:
    # The gate of check PS-4: the nut carries 7 kN going up and 3 kN going down.
    screw = power_screw.Screw(0.0365, 0.007, 0.15, 0.0, 0.12, 0.060)
    up = coast.coast_angle(1e-2, 100.0, power_screw.guided_torque_up(5e3, 2e3, screw), 0.0)
    down = coast.coast_angle(1e-2, 100.0, power_screw.guided_torque_down(5e3, 2e3, screw), 0.0)

    assert down / up == pytest.approx(52.410253 / 15.626055, rel=1e-6)


def test_a_motor_that_cannot_turn_its_load_stands_at_its_stall_current() -> None:
    point = motor.steady_point(24.0, 1.5, TWO_COLUMN)

    assert point.speed == 0.0
    assert point.current == pytest.approx((24.0 - 0.9) / 0.9, rel=1e-6)
    assert motor.steady_point(24.0, point.torque - 0.5 * TWO_COLUMN.coulomb, TWO_COLUMN).speed == 0.0
    assert motor.steady_point(24.0, point.torque - 1.5 * TWO_COLUMN.coulomb, TWO_COLUMN).speed > 0.0


@given(load=st.floats(-0.05, 1.2), voltage=st.floats(5.0, 30.0))
def test_power_into_a_steady_motor_is_all_accounted_for(load: float, voltage: float) -> None:
    point = motor.steady_point(voltage, load, TWO_COLUMN)
    drag = (TWO_COLUMN.coulomb + TWO_COLUMN.viscous * point.speed) * point.speed
    brushes = motor.brush_voltage(point.current, TWO_COLUMN) * point.current
    heat = TWO_COLUMN.resistance * point.current**2 + brushes + drag
    shaft = load * point.speed if point.speed else 0.0

    assert voltage * point.current == pytest.approx(heat + shaft, rel=1e-6, abs=1e-6)


def test_a_braked_motor_carries_its_back_emf_over_its_resistance_when_the_winding_is_quick() -> None:
    quick = replace(TWO_COLUMN, inductance=1e-6, brush_drop=0.0)

    assert braked_stop(quick, 400.0, 1.0, 0.05).current == pytest.approx(0.055 * 400.0 / 0.9, rel=1e-3)


def test_a_load_that_overhauls_a_shorted_motor_is_refused() -> None:
    with pytest.raises(ValueError, match="does not stop"):
        braked_stop(TWO_COLUMN, 400.0, 1.0, -0.2)


def test_a_pair_of_real_poles_has_no_damping_ratio_and_a_complex_pair_no_settling_formula() -> None:
    with pytest.raises(ValueError, match="not one of a damped pair"):
        motor.position_loop(TWO_COLUMN, gain=1e-6)
    with pytest.raises(ValueError, match="not real"):
        motor.settling_time(replace(TWO_COLUMN, inductance=0.1))


def test_a_jammed_screw_is_refused() -> None:
    with pytest.raises(ValueError, match="jams"):
        power_screw.torque_up(1.0, power_screw.Screw(0.01, 0.06, 0.6))


@pytest.mark.parametrize("cycle", [(120.0, 1080.0), (60.0, 540.0), (120.0, 360.0)])
def test_the_settled_duty_cycle_is_where_a_long_integration_ends(cycle: tuple[float, float]) -> None:
    on, off = cycle
    nodes = duty.TwoNode(40.0, 250.0, 2.0, 3.5)
    heat = duty.Heat(14.0, 5.0, (0.055, 0.01), (0.02, 0.03))

    def rates(time: float, state: np.ndarray) -> list[float]:
        running = time % (on + off) < on
        rise, case_rise = state[0] - 20.0, state[1] - 20.0
        winding = (heat.winding + heat.winding_slopes[0] * rise + heat.winding_slopes[1] * case_rise) * running
        case = (heat.case + heat.case_slopes[0] * rise + heat.case_slopes[1] * case_rise) * running
        flow = (state[0] - state[1]) / nodes.winding_to_case
        away = (state[1] - 25.0) / nodes.case_to_air
        return [(winding - flow) / nodes.winding_capacity, (case + flow - away) / nodes.case_capacity]

    end = (on + off) * 40 + on
    found = solve_ivp(rates, (0.0, end), [25.0, 25.0], max_step=min(on, off) / 4, rtol=1e-7, atol=1e-7)

    assert duty.periodic_temperatures(nodes, heat, on, off, 25.0) == pytest.approx((found.y[0][-1], found.y[1][-1]), abs=0.01)


def test_continuous_running_ends_where_heat_in_equals_heat_out() -> None:
    winding, case = duty.periodic_temperatures(duty.TwoNode(40.0, 250.0, 2.0, 3.5), duty.Heat(10.0, 4.0), 1.0, 0.0, 25.0)

    assert case == pytest.approx(25.0 + 14.0 * 3.5)
    assert winding == pytest.approx(case + 20.0)


def test_heat_that_grows_faster_than_it_leaves_is_a_runaway() -> None:
    nodes = duty.TwoNode(40.0, 250.0, 2.0, 3.5)

    assert duty.periodic_temperatures(nodes, duty.Heat(10.0, 0.0, (0.3, 0.0)), 60.0, 60.0, 25.0) == (inf, inf)


@given(
    places=st.lists(st.tuples(st.floats(-1, 1), st.floats(-1, 1)), min_size=3, max_size=8),
    springs=st.lists(st.floats(1e4, 1e6), min_size=8, max_size=8),
    heights=st.lists(st.floats(-1e-3, 1e-3), min_size=8, max_size=8),
)
def test_forces_of_captive_legs_balance_the_load_and_its_moments(
    places: list[tuple[float, float]], springs: list[float], heights: list[float]
) -> None:
    plan = np.array(places)
    spread = np.linalg.svd(plan - plan.mean(axis=0), compute_uv=False)
    if spread[1] < 0.05:
        plan = np.vstack([plan, [[1.0, -1.0], [-1.0, 1.0], [1.0, 1.0]]])
    n = len(plan)
    extra = [1e5] * max(0, n - 8)
    forces = statics.share_load(plan, [*springs, *extra][:n], 1000.0, (0.1, -0.2), [*heights, *([0.0] * n)][:n], captive=True)

    assert [forces.sum(), forces @ plan[:, 0], forces @ plan[:, 1]] == pytest.approx([1000.0, 100.0, -200.0], rel=1e-6)


@example(x=1e-10, y=1e-10, low=0.00390625)  # all but indifferent to tilt about a diagonal, until a third leg is met
@given(x=st.floats(-0.55, 0.55), y=st.floats(-0.35, 0.35), low=st.floats(-5e-3, 5e-3))
def test_legs_that_only_push_never_pull_and_never_pierce_the_deck(x: float, y: float, low: float) -> None:
    plan = np.array([[0.6, 0.4], [0.6, -0.4], [-0.6, 0.4], [-0.6, -0.4]])
    heights = np.array([low, 0.0, 0.0, 0.0])
    found = statics.deck_support(plan, np.full(4, 5e5), 600.0, (x, y), heights)
    gaps = heights - (found.plane[0] + plan @ found.plane[1:])

    assert found.forces.min() >= -1e-6
    assert found.forces.sum() == pytest.approx(600.0)
    assert (gaps[found.lifted] <= 1e-12).all()


@given(data=st.data(), n=st.integers(3, 7))
def test_the_deck_finds_its_equilibrium_wherever_the_load_is_inside_the_legs(data: st.DataObject, n: int) -> None:
    plan = np.array([(1.0, 0.0), (-0.5, 0.9), (-0.5, -0.9), (0.3, 0.4), (-0.2, 0.1), (0.1, -0.5), (0.6, 0.1)][:n])
    springs = np.array(data.draw(st.lists(st.floats(1e4, 2e5), min_size=n, max_size=n)))
    heights = np.array(data.draw(st.lists(st.floats(-5e-3, 5e-3), min_size=n, max_size=n)))
    weights = np.array(data.draw(st.lists(st.floats(0.1, 1.0), min_size=3, max_size=3)))
    at = tuple(weights @ plan[:3] / weights.sum())
    found = statics.deck_support(plan, springs, 500.0, at, heights)
    gaps = heights - (found.plane[0] + plan @ found.plane[1:])

    assert found.forces == pytest.approx(springs * np.maximum(gaps, 0.0), abs=1e-6)
    assert [found.forces.sum(), *(found.forces @ plan)] == pytest.approx([500.0, 500.0 * at[0], 500.0 * at[1]], abs=1e-6)


def test_a_load_outside_the_legs_tips_the_deck() -> None:
    with pytest.raises(ValueError, match="tip"):
        statics.share_load([[0.0, 0.0], [1.0, 0.0], [0.0, 1.0]], [1e5] * 3, 100.0, (1.0, 1.0))
