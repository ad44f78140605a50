"""The keys of the levelling laws in a settings file: each is used, and a wrong one is refused with its remedy."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from rehearsals import rehearsal, rig_bytes

from scenarios.build import build_rig
from scenarios.build_law import nominal_speed
from scenarios.errors import InputError
from scenarios.files import load_lift, load_scenario
from scenarios.runner import fly

Sets = tuple[tuple[str, Any], ...]
LEVELLING = "settings.levelling."


def bytes_with(name: str, *sets: tuple[str, Any]) -> str:
    return rig_bytes(fly(load_scenario(rehearsal(name), (("end_s", 3.0), *sets)), trace=False))


@pytest.mark.parametrize(
    ("name", "law", "key", "one", "other"),
    [
        ("worktop/raise-uneven", "follow", "leader", "left", "right"),
        ("worktop/raise-uneven", "common-reference", "reference_mm_s", 28.0, 29.0),
        ("worktop/raise-uneven", "common-reference", "reference_slow_mm_s", 8.0, 9.0),
        ("worktop/raise-uneven", "common-reference", "reference_window_mm", 2.0, 2.2),
        ("roof/raise", "modal", "kc_warp_per_mm", 0.05, 0.055),
        ("roof/raise", "modal", "ki_warp_per_mm_s", 0.05, 0.055),
        ("roof/raise", "modal", "places_mm", {}, {"front-left": [1.0, 2.0]}),
    ],
)
def test_no_key_of_a_law_is_dead(name: str, law: str, key: str, one: object, other: object) -> None:
    chosen = (LEVELLING + "law", law)
    if key == "places_mm":
        first = load_lift(rehearsal("roof/roof")).names[0]
        other = {first: [1.0, 2.0]}

    assert bytes_with(name, chosen, (LEVELLING + key, one)) != bytes_with(name, chosen, (LEVELLING + key, other))


def test_the_ramp_of_the_slow_down_takes_the_time_it_is_given() -> None:
    # 150 ms from a duty of 0.88 to 0.4, seen in the duties commanded at 1 ms
    sets: Sets = (("settings.speed.slow_ramp_ms", 150.0), ("settings.timing.tick_ms", 1.0), ("settings.levelling.law", "none"))
    flight = fly(load_scenario(rehearsal("worktop/raise"), (("move.1.to_mm", 80.0), *sets)))
    duty = flight.trace[:, flight.columns.index("left.duty")]
    falling = (duty > 0.41) & (duty < 0.87) & (np.arange(len(duty)) > 1000)

    assert np.count_nonzero(falling) == pytest.approx(150.0 * 0.46 / 0.48, abs=3)


def test_a_leader_that_is_no_leg_is_refused_by_name() -> None:
    with pytest.raises(InputError, match=r'levelling\.leader = "middle": there is no such leg; known: left, right'):
        load_scenario(rehearsal("worktop/raise"), [(LEVELLING + "law", "follow"), (LEVELLING + "leader", "middle")])


def test_a_common_reference_without_a_told_speed_takes_that_of_the_full_load() -> None:
    scenario = load_scenario(rehearsal("worktop/raise"), [(LEVELLING + "law", "common-reference")])
    told = build_rig(scenario)["settings"][0]

    # 60 kg a leg at 24 V: 34.8 mm/s; 42.7 mm/s less per unit of duty; the guide's 40 N and the moving mass take the rest
    assert 1e3 * told["reference_speed"] == pytest.approx(34.8 - 0.12 * 42.7, rel=0.03)
    assert told["reference_slow"] == pytest.approx(nominal_speed(scenario.lift.leg[0], scenario.lift, 0.4), rel=1e-12)
