"""The wires in the loop: the controller hears a detector, and its estimates reach the inputs record."""

from __future__ import annotations

import json

import numpy as np
import pytest
from click.testing import CliRunner
from rehearsals import EXAMPLES

from scenarios.cli import cli
from scenarios.errors import InputError
from scenarios.files import load_scenario
from scenarios.signal_loop import fly_in_the_loop

RAISE = EXAMPLES / "worktop" / "raise.toml"


def test_the_controller_hears_the_wires_and_is_told_the_estimates() -> None:
    scenario = load_scenario(RAISE, ("end_s=1.5",))
    flight, legs = fly_in_the_loop(scenario, "spikes", False, seed=3)
    inputs = flight.rig["inputs"][0]["legs"][:2]
    for leg in legs:
        assert leg.true > 400
        assert abs(leg.heard - leg.true) <= 6
        assert leg.direction_wrong == 0
        assert leg.direction_right > 0
    assert np.all(inputs["direction"] >= 0)  # unknown is allowed while the carrier chops
    assert np.any(inputs["direction"] == 1)
    assert np.all(inputs["wear"] == 0.0)  # at duty 0.88 every group is cut by blanking, and nothing is learnt from those
    again, _ = fly_in_the_loop(scenario, "spikes", False, seed=3)
    other, _ = fly_in_the_loop(scenario, "spikes", False, seed=4)

    assert again.rig.tobytes() == flight.rig.tobytes()
    assert other.rig.tobytes() != flight.rig.tobytes()


@pytest.mark.slow
def test_a_whole_rehearsal_passes_with_the_wires_in_the_loop() -> None:
    done = CliRunner().invoke(cli, ["signal", str(RAISE), "--in-loop", "--json", "-"], catch_exceptions=False)
    told = json.loads(done.output)

    assert told["verdict"] == "pass"
    for leg in told["legs_heard"]:
        assert abs(leg["heard"] - leg["true"]) <= 6
        assert leg["power_off_told"] >= 1


def test_a_lift_has_no_loop() -> None:
    with pytest.raises(InputError, match="name a scenario"):
        CliRunner().invoke(cli, ["signal", str(EXAMPLES / "worktop" / "worktop.toml"), "--in-loop"], catch_exceptions=False)
