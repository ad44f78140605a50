"""Start of several motors from one supply against the matrix exponential of the linear case and against arithmetic."""

from __future__ import annotations

from math import inf, log, sqrt

import numpy as np
import pytest
from scipy.linalg import expm

from plant.closed_form.motor import Motor
from plant.closed_form.start import Source, Starter, simultaneous_start

LINEAR = Motor(resistance=0.9, torque_constant=0.055, inductance=1e-3, inertia=4.6e-5, viscous=4e-5, coulomb=0.03)
BRUSHED = Motor(resistance=0.9, torque_constant=0.055, inductance=1e-3, inertia=4.6e-5, coulomb=0.03, brush_drop=0.9, brush_current=0.3)


def linear_start(source: Source, load: float, number: int) -> tuple[float, float, float]:
    """Lowest voltage, peak current and time to 95 %, from states current, speed (, voltage) by the matrix exponential."""
    m, n = LINEAR, number
    if source.capacitance > 0.0:
        leak = 1.0 / (source.resistance * source.capacitance)
        a = [[-m.resistance / m.inductance, -m.torque_constant / m.inductance, 1.0 / m.inductance]]
        a += [[m.torque_constant / m.inertia, -m.viscous / m.inertia, 0.0], [-n / source.capacitance, 0.0, -leak]]
        drive, state = [0.0, -(load + m.coulomb) / m.inertia, leak * source.voltage], np.array([0.0, 0.0, source.voltage])
    else:
        loop = m.resistance + n * source.resistance
        a = [[-loop / m.inductance, -m.torque_constant / m.inductance], [m.torque_constant / m.inertia, -m.viscous / m.inertia]]
        drive, state = [source.voltage / m.inductance, -(load + m.coulomb) / m.inertia], np.array([0.0, 0.0])
    end = np.linalg.solve(a, -np.array(drive))
    step = 1e-5
    onward = expm(np.array(a) * step)
    states = [state]
    for _ in range(50_000):
        # A rotor that its motor does not yet overcome stands: no speed, and friction takes what torque there is.
        new = end + onward @ (states[-1] - end)
        states.append(np.array([new[0], max(new[1], 0.0), *new[2:]]))
    track = np.array(states)
    voltage = track[:, 2] if source.capacitance > 0.0 else source.voltage - n * source.resistance * track[:, 0]
    return float(voltage.min()), float(track[:, 0].max()), float(np.argmax(track[:, 1] >= 0.95 * end[1]) * step)


@pytest.mark.parametrize("number", [1, 3])
@pytest.mark.parametrize(
    "source", [Source(24.0, 0.3), Source(24.0, 0.3, capacitance=2.2e-3), Source(24.0, 0.0)], ids=["line", "capacitor", "stiff"]
)
def test_a_start_without_limits_is_the_linear_one(source: Source, number: int) -> None:
    found = simultaneous_start(source, [Starter(LINEAR, 0.2, number=number)])
    lowest, peak, time = linear_start(source, 0.2, number)

    assert found.lowest == pytest.approx(lowest, rel=1e-3)
    assert found.current == pytest.approx(peak, rel=3e-3)  # read at solver points, which may miss the very top
    # Solver points are up to a millisecond apart.
    assert time - 1e-5 <= found.time <= time + 1.1e-3


def test_at_its_limit_a_bridge_holds_the_current_and_the_rotor_gathers_speed_evenly() -> None:
    load, limit = 0.2, 4.5
    found = simultaneous_start(Source(24.0, 0.0), [Starter(BRUSHED, load, limit)], longest=2.0)
    steady = (load + BRUSHED.coulomb) / BRUSHED.torque_constant
    end = (24.0 - BRUSHED.resistance * steady - BRUSHED.brush_drop) / BRUSHED.torque_constant
    # Until 0.2 ms the current rises; then K limit - load - drag accelerates until the 24 V no longer suffice, past 95 %.
    rise = LINEAR.inductance / LINEAR.resistance * log(1.0 / (1.0 - limit * LINEAR.resistance / (24.0 - BRUSHED.brush_drop)))
    even = 0.95 * end * BRUSHED.inertia / (BRUSHED.torque_constant * limit - load - BRUSHED.coulomb)

    assert found.current == pytest.approx(limit, rel=2e-3)
    assert even <= found.time <= even + rise + 1.2e-3


def test_held_bridges_take_less_from_the_supply_than_their_motors_carry() -> None:
    source, limit, number = Source(24.0, 0.2), 8.0, 2
    found = simultaneous_start(source, [Starter(BRUSHED, 0.2, limit, number)])

    # The full current is drawn only where holding ends, at the top of the ramp.
    assert found.lowest == pytest.approx(24.0 - 0.2 * number * limit, abs=0.1)


def test_held_bridges_draw_the_power_of_their_motors() -> None:
    # The capacitor hides the first half millisecond, in which the bridges are still fully on; it lags by its time constant.
    source, limit, number, until = Source(24.0, 0.2, capacitance=1e-2), 8.0, 2, 0.03
    found = simultaneous_start(source, [Starter(BRUSHED, 0.2, limit, number)], longest=until)
    moving = until - 0.3e-3 - source.resistance * source.capacitance
    speed = (BRUSHED.torque_constant * limit - 0.2 - BRUSHED.coulomb) / BRUSHED.inertia * moving
    need = BRUSHED.resistance * limit + BRUSHED.torque_constant * speed + BRUSHED.brush_drop
    held = 12.0 + sqrt(144.0 - source.resistance * number * limit * need)

    assert need < held
    assert found.lowest == pytest.approx(held, abs=0.03)


def test_legs_of_two_kinds_start_as_their_sum() -> None:
    source = Source(24.0, 0.3, capacitance=2.2e-3)
    together = simultaneous_start(source, [Starter(LINEAR, 0.2, 8.0, 3)])
    apart = simultaneous_start(source, [Starter(LINEAR, 0.2, 8.0, 1), Starter(LINEAR, 0.2, 8.0, 2)])

    assert (apart.lowest, apart.current) == pytest.approx((together.lowest, together.current), rel=1e-3)  # steps differ where limits act


def test_a_supply_with_a_current_limit_sags_further() -> None:
    sags = [simultaneous_start(Source(24.0, 0.1, limit, 2.2e-3), [Starter(LINEAR, 0.2, number=2)]).lowest for limit in (inf, 20.0, 12.0)]

    assert sags[0] > sags[1] > sags[2]


def test_a_source_gives_no_more_than_its_limit_and_takes_nothing_back() -> None:
    source = Source(24.0, 0.5, 5.0, 1e-3)

    assert [source.current(voltage) for voltage in (23.0, 20.0, 24.5)] == [2.0, 5.0, 0.0]


def test_a_load_beyond_the_motor_never_reaches_speed() -> None:
    assert simultaneous_start(Source(24.0, 0.0), [Starter(LINEAR, 2.0)]).time == inf


def test_a_capacitor_on_a_source_without_resistance_is_refused() -> None:
    with pytest.raises(ValueError, match="without resistance"):
        simultaneous_start(Source(24.0, 0.0, capacitance=1e-3), [Starter(LINEAR, 0.2)])
