"""No dead key: a tenth more (or less) of any number in a shipped lift or scenario file is seen in some shipped rehearsal.

Seen is: another byte in the trace, the score of the moves, the log of events or the energies; for a limit another margin;
for what only the drive sheet uses another row of the sheet. A zero has no tenth and is left out.
"""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache, lru_cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from rehearsals import EXAMPLES, SHIPPED, bytes_of, named, table

from scenarios.build import build_rig
from scenarios.errors import InputError
from scenarios.files import load_lift, load_scenario
from scenarios.files.leg import SIGNAL_PARTS
from scenarios.result import result_of
from scenarios.runner import fly, fly_rig
from scenarios.sheet import derive
from scenarios.signal_bench import bench_move
from scenarios.signal_detectors import chains, setting_of
from scenarios.signal_run import line_blocks, listen
from scenarios.signal_study import Flown
from scenarios.trace import empty_trace
from scenarios.wiring import stored_energy

Sets = tuple[tuple[str, Any], ...]

LIFTS = [path for path in sorted(EXAMPLES.glob("*/*.toml")) if table(path).get("kind") == "lift"]
SHEET_ONLY = ("structure.", "logic.", "duty.on_s", "duty.off_s", "deck.light_payload_kg")
WIRES_ONLY = tuple(f"every_leg.{part}." for part in SIGNAL_PARTS)
BEGIN: Sets = (("end_s", 1.2),)
"""What differs so early differs in the whole rehearsal as well, and costs a tenth of it."""
RARE = ("double_delay_low_us", "double_delay_high_us", "flyback_us")
"""They tell on a pulse only now and then; other seeds may have to be flown."""
SEEDS = (None, *range(2, 60))
CHECKED = {"lift.every_leg.motor.catalogue.stall_torque_mn_m"}
"""A figure that only has to agree with the others: moved by a tenth the file is refused."""
OPENED = {"set.settings.guards.tilt_limit_mm", "set.settings.pinch.rise_a"}
"""A guard that a rehearsal opens so wide that it stays silent; nothing but its silence could show."""


def numbers(raw: Any, before: str = "") -> Iterator[tuple[str, float]]:
    """Dotted key and value of every number in a file; entries of arrays counted from 1."""
    if isinstance(raw, dict):
        for key, value in raw.items():
            yield from numbers(value, f"{before}{key}.")
    elif isinstance(raw, list):
        for i, value in enumerate(raw, 1):
            yield from numbers(value, f"{before}{i}.")
    elif isinstance(raw, int | float) and not isinstance(raw, bool) and raw != 0:
        yield before[:-1], raw


def moved(value: float) -> list[float]:
    """The value a tenth up and a tenth down, less where figures that must agree allow no tenth; a whole number by at least one."""
    if isinstance(value, int):
        step = max(1, round(0.1 * abs(value)))
        return [value + step, value - step, value + 2 * step]
    return [factor * value for factor in (1.1, 0.9, 1.04, 0.96)]


def signals(path: Path, sets: Sets, seed: int | None) -> str:
    """Digest of everything a rehearsal records."""
    rig = build_rig(load_scenario(path, sets), seed)
    trace = empty_trace(rig)
    rows = fly_rig(rig, trace)
    return bytes_of(trace[:rows], rig["move"], rig["log"], rig["world"]["legs"]["energy"])


@lru_cache
def unmoved(path: Path, sets: Sets, seed: int | None) -> str:
    return signals(path, sets, seed)


def margins(path: Path, sets: Sets) -> list[tuple[str, float | None]]:
    """Margins of the limits that could be judged."""
    scenario = load_scenario(path, sets)
    flight = fly(scenario)
    judged = result_of(flight, stored_energy(flight.rig), scenario.limits, str(path)).verdict.limits
    return [(one.name, one.margin) for one in judged if one.evaluated]


def flown(key: str, rehearsals: list[Path]) -> Iterator[tuple[Path, Sets, int | None]]:
    """What to fly until a key is seen: the beginnings first."""
    for seed in SEEDS if key.endswith(RARE) else (None,):
        for sets in (BEGIN, ()):
            for path in rehearsals:
                yield path, sets, seed


def refused(key: str, value: float, path: Path) -> bool:
    try:
        load_scenario(path, [(key, value)])
    except InputError:
        return True
    return False


def seen(key: str, value: float, rehearsals: list[Path]) -> bool:
    """Whether any of the rehearsals shows a moved key; the beginnings are tried first."""
    if key.removeprefix("lift.").startswith("limits."):
        change = ((key, 1.1 * value),)
        return any(margins(path, change) != margins(path, ()) for path in rehearsals)
    if key in CHECKED:
        return refused(key, 1.1 * value, rehearsals[0]) and refused(key, 0.9 * value, rehearsals[0])
    allowed = [other for other in moved(value) if not refused(key, other, rehearsals[0])]
    assert allowed, f"{key}: may not be moved at all"
    return any(
        signals(path, (*sets, (key, other)), seed) != unmoved(path, sets, seed)
        for other in allowed
        for path, sets, seed in flown(key, rehearsals)
        if not refused(key, other, path)
    )


def in_the_sheet(lift: Path, key: str, value: float) -> bool:
    still = derive(load_lift(lift)).as_dict()
    return any(derive(load_lift(lift, [(key, other)])).as_dict() != still for other in moved(value))


@cache
def on_the_wires(lift: Path, sets: Sets, seed: int) -> str:
    """Digest of the wires of the first leg on a bench move, new and worn, and of what every detector hears."""
    made = load_lift(lift, sets)
    flown = Flown("up", made.leg[0], bench_move(made, made.names[0], 1))
    setting = setting_of(flown.leg, flown.bench)
    seen: list[Any] = []

    def keep(block: Any, samples: int, _: float) -> None:
        seen.append(np.sum(block[:, :samples], axis=1))

    for worn in (False, True):
        source, listeners = flown.source(worn, seed), chains(flown.leg, setting)
        listen(source, list(listeners.values()))
        seen += [one.heard() for one in listeners.values()]
        line_blocks(source, keep)
    return bytes_of(*seen)


def heard(lift: Path, key: str, value: float) -> bool:
    """A lockout acts only where a second pulse falls between the two values: on some sparks of some commutators."""
    return any(on_the_wires(lift, ((key, other),), seed) != on_the_wires(lift, (), seed) for seed in (1, 2, 3, 4) for other in moved(value))


@pytest.mark.slow
@pytest.mark.parametrize("lift", LIFTS, ids=named)
def test_every_number_of_a_lift_file_is_seen(lift: Path) -> None:
    rehearsals = [path for path in SHIPPED if path.parent == lift.parent]
    dead = []
    for key, value in numbers(table(lift)):
        if key.startswith(SHEET_ONLY):
            if not in_the_sheet(lift, f"lift.{key}", value):
                dead.append(key)
        elif key.startswith(WIRES_ONLY):
            if not heard(lift, f"lift.{key}", value):
                dead.append(key)
        elif not seen(f"lift.{key}", value, rehearsals):
            dead.append(key)

    assert dead == []


@pytest.mark.slow
@pytest.mark.parametrize("path", SHIPPED, ids=named)
def test_every_number_of_a_scenario_file_is_seen(path: Path) -> None:
    raw = table(path)
    changes = raw.pop("set", {})
    raw.pop("twin", None)  # tests/test_pairs.py flies it
    dead = [key for key, value in numbers(raw) if not seen(key, value, [path])]
    for key, value in changes.items():
        if isinstance(value, int | float) and value != 0 and f"set.{key}" not in OPENED and not seen(key, value, [path]):
            dead.append(f"set.{key}")

    assert dead == []
