"""Motor constants from catalogue figures."""

from __future__ import annotations

from dataclasses import replace
from math import pi

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scenarios.catalogue import CatalogueFigures, ContradictionError, derive

# A linear motor: R 1.5 ohm, K 0.04 N m/A, drag 0.02 N m, at 24 V without a brush drop.
R, K, DRAG, V = 1.5, 0.04, 0.02, 24.0
LINEAR = CatalogueFigures(voltage=V, no_load_speed=(V - R * DRAG / K) / K, no_load_current=DRAG / K, stall_current=V / R)


def test_a_linear_motor_is_found_again() -> None:
    found = derive(LINEAR)

    assert (found.resistance, found.torque_constant) == pytest.approx((R, K))
    assert found.coulomb + found.viscous * LINEAR.no_load_speed == pytest.approx(DRAG)
    assert len(found.notes) == 3


@given(st.floats(0.2, 20), st.floats(0.005, 0.2), st.floats(0.001, 0.1), st.floats(6, 60))
def test_stall_torque_and_stall_current_tell_the_same(r: float, k: float, share: float, v: float) -> None:
    stall = v / r
    idle = share * stall
    figures = CatalogueFigures(voltage=v, no_load_speed=(v - r * idle) / k, no_load_current=idle, stall_torque=k * (stall - idle))
    found = derive(figures)

    assert found.resistance == pytest.approx(r, rel=1e-6)
    assert found.torque_constant == pytest.approx(k, rel=1e-6)


@pytest.mark.parametrize(("factor", "fits"), [(1.04, True), (0.96, True), (1.06, False), (0.94, False)])
def test_more_than_five_percent_between_torque_and_speed_constant_is_refused(factor: float, fits: bool) -> None:
    figures = replace(LINEAR, torque_constant=K * factor)
    if fits:
        assert derive(figures).torque_constant == pytest.approx(K)
    else:
        with pytest.raises(ContradictionError, match=r"torque_constant_mn_m_per_a gives .* but the no-load speed"):
            derive(figures)


def test_the_trap_of_0_12_newton_metres_against_12_volts_per_1000_rpm_is_within_five_percent() -> None:
    # An open exercise problem: Kt 0.12 N m/A, Ke 12 V per 1000 rpm (0.1146 V s/rad), R 1.5 ohm, 10 V; they differ by 4.5 % of the larger.
    ke = 12.0 / (1000.0 * pi / 30.0)
    figures = CatalogueFigures(voltage=10.0, no_load_speed=10.0 / ke, no_load_current=1e-9, stall_current=10.0 / 1.5, torque_constant=0.12)

    assert derive(figures).torque_constant == pytest.approx(0.1146, abs=5e-5)
    with pytest.raises(ContradictionError):
        derive(replace(figures, torque_constant=0.1146 * 1.06))


def test_a_brush_drop_above_the_voltage_is_refused() -> None:
    with pytest.raises(ContradictionError, match="brush_drop_v"):
        derive(replace(LINEAR, brush_drop=25.0))
