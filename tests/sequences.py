"""Random sequences of orders and faults as rows of the script, on variants of the shipped lifts."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np
from hypothesis import strategies as st
from numpy.typing import NDArray
from rehearsals import rehearsal

from scenarios.build import build_rig
from scenarios.files import load_scenario
from scenarios.rig import Action, Trigger
from sync.modes import Command

__all__ = ["LIFTS", "VARIANTS", "Sequence", "Step", "prepared", "sequences"]

ALL = -1
TAIL_MS = 2500
"""How long a sequence goes on after its last step: longer than any coast, confirmation and retreat of 30 mm."""
MOST_CONTACTS = 4


@dataclass(frozen=True)
class Machine:
    """What the strategy needs to know of a shipped lift: legs, half its plan [m], rated payload [kg], supply [V], pinch threshold [A]."""

    legs: int
    half_x: float
    half_y: float
    rated: float
    supply: float
    rise: float


LIFTS = {
    "worktop": Machine(2, 0.6, 0.0, 90.0, 24.0, 0.5),
    "roof": Machine(4, 0.6, 0.4, 48.0, 12.6, 0.4),
    "showcase": Machine(3, 0.35, 0.25, 45.0, 24.0, 0.4),
}

_GUARDED = (
    ("settings.guards.over_current_a", 12.0),
    ("settings.guards.supply_low_v", 8.0),
    ("settings.guards.overload_kg", 120.0),
    ("settings.speed.stagger_ms", 40.0),
    ("settings.warmth.limit_c", 110.0),
)
_HELD_UP = (
    ("lift.logic.hold_up_mf", 2.2),
    ("lift.logic.power_fail_v", 9.5),
    ("lift.logic.least_v", 6.0),
)
VARIANTS: dict[str, tuple[tuple[str, Any], ...]] = {
    "reverse": (("settings.pinch.reaction", "reverse"), ("start.height_mm", 60.0)),
    "coast": (("settings.pinch.reaction", "coast"), ("start.height_mm", 120.0), *_GUARDED),
    "brake": (("settings.pinch.reaction", "brake"), ("start.height_mm", 25.0), *_HELD_UP),
    "gating": (("settings.pinch.reaction", "reverse"), ("settings.levelling.law", "gating"), ("start.height_mm", 120.0)),
    "unlevelled": (("settings.pinch.reaction", "reverse"), ("settings.levelling.law", "none"), ("start.height_mm", 220.0)),
    "lost": (("settings.pinch.reaction", "reverse"), ("start.referenced", False), ("start.height_mm", 12.0)),
}
"""Settings and starts of a lift: the reactions to a pinch, the laws, all guards, a logic that loses its power, an unknown position."""


@dataclass(frozen=True)
class Step:
    """One row of a sequence: so long after the one before, this is done [SI], and ends again if it lasts."""

    gap_ms: int
    action: Action
    values: tuple[float, ...]
    leg: int = ALL
    lasts_ms: int | None = None


@dataclass(frozen=True)
class Sequence:
    """A variant of a lift and what happens to it."""

    lift: str
    variant: str
    steps: tuple[Step, ...]

    def fired(self, *actions: Action) -> bool:
        """Whether any of these is in the sequence."""
        return any(step.action in actions for step in self.steps)

    def of_leg(self, q: int, *actions: Action) -> tuple[Step, ...]:
        """The steps with one of these actions that concern leg ``q``."""
        return tuple(step for step in self.steps if step.action in actions and step.leg in (q, ALL))


@cache
def _base(lift: str, variant: str) -> NDArray[np.void]:
    sets = (("settings.pinch.rise_a", LIFTS[lift].rise), ("settings.pinch.retreat_mm", 12.0), *VARIANTS[variant], ("end_s", 600.0))
    return build_rig(load_scenario(rehearsal(f"{lift}/raise"), sets))


def _write(row: Any, trigger: Trigger, at: float, step: Step) -> None:
    row["trigger"], row["at"], row["action"], row["leg"], row["of"] = trigger, at, step.action, step.leg, ALL
    row["values"][: len(step.values)] = step.values


def prepared(sequence: Sequence) -> NDArray[np.void]:
    """Rig of a sequence, ready to fly."""
    rig = _base(sequence.lift, sequence.variant).copy()
    one = rig[0]
    one["script"][: int(one["rows"])] = np.zeros(1, one["script"].dtype)
    rows, now_ms, contacts = 0, 0, 0
    for step in sequence.steps:
        now_ms += step.gap_ms
        if step.action in (Action.OBSTACLE, Action.LEAN):
            contacts += 1
            if contacts > MOST_CONTACTS:
                continue
        _write(one["script"][rows], Trigger.TIME, 1e3 * now_ms, step)
        rows += 1
        if step.lasts_ms is not None:
            end = one["script"][rows]
            _write(end, Trigger.EVENT, 0.0, Step(0, Action.END, (float(rows - 1),), step.leg))
            end["of"], end["delay"] = rows - 1, 1e3 * step.lasts_ms
            rows += 1
    one["rows"], one["settle_us"], one["trace_every"] = rows, 1 << 40, 1
    one["end_us"] = 1000 * (now_ms + TAIL_MS)
    return rig


_GAPS = st.one_of(st.integers(1, 60), st.integers(60, 1500))
_LASTING = st.one_of(st.none(), st.integers(20, 2000))


def _grid(low: float, high: float, parts: int = 20) -> st.SearchStrategy[float]:
    """Values from ``low`` to ``high`` in so many parts; the first is the simplest."""
    return st.integers(0, parts).map(lambda k: round(low + (high - low) * k / parts, 9))


_TO_MOVE = (Command.PRESS_UP, Command.PRESS_DOWN, Command.HOME)


def _orders(*keys: Command) -> st.SearchStrategy[Step]:
    """A target, or one of the ``keys``, as if an operator pressed it at any time."""
    targets = st.integers(5, 285).map(lambda mm: (float(Command.GO), 1e-3 * mm))
    pressed = st.sampled_from(keys).map(lambda key: (float(key), 0.0))
    return st.builds(Step, _GAPS, st.just(Action.COMMAND), st.one_of(pressed, targets))


_NO_LEG = st.just(ALL)


def _fault(
    action: Action, *values: st.SearchStrategy[float], legs: st.SearchStrategy[int] = _NO_LEG, lasting: bool = True
) -> st.SearchStrategy[Step]:
    return st.builds(Step, _GAPS, st.just(action), st.tuples(*values), legs, _LASTING if lasting else st.none())


def _counting(legs: st.SearchStrategy[int], number: int) -> list[st.SearchStrategy[Step]]:
    """Faults of what is heard."""
    false = _grid(0.0, 0.1)
    swap = st.integers(1, number - 1)
    one = st.just(0)
    return [
        _fault(Action.LOSE_COUNTS, _grid(1, 41), legs=legs, lasting=False),
        _fault(Action.EXTRA_COUNTS, _grid(1, 41), st.just(3e-4), legs=legs, lasting=False),
        _fault(Action.RATES, false, false, false, _grid(0, 5), legs=legs),
        _fault(Action.WEAK, st.just(3.0), st.just(1.0), legs=legs),
        _fault(Action.TAIL, _grid(0, 200), legs=legs),
        _fault(Action.DEAD, legs=legs),
        _fault(Action.STUCK_HIGH, legs=legs),
        _fault(Action.SWAP, swap.map(float), legs=one),
        _fault(Action.SPRINGBACK, _grid(1, 10, 9), legs=legs),
        _fault(Action.INTERFERENCE, _grid(1, 801), st.sampled_from((0.0, 1.0)), legs=legs),
        _fault(Action.CROSSTALK, _grid(0, 1), st.just(-1.0), legs=legs),
        _fault(Action.SUPPLY_STEP, _grid(1, 10, 9), st.just(1.0), legs=legs),
    ]


def _electric(legs: st.SearchStrategy[int], supply: float) -> list[st.SearchStrategy[Step]]:
    """Faults of supply, bridges, wires, drag and clock."""
    return [
        _fault(Action.SUPPLY, _grid(0, 1.2 * supply)),
        _fault(Action.SOURCE, _grid(0.05, 2.05)),
        _fault(Action.POWER_FAIL),
        _fault(Action.REVERSED, legs=legs),
        _fault(Action.BROKEN_WIRE, legs=legs),
        _fault(Action.BRIDGE_STUCK, st.sampled_from((1.0, 2.0, 3.0)), _grid(-1, 1), legs=legs),
        _fault(Action.NO_LIMIT, legs=legs),
        _fault(Action.DRAG, _grid(0.5, 5), _grid(0.5, 5), legs=legs),
        _fault(Action.JITTER, _grid(1e-5, 9.1e-4)),
        _fault(Action.MISSED_TICKS, _grid(1, 21), lasting=False),
        _fault(Action.CLOCK_RATE, _grid(-0.05, 0.05)),
    ]


def _mechanics(legs: st.SearchStrategy[int], machine: Machine) -> list[st.SearchStrategy[Step]]:
    """Faults of load, spindles, guides, and what the deck meets."""
    x, y = _grid(-machine.half_x, machine.half_x), _grid(-machine.half_y, machine.half_y)
    inside_x, inside_y = _grid(-0.5 * machine.half_x, 0.5 * machine.half_x), _grid(-0.5 * machine.half_y, 0.5 * machine.half_y)
    obstacle = _fault(Action.OBSTACLE, x, y, _grid(0, 0.02), st.sampled_from((1e4, 7.5e4, 5e5)), st.sampled_from((1.0, -1.0)), st.just(1.0))
    return [
        _fault(Action.PAYLOAD, _grid(0, machine.rated), inside_x, inside_y, st.sampled_from((0.0, 0.5))),
        obstacle,
        obstacle,
        _fault(Action.LEAN, x, y, _grid(-300, 300)),
        _fault(Action.FRICTION, _grid(0.75, 1.75), legs=legs),
        _fault(Action.GUIDE, _grid(0, 400), legs=legs),
        _fault(Action.JAM, st.just(20000.0), legs=legs),
        _fault(Action.BINDING, _grid(0.02, 0.12), _grid(0.13, 0.2), _grid(0, 2000), legs=legs),
        _fault(Action.SLIP, _grid(1e-4, 3e-3), legs=legs, lasting=False),
        _fault(Action.DEBRIS, _grid(1e-4, 5e-3), st.sampled_from((1e5, 1e6)), st.just(0.0), legs=legs),
        _fault(Action.HAND, _grid(-3e-3, 3e-3), st.just(2e-3), legs=legs, lasting=False),
        _fault(Action.VIBRATION, _grid(0.3, 1), legs=legs),
    ]


def sequences(lift: str, most: int = 12) -> st.SearchStrategy[Sequence]:
    """Sequences on a lift: an order to move first, then orders and faults mixed, as many of one as of the other."""
    machine = LIFTS[lift]
    legs = st.integers(ALL, machine.legs - 1)
    faults = [*_counting(legs, machine.legs), *_electric(legs, machine.supply), *_mechanics(legs, machine)]
    # as many branches of one as of the other; one strategy many times would count once
    step = st.one_of(*(_orders(*_TO_MOVE, Command.RELEASE, Command.CLEAR) for _ in faults), *faults)
    rest = st.lists(step, min_size=2, max_size=most - 1)
    steps = st.tuples(_orders(*_TO_MOVE), rest).map(lambda parts: (parts[0], *parts[1]))
    return st.builds(Sequence, st.just(lift), st.sampled_from(tuple(VARIANTS)), steps)
