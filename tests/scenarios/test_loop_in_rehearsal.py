"""What the linear loop says against what the rehearsal does: standing error, boundary of stability, frequency of the cycle."""

from __future__ import annotations

from math import pi
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from rehearsals import IDEAL, PERFECT_COUNTS, UNGUARDED, Sets, rehearsal

from scenarios.build import build_rig
from scenarios.corners import Span, corner_margins, corner_plants, judge, load_cases, worst
from scenarios.files import load_scenario
from scenarios.files.scenario import Scenario
from scenarios.loop_model import basis_of, law_of, loop_of
from scenarios.operating_point import Condition, operating_point
from scenarios.runner import Flight, fly
from sync.design.loop import margins
from sync.design.quantum import QuantumVerdict, check_quantum
from sync.design.rules import droop
from sync.modes import Mode

LATE: Sets = (
    *PERFECT_COUNTS,
    *UNGUARDED,
    ("settings.timing.tick_ms", 20.0),
    ("settings.timing.guard_tick_ms", 20.0),
    ("settings.timing.compute_delay_us", 19900.0),
    ("settings.levelling.ki_per_mm_s", 0.0),
    ("settings.speed.slow_down_mm", 0.0),
)
"""So slow a controller that the loop becomes unstable at gains where a count is a small part of the duty."""


def gain(value: float) -> Sets:
    return (("settings.levelling.kc_per_mm", value),)


