"""A sheet swept over one key of a lift file: the key figures at each value."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import isfinite
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from scenarios.errors import InputError
from scenarios.files.slips import unit_of
from scenarios.sheet_figures import KEY_FIGURES, Reading, read_figures

if TYPE_CHECKING:
    from scenarios.files.lift import Lift

__all__ = ["STEPS", "Sweep", "SweepOrder", "parse_sweep", "sweep_lift"]

STEPS = 9
MOST_STEPS = 200
_DIMENSIONS = ("lead_mm", "pitch_diameter_mm")


@dataclass(frozen=True)
class SweepOrder:
    """What to sweep: a key of the lift file and its values."""

    key: str
    values: tuple[float, ...]


@dataclass(frozen=True)
class Sweep:
    """Key figures over a swept key; ``readings[k]`` belong to ``order.values[k]``."""

    lift: str
    order: SweepOrder
    readings: tuple[tuple[Reading, ...], ...]

    @property
    def unit(self) -> str:
        """Unit of the swept key, by its ending."""
        return unit_of(self.order.key)

    def as_dict(self) -> dict[str, Any]:
        """Plain data for JSON; what is infinite or not applicable becomes None."""
        figures = [
            {
                "name": figure.name,
                "unit": figure.unit,
                "worst": figure.worst,
                "values": [row[k].value if isfinite(row[k].value) else None for row in self.readings],
                "warned": [row[k].warned for row in self.readings],
            }
            for k, figure in enumerate(KEY_FIGURES)
        ]
        return {"lift": self.lift, "key": self.order.key, "unit": self.unit, "values": list(self.order.values), "figures": figures}


def parse_sweep(text: str) -> SweepOrder:
    """Read ``KEY=LOW:HIGH`` or ``KEY=LOW:HIGH:STEPS``, evenly spaced, ends included.

    Raises
    ------
    InputError
        Names what is wrong and the form it should have.
    """
    key, _, span = text.partition("=")
    pieces = span.split(":")
    form = 'must be KEY=LOW:HIGH or KEY=LOW:HIGH:STEPS, for example "leg.spindle.lead_mm=2:6"'
    try:
        low, high = float(pieces[0]), float(pieces[1])
        steps = int(pieces[2]) if len(pieces) > 2 else STEPS
    except (ValueError, IndexError):
        raise InputError([f"--sweep {text}: {form}"]) from None
    if not key.strip() or len(pieces) > 3 or not (isfinite(low) and isfinite(high)) or low == high:
        raise InputError([f"--sweep {text}: {form}"])
    if not 2 <= steps <= MOST_STEPS:
        raise InputError([f"--sweep {text}: STEPS = {steps}: must be 2 to {MOST_STEPS}"])
    values = [float(f"{value:.10g}") for value in np.linspace(low, high, steps)]
    return SweepOrder(key.strip().removeprefix("lift."), tuple(values))


def _changes(lift: Lift, key: str, value: float) -> list[tuple[str, object]]:
    """Changes that put ``value``; a thread that is given by its designation is first written out as its dimensions.

    The other dimension and the flank of the designation stay, so that a swept lead changes the lead alone.
    """
    from scenarios.build_lift import thread_of

    pieces = key.split(".")
    whole: object = int(value) if value == int(value) and pieces[-1] in ("segments", "poles") else value
    if pieces[-1] not in _DIMENSIONS or pieces[-2:-1] != ["spindle"]:
        return [(f"lift.{key}", whole)]
    one = pieces[1] if pieces[0] == "leg" and len(pieces) == 4 else None
    changes: list[tuple[str, object]] = []
    for number, leg in enumerate(lift.leg, 1):
        if one is not None and one not in (leg.name, str(number)):
            continue
        place = f"lift.leg.{leg.name}.spindle."
        diameter, lead, _ = thread_of(leg.spindle)
        sizes = {"pitch_diameter_mm": 1e3 * diameter, "lead_mm": 1e3 * lead} | {pieces[-1]: value}
        changes += [(place + "thread", None), *((place + name, size) for name, size in sizes.items())]
    return changes or [(f"lift.{key}", whole)]


def sweep_lift(path: Path, order: SweepOrder, sets: Sequence[str] = ()) -> Sweep:
    """Derive the sheet of a lift file at every value of a swept key.

    Raises
    ------
    InputError
        If the file or one of the values is refused.
    """
    from scenarios.files import load_lift
    from scenarios.files.overrides import collected
    from scenarios.sheet import derive

    base = load_lift(path, sets)
    given = collected(sets)
    readings, wrong = [], []
    for value in order.values:
        try:
            lift = load_lift(path, [*given, *_changes(base, order.key, value)])
            readings.append(tuple(read_figures(derive(lift))))
        except InputError as error:
            wrong += [message.replace("--set ", "--sweep ") for message in error.messages]
    if wrong:
        raise InputError(list(dict.fromkeys(wrong)))
    return Sweep(base.name, order, tuple(readings))
