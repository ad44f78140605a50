"""What a lift carries from one cycle of moves to the next: everything but the script and the score, which begin again."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from scenarios import cache

cache.prepare()

from plant.heat import refresh_motor  # noqa: E402
from plant.portable import cosine  # noqa: E402
from scenarios.rig import Action, Trigger  # noqa: E402
from scenarios.wiring import stored_energy  # noqa: E402

__all__ = ["DAY_US", "carry", "rest", "set_ambient", "wear"]

DAY_US = 86_400_000_000

Step = tuple[float, float, float, float]
"""A matrix of two rows."""


def carry(rig: NDArray[np.void], fresh: NDArray[np.void]) -> None:
    """Give a flown rig the script of a prepared one, from now on, in place; machine, controller and wires stay as they are.

    Parameters
    ----------
    rig
        Shape (1,), flown to its end.
    fresh
        Shape (1,), of the same lift, prepared and not flown.
    """
    one, new = rig[0], fresh[0]
    now = int(one["world"]["time_us"])
    for name in ("rows", "script", "conduct", "settle_us", "bypass"):
        one[name] = new[name]
    timed = one["script"]["trigger"] == Trigger.TIME
    one["script"]["at"][timed] += now
    one["end_us"] = int(new["end_us"]) + now
    one["move"][: int(one["moves"])] = np.zeros(1, dtype=one["move"].dtype)
    for name in ("moves", "move_open", "move_waiting", "events", "finished"):
        one[name] = 0
    one["due_soon"], one["rest_since_us"], one["fired_us"] = 1, now, now
    one["conduct"]["mode_before"] = one["memory"]["mode"]
    one["conduct"]["order_before"] = one["inputs"]["order"]
    one["conduct"]["legs"]["inserted"] = one["memory"]["legs"]["inserted"]
    one["world"]["supply"]["lowest"] = one["world"]["supply"]["voltage"]
    one["world"]["legs"]["stop_peak"] = 0.0
    motors = one["world"]["legs"]["motor"]
    motors["hottest"], motors["hottest_us"] = motors["winding"], now
    _balance_anew(rig)


def _balance_anew(rig: NDArray[np.void]) -> None:
    """Begin the energy balance of a rig again from what it has stored now."""
    one = rig[0]
    one["stored_start"] += stored_energy(rig)
    energies = one["world"]["legs"]["energy"]
    for term in energies.dtype.names or ():
        energies[term] = 0.0
    one["world"]["supply"]["energy_in"] = one["world"]["supply"]["energy_heat"] = one["world"]["taken"] = 0.0


def _times(a: Step, b: Step) -> Step:
    return (a[0] * b[0] + a[1] * b[2], a[0] * b[1] + a[1] * b[3], a[2] * b[0] + a[3] * b[2], a[2] * b[1] + a[3] * b[3])


def _repeated(step: Step, number: int) -> Step:
    made: Step = (1.0, 0.0, 0.0, 1.0)
    while number:
        if number & 1:
            made = _times(made, step)
        step = _times(step, step)
        number >>= 1
    return made


def _cool(node: Any, air: float, step: Step) -> None:
    """Bring the winding and the case of ``node`` through the steps, as differences from the air [K]."""
    winding, case = float(node["winding"]) - air, float(node["case"]) - air
    node["winding"], node["case"] = air + step[0] * winding + step[1] * case, air + step[2] * winding + step[3] * case


def rest(rig: NDArray[np.void], span_us: int) -> None:
    """Let a lift that stands rest for ``span_us``, in place: the clock goes on, the motors cool, and so do the controller's estimates.

    The steps are those of ``plant.heat.warm`` and ``sync.warmth.warm_legs`` without a current, as many as the ticks, multiplied out.
    Neglects what the readings' noise adds to the estimates.
    """
    one = rig[0]
    world, settings, memory = one["world"], one["settings"], one["memory"]
    tick_us = int(world["sub_step_us"]) * int(world["steps_per_tick"])
    ticks, span = span_us // tick_us, tick_us * 1e-6
    attributed = rig.view(np.recarray)
    for q in range(int(world["n_legs"])):
        motor, told, known = world["legs"][q]["motor"], settings["legs"][q]["warmth"], memory["legs"][q]["warmth"]
        if motor["winding_capacity"] > 0.0:
            a = span / (float(motor["winding_to_case"]) * float(motor["winding_capacity"]))
            b = span / (float(motor["winding_to_case"]) * float(motor["case_capacity"]))
            c = span / (float(motor["case_to_air"]) * float(motor["case_capacity"]))
            _cool(motor, float(motor["ambient"]), _repeated((1.0 - a, a, b, 1.0 - b - c), ticks))
            getattr(refresh_motor, "py_func", refresh_motor)(attributed[0].world.legs[q].motor)
        a, b = float(told["winding_rise"] * told["across"]), float(told["case_rise"] * told["across"])
        c = float(told["case_rise"] * told["away"])
        _cool(known, float(settings["warmth"]["ambient"]), _repeated((1.0 - a, a, b, 1.0 - b - c), ticks))
    world["time_us"] += ticks * tick_us
    one["rest_since_us"] = one["fired_us"] = world["time_us"]


def set_ambient(rig: NDArray[np.void], base: float, swing: float) -> None:
    """Air of every motor at the present time of the day [deg C], warmest where a day begins."""
    world = rig[0]["world"]
    world["legs"]["motor"]["ambient"] = base + swing * float(cosine(int(world["time_us"]) / DAY_US))


def wear(rig: NDArray[np.void], friction: float, rates: tuple[NDArray[np.float64], NDArray[np.float64]]) -> None:
    """Change a prepared script and detectors to what is worn now.

    Parameters
    ----------
    rig
        Shape (1,), just carried on.
    friction
        Factor on the thread friction as it stands; it is changed by a row of the script, as a fault would.
    rates
        Probabilities of a miss and of a double, each of shape (legs,).
    """
    one = rig[0]
    count = len(rates[0])
    one["world"]["legs"]["detector"]["run_miss"][:count] = rates[0]
    one["world"]["legs"]["detector"]["run_double"][:count] = rates[1]
    if friction == 1.0:
        return
    row = one["script"][int(one["rows"])]
    row["trigger"], row["at"] = Trigger.TIME, float(one["world"]["time_us"])
    row["action"], row["leg"] = Action.FRICTION, -1
    row["values"][0] = friction
    one["rows"] += 1