def running(flight: Flight) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Time [s] and relative modes of the true heights [m] over the steady run, shape (K, M)."""
    names = flight.scenario.lift.names
    time, mode = flight.trace[:, 0], flight.trace[:, 1]
    moving = time[mode == Mode.MOVING]
    use = (mode == Mode.MOVING) & (time > moving[0] + 3.0) & (time < moving[-1] - 0.5)
    heights = np.stack([flight.trace[use, flight.columns.index(f"{name}.height_m")] for name in names], axis=1)
    return time[use], heights @ basis_of(flight.rig[0]["world"]).columns


def free_speed_difference(scenario: Scenario) -> tuple[float, float]:
    """Speed difference of the two legs at the base duty, and the speed per duty [m/s], each leg lifting its own load alone.

    With a stiff supply the speed of a leg alone is that of a lift on which every leg carries the same.
    """
    rig = build_rig(scenario)[0]
    world, settings = rig["world"], rig["settings"]
    loads = [float(leg["share"]) / 9.81 for leg in world["legs"][:2]]
    speeds = [operating_point(world, settings, Condition(loads=(load, load))).speed for load in loads]
    motor, spindle = world["legs"][0]["motor"], world["legs"][0]["spindle"]
    per_duty = float(world["supply"]["open_voltage"] / motor["torque_constant"] * spindle["travel_per_radian"])
    return abs(speeds[0] - speeds[1]), per_duty


@pytest.mark.parametrize("kc", [0.02, 0.05, 0.10])
def test_a_proportional_law_leaves_what_the_formula_says_standing(kc: float) -> None:
    """e = dv/(2 Kc Kv), with 60 and 30 kg, against the non-linear rehearsal."""
    scenario = load_scenario(rehearsal("worktop/raise-uneven"), (*IDEAL, *gain(kc), ("settings.levelling.ki_per_mm_s", 0.0)))
    difference, per_duty = free_speed_difference(scenario)
    told = droop(difference, 1e3 * kc, per_duty)
    _, modes = running(fly(scenario))
    seen = float(np.mean(np.abs(modes[:, 0]))) * 2.0**0.5
    print(f"Kc {kc}: formula {1e3 * told:.4f} mm, rehearsal {1e3 * seen:.4f} mm, {100 * (seen / told - 1):+.2f} %")

    assert seen == pytest.approx(told, rel=0.03)


@pytest.mark.parametrize("name", ["worktop/raise", "worktop/raise-uneven", "roof/raise"])
def test_beyond_the_boundary_gain_the_rehearsal_oscillates_and_at_sixty_percent_it_does_not(name: str) -> None:
    base = load_scenario(rehearsal(name), LATE)
    edge = base.settings.levelling.kc_per_mm * margins(loop_of(base)).gain
    per_mm = float(np.max(build_rig(base)[0]["settings"]["legs"]["counts_per_metre"])) * 1e-3
    counts, cycles = {}, {}
    for share in (0.6, 1.1):
        scenario = load_scenario(rehearsal(name), LATE + gain(share * edge))
        found = margins(loop_of(scenario))
        time, modes = running(fly(scenario))
        modes = modes - modes.mean(axis=0)
        counts[share] = float(1e3 * per_mm * modes.std(axis=0).max())
        strongest = modes[:, int(np.argmax(modes.std(axis=0)))]
        spectrum = np.abs(np.fft.rfft(strongest * np.hanning(len(strongest))))
        cycles[share] = 2.0 * pi * float(np.fft.rfftfreq(len(strongest), time[1] - time[0])[int(np.argmax(spectrum))])
        print(f"{name} at {share:.0%} of Kc {edge:.3f}: gain margin {found.gain:.3f}, {counts[share]:.2f} counts rms")

        assert found.stable == (share < 1.0)
        assert check_quantum(found).verdict == (QuantumVerdict.NONE if share < 1.0 else QuantumVerdict.UNSTABLE)
        if share > 1.0:
            # it cycles where the locus crosses the real axis
            assert cycles[share] == pytest.approx(found.phase_crossover, rel=0.06)
    assert counts[0.6] < 0.5
    assert counts[1.1] > 2.5


def test_between_them_the_count_quantum_may_cycle_and_the_tool_says_so() -> None:
    base = load_scenario(rehearsal("worktop/raise"), LATE)
    edge = base.settings.levelling.kc_per_mm * margins(loop_of(base)).gain
    found = check_quantum(margins(loop_of(load_scenario(rehearsal("worktop/raise"), LATE + gain(edge / 1.15)))))

    assert found.verdict == QuantumVerdict.MAY_CYCLE
    assert "limit cycle" in found.sentence
    assert 0.7 < found.amplitude < 5.0


def test_corners_name_the_worst_and_hold_the_nominal_case_between_them() -> None:
    scenario = load_scenario(rehearsal("worktop/raise"))
    found = corner_margins(scenario)
    nominal = margins(loop_of(scenario))
    gains = [corner.margins.gain for corner in found if corner.margins is not None]
    bad = worst(found)

    assert len(found) == 2 * 4 * 2 * 2 * 2 * 2
    assert len({corner.name for corner in found}) == len(found)
    assert min(gains) < nominal.gain < max(gains)
    assert bad.margins is not None
    assert bad.margins.sensitivity == max(corner.margins.sensitivity for corner in found if corner.margins is not None)
    # more voltage, a later tick: more gain and more delay
    assert bad.condition.supply == 1.1
    assert bad.condition.tick == 1.1


def test_every_cause_of_a_corner_moves_the_margins() -> None:
    scenario = load_scenario(rehearsal("worktop/raise"))
    plain = Condition(1, 1.0, 20.0, 20.0, 1.0, (60.0, 60.0), 1.0)
    changes: list[dict[str, Any]] = [
        {"direction": -1},
        {"supply": 0.85},
        {"winding": 100.0},
        {"case": 60.0},
        {"friction": 1.25},
        {"loads": (60.0, 30.0)},
        {"tick": 1.1},
        {"duty": 0.6},
    ]
    base = margins(loop_of(scenario, plain))
    moved = [margins(loop_of(scenario, Condition(**(vars(plain) | change)))) for change in changes]

    assert all(abs(one.gain / base.gain - 1.0) > 1e-5 for one in moved)


def test_an_unstable_corner_is_the_worst_one() -> None:
    scenario = load_scenario(rehearsal("worktop/raise"), (("settings.levelling.kc_per_mm", 2.0),))
    plants = corner_plants(scenario, Span(directions=(1,), friction=(1.0,), winding=(20.0,), case=(20.0,)))
    rig = build_rig(scenario)[0]
    found = judge(plants, law_of(rig["settings"], basis_of(rig["world"])))
    bad = worst(found)

    assert {corner.margins.stable for corner in found if corner.margins is not None} == {True, False}
    assert bad.margins is not None
    assert not bad.margins.stable


def test_a_corner_without_steady_motion_says_why() -> None:
    scenario = load_scenario(rehearsal("worktop/raise"), (("settings.speed.current_limit_a", 4.2),))
    found = corner_margins(scenario)

    assert any(corner.margins is None and "current limit" in corner.why for corner in found)
    assert any(corner.margins is not None for corner in found)


def test_loads_of_many_legs_stay_few() -> None:
    lifts = {name: load_scenario(rehearsal(name)).lift for name in ("worktop/raise", "showcase/raise", "roof/raise")}

    assert [len(load_cases(lift)) for lift in lifts.values()] == [4, 8, 16]
