"""An operator and a controller of your own, beside the shipped ones.

The rehearsal is ``worktop/hold-to-run.toml``: its script holds the key up for 4 s and later down for 2 s.  Here a second
person steps in: lets go as soon as the deck has passed 150 mm, and then sends it to exactly 200 mm.  The controller is
the shipped one with a rule of our own on top: all motors together may not take more than 5.5 A.

Run it in the environment that levelrig is installed in:  python examples/own_process.py
"""

from __future__ import annotations

from collections.abc import Generator
from pathlib import Path
from typing import Any

# The runner comes first: it names the folder in which compiled kernels are kept.
from scenarios import runner  # noqa: F401  # isort: skip
import simpy
from numpy.typing import NDArray

from scenarios.build import build_rig
from scenarios.files import load_scenario
from scenarios.world import World
from sync.modes import Command, Mode
from sync.tick import tick_arrays

SCENARIO = Path(__file__).parent / "worktop" / "hold-to-run.toml"
MILLISECOND = 1000  # simulated time is a whole number of microseconds
BUDGET = 5.5  # A


class Thrifty:
    """The shipped controller, then our rule: outputs are records, so changing them is all it takes."""

    def __init__(self) -> None:
        self.calls = 0
        self.trimmed = 0

    def __call__(self, settings: NDArray[Any], memory: NDArray[Any], inputs: NDArray[Any], outputs: NDArray[Any]) -> None:
        tick_arrays(settings, memory, inputs, outputs)
        self.calls += 1
        legs = int(settings["n_legs"][0])
        # inputs hold what was measured, with its offset and noise; the true current is not ours to see
        total = float(abs(inputs["legs"]["current"][0, :legs]).sum())
        if total > BUDGET:
            outputs["legs"]["duty"][0, :legs] *= BUDGET / total
            self.trimmed += 1


def operator(world: World) -> Generator[simpy.Event, Any, None]:
    """A person at the key: a simpy process that waits, looks and gives orders."""

    def told(text: str) -> None:
        heights = ", ".join(f"{1e3 * world.height(leg):.2f}" for leg in range(2))
        print(f"{world.env.now / 1e6:7.3f} s   {heights} mm   {text}")

    told("somebody stands by")
    while world.height(0) < 0.150:
        yield world.env.timeout(20 * MILLISECOND)
    world.order(Command.RELEASE)
    told("lets go")
    # an order is seen at the controller's next call; look again after that
    yield world.env.timeout(20 * MILLISECOND)
    while world.memory["mode"][0] != Mode.READY:
        yield world.env.timeout(20 * MILLISECOND)
    told("at rest")
    # the script's own release comes 4 s after its press, at 4.5 s, and would stop us too
    yield world.env.timeout(4_600 * MILLISECOND - world.env.now)
    told("sends it on")
    world.order(Command.GO, 0.200)
    yield world.env.timeout(20 * MILLISECOND)
    while world.memory["mode"][0] != Mode.READY:
        yield world.env.timeout(20 * MILLISECOND)
    told("arrived at 200 mm")


def main() -> None:
    """Fly it and tell what happened."""
    scenario = load_scenario(SCENARIO)
    controller = Thrifty()
    world = World(build_rig(scenario), controller=controller)
    world.env.process(operator(world))
    world.run()
    rig = world.rig[0]
    print(f"{world.env.now / 1e6:7.3f} s   over; the controller ended {Mode(int(rig['memory']['mode'])).name.lower()}")
    print(f"our rule trimmed the duty in {controller.trimmed} of {controller.calls} calls")
    for k in range(int(rig["moves"])):
        move = rig["move"][k]
        print(f"move {k + 1} of the script: level error at most {1e3 * move['peak']:.2f} mm, {1e3 * move['after_coast']:.2f} mm at rest")


if __name__ == "__main__":
    main()
