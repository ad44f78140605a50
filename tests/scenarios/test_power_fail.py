"""Power failure and wake-up: what the firmware saves, what it believes on wake, and that the truth lies inside."""

from __future__ import annotations

from collections.abc import Generator
from functools import cache
from typing import Any

import numpy as np
import pytest
import simpy
from numpy.typing import NDArray
from rehearsals import rehearsal

from scenarios.build import build_rig
from scenarios.files import load_scenario
from scenarios.world import World
from sync.modes import Command, Mode, Reason
from sync.tick import tick_arrays

AWAY_US = 1_000_000
"""How long the supply is gone: longer than any coast."""
LONG_US, SHORT_US, NONE_US = 800_000, 60_000, 5_000
"""Hold-up of the logic: outlasts coast and saving; ends in the coast; ends before the position is saved."""


class Failing:
    """The shipped controller on a supply that fails once; the logic lives on for its hold-up, then is woken with the supply."""

    def __init__(self, at_us: int, hold_up_us: int) -> None:
        self.at_us, self.dead_us, self.back_us = at_us, at_us + hold_up_us, at_us + AWAY_US
        self.asleep = False

    def __call__(self, settings: NDArray[Any], memory: NDArray[Any], inputs: NDArray[Any], outputs: NDArray[Any]) -> None:
        now = int(inputs["time_us"][0])
        if self.dead_us <= now < self.back_us:
            self.asleep = True
            outputs["legs"]["mode"] = 0
            return
        inputs["power_good"] = 0 if self.at_us <= now < self.back_us else 1
        inputs["wake"] = int(self.asleep)
        self.asleep = False
        tick_arrays(settings, memory, inputs, outputs)


@cache
def built(lift: str) -> NDArray[np.void]:
    """Rig of a shipped rehearsal, ready to fly."""
    return build_rig(load_scenario(rehearsal(lift), (("end_s", 3600.0),)))


def failed(lift: str, at_us: int, hold_up_us: int, target: float, then: tuple[tuple[int, Command, float], ...] = ()) -> Any:
    """Rig a while after the power has come back; ``then`` are orders at times [us] after the return."""
    rig = built(lift).copy()
    rig["rows"] = 0
    rig["end_us"] = at_us + AWAY_US + 200_000 + (then[-1][0] + 12_000_000 if then else 0)
    rig["settle_us"] = 1 << 40
    controller = Failing(at_us, hold_up_us)
    world = World(rig, controller=controller)

    def operator() -> Generator[simpy.Event, Any, None]:
        yield world.env.timeout(500_000)
        world.order(Command.GO, target)
        for after, command, height in then:
            yield world.env.timeout(controller.back_us + after - world.env.now)
            world.order(command, height)

    world.env.process(operator())
    world.run()
    return rig[0]


def off(rig: Any) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """True less believed position of every nut, and its doubt [counts]."""
    n = int(rig["world"]["n_legs"])
    told, known = rig["settings"]["legs"][:n], rig["memory"]["legs"][:n]
    true = (rig["world"]["legs"]["travel"][:n] - told["home_offset"]) * told["counts_per_metre"]
    return true - known["counts"] - 0.5, known["doubt"]


INSTANTS = (500_000 + np.random.default_rng(20).uniform(0.0, 1.0, 20) * 4_200_000).astype(int).tolist()
"""Twenty random instants of a move of 4.2 s, start and coast included [us]."""


@pytest.mark.parametrize("hold_up", [LONG_US, SHORT_US])
@pytest.mark.parametrize(
    ("lift", "target"),
    [("worktop/raise", 0.120), *(pytest.param(*one, marks=pytest.mark.slow) for one in (("worktop/lower", 0.220), ("roof/raise", 0.095)))],
)
def test_after_a_power_failure_the_truth_lies_inside_the_stated_position(lift: str, target: float, hold_up: int) -> None:
    shares, doubts = [], []
    for at_us in INSTANTS:
        rig = failed(lift, at_us, hold_up, target)
        error, doubt = off(rig)
        shares.append(np.max(np.abs(error) / doubt))
        doubts.append(np.max(doubt))

        assert np.all(np.abs(error) <= doubt), (at_us, error, doubt)
        assert rig["memory"]["mode"] == Mode.READY
        assert rig["memory"]["ask"] == Reason.POSITION_UNCERTAIN
        assert rig["memory"]["uncertain"] == 1
    print(
        f"{lift}, hold-up {hold_up / 1e3:g} ms: largest share of the doubt {max(shares):.2f}, doubt {min(doubts):.0f} to {max(doubts):.0f}"
    )
    # a bound that is never come near would be no statement
    assert max(shares) > 0.1


