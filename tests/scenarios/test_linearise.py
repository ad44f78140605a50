"""The linear model told by closed forms against the kernels' own differences, in all three example lifts."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from rehearsals import rehearsal

from scenarios.build import build_rig
from scenarios.files import load_scenario
from scenarios.linearise import linearise
from scenarios.loop_model import basis_of, law_of, loop_of
from scenarios.operating_point import Condition, NoSteadyMotionError, lift_model, operating_point
from sync.design.lift_model import StateSpace, state_space
from sync.design.loop import Loop, margins
from sync.design.sampled import sample

LIFTS = ("worktop/raise-uneven", "worktop/raise", "showcase/raise", "roof/raise")
STIFF: tuple[tuple[str, Any], ...] = (("lift.supply.capacitance_mf", 0.0), ("lift.supply.current_limit_a", None))


def both(name: str, direction: int, sets: tuple[tuple[str, Any], ...] = ()) -> tuple[StateSpace, StateSpace, NDArray[np.float64]]:
    """Matrices by closed forms and by differences, and what the kernels' rates leave at the operating point."""
    rig = build_rig(load_scenario(rehearsal(name), sets))
    point = operating_point(rig[0]["world"], rig[0]["settings"], Condition(direction))
    found = linearise(rig, point)
    return state_space(lift_model(rig[0]["world"], point)), found.space, found.rest


@pytest.mark.parametrize("direction", [1, -1])
@pytest.mark.parametrize("name", LIFTS)
def test_closed_forms_and_differences_of_the_kernels_give_the_same_matrices(name: str, direction: int) -> None:
    told, found, rest = both(name, direction)

    # the kernels' brush law is within 1.2e-4 of the tanh of the closed form, 1 V at most, over an inductance of 0.5 mH
    assert np.abs(rest).max() < 0.25
    for one, other in ((told.a, found.a), (told.b, found.b), (told.e, found.e), (told.c, found.c)):
        scale = np.abs(one).max(axis=1, keepdims=True)
        np.testing.assert_allclose(other, one, rtol=0.0, atol=2e-4 * float(scale.max()))
        assert np.all(np.abs(other - one) <= 2e-4 * scale + 1e-12)


@pytest.mark.parametrize("name", ["worktop/raise-uneven", "roof/raise"])
def test_a_supply_without_capacitor_is_part_of_the_model_too(name: str) -> None:
    told, found, _ = both(name, 1, STIFF)

    assert told.a.shape == found.a.shape
    np.testing.assert_allclose(found.a, told.a, rtol=0.0, atol=2e-4 * np.abs(told.a).max())
    np.testing.assert_allclose(found.b, told.b, rtol=0.0, atol=2e-4 * np.abs(told.b).max())


@pytest.mark.parametrize("name", LIFTS)
def test_margins_of_both_models_agree(name: str) -> None:
    _, found, _ = both(name, 1)
    scenario = load_scenario(rehearsal(name))
    rig = build_rig(scenario)[0]
    settings, basis = rig["settings"], basis_of(rig["world"])
    plant = sample(found, float(settings["tick"]) * int(settings["control_every"]), float(settings["compute_delay"]))
    numeric, told = margins(Loop(plant, law_of(settings, basis), basis.names)), margins(loop_of(scenario))

    assert numeric.gain == pytest.approx(told.gain, rel=1e-4)
    assert numeric.phase == pytest.approx(told.phase, abs=0.05)
    assert numeric.sensitivity == pytest.approx(told.sensitivity, rel=1e-4)


def test_a_lift_that_cannot_move_steadily_says_why() -> None:
    weak = load_scenario(rehearsal("worktop/raise"), (("settings.speed.base_duty", 0.1), ("settings.speed.slow_duty", 0.1)))
    limited = load_scenario(rehearsal("worktop/raise"), (("settings.speed.current_limit_a", 3.0),))
    short = load_scenario(rehearsal("worktop/raise"), (("lift.supply.current_limit_a", 5.0),))

    for scenario, why in ((weak, "does not move"), (limited, "current limit of 3 A"), (short, "supply is at its current limit")):
        with pytest.raises(NoSteadyMotionError, match=why):
            loop_of(scenario)


def test_a_motion_whose_friction_still_falls_with_speed_is_refused() -> None:
    with pytest.raises(NoSteadyMotionError, match="friction still falls"):
        loop_of(load_scenario(rehearsal("worktop/raise")), Condition(duty=0.35))


@pytest.mark.parametrize("law", ["none", "gating"])
def test_a_law_without_a_linear_loop_is_refused(law: str) -> None:
    with pytest.raises(ValueError, match="no linear loop"):
        loop_of(load_scenario(rehearsal("worktop/raise"), (("settings.levelling.law", law),)))