def test_without_time_to_save_the_position_is_lost_and_not_the_old_one_believed() -> None:
    rig = failed("worktop/raise", 2_500_000, NONE_US, 0.120, ((100_000, Command.GO, 0.1),))

    assert rig["memory"]["mode"] == Mode.UNREFERENCED
    assert rig["memory"]["reason"] == rig["memory"]["ask"] == Reason.POSITION_LOST
    assert rig["memory"]["refusal"] == Reason.NOT_REFERENCED


def test_a_power_failure_at_rest_costs_nothing() -> None:
    rig = failed("worktop/raise", 5_500_000, SHORT_US, 0.120)
    error, doubt = off(rig)

    assert (rig["memory"]["mode"], rig["memory"]["reason"], rig["memory"]["ask"]) == (Mode.READY, Reason.NONE, Reason.NONE)
    assert np.all(np.abs(error) <= doubt)
    assert rig["memory"]["saved"]["counts"][:2].tolist() == rig["memory"]["legs"]["counts"][:2].tolist()


def test_a_damaged_save_is_not_believed() -> None:
    rig = built("worktop/raise").copy()
    rig["rows"], rig["end_us"], rig["settle_us"] = 0, 1_000_000, 1 << 40

    class Damaging(Failing):
        def __call__(self, settings: NDArray[Any], memory: NDArray[Any], inputs: NDArray[Any], outputs: NDArray[Any]) -> None:
            if self.asleep:
                memory["saved"]["counts"][0, 1] |= 1 << 20
            super().__call__(settings, memory, inputs, outputs)

    controller = Damaging(100_000, SHORT_US)
    controller.back_us = 500_000
    World(rig, controller=controller).run()

    assert rig["memory"]["mode"][0] == Mode.UNREFERENCED
    assert rig["memory"]["reason"][0] == Reason.SAVE_DAMAGED


def test_a_homing_cut_by_a_power_failure_leaves_the_position_unknown() -> None:
    rig = built("worktop/home").copy()
    rig["rows"], rig["end_us"], rig["settle_us"] = 0, 5_000_000, 1 << 40
    world = World(rig, controller=Failing(1_500_000, LONG_US))

    def operator() -> Generator[simpy.Event, Any, None]:
        yield world.env.timeout(500_000)
        world.order(Command.HOME)

    world.env.process(operator())
    world.run()

    assert rig["memory"]["mode"][0] == Mode.UNREFERENCED
    assert rig["memory"]["referenced"][0] == 0


def test_after_a_power_failure_moves_are_slow_until_the_lift_is_homed() -> None:
    orders = ((200_000, Command.GO, 0.040), (8_000_000, Command.HOME, 0.0), (16_000_000, Command.GO, 0.060))
    rig = failed("worktop/raise", 1_500_000, SHORT_US, 0.120, orders[:1])
    homed = failed("worktop/raise", 1_500_000, SHORT_US, 0.120, orders)

    assert (rig["memory"]["mode"], rig["memory"]["uncertain"]) == (Mode.READY, 1)
    assert float(np.max(rig["memory"]["legs"]["rate_at_cut"][:2])) < 0.5 * 650.0
    assert (homed["memory"]["mode"], homed["memory"]["uncertain"], homed["memory"]["ask"]) == (Mode.READY, 0, Reason.NONE)
    assert 1e3 * homed["world"]["legs"]["height"][:2] == pytest.approx(60.0, abs=0.6)
