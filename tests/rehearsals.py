"""The shipped rehearsals, and how the tests of the whole fly and compare them."""

from __future__ import annotations

import tomllib
from hashlib import blake2b
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from scenarios.files.tuning import PERFECT_COUNTS

if TYPE_CHECKING:
    from scenarios.runner import Flight

__all__ = [
    "EXAMPLES",
    "IDEAL",
    "PERFECT_COUNTS",
    "REHEARSALS",
    "SHIPPED",
    "UNGUARDED",
    "Sets",
    "bytes_of",
    "named",
    "rehearsal",
    "rig_bytes",
    "table",
    "without_twin",
]

Sets = tuple[tuple[str, Any], ...]

EXAMPLES = Path(__file__).resolve().parents[1] / "examples"


def table(path: Path) -> dict[str, Any]:
    """The file as plain tables."""
    with path.open("rb") as file:
        return tomllib.load(file)


SHIPPED = [path for path in sorted(EXAMPLES.glob("*/*.toml")) if table(path).get("kind") == "scenario"]
"""Scenario files beside the lifts: what these do when nothing goes wrong."""

REHEARSALS = [path for path in sorted(EXAMPLES.rglob("*.toml")) if table(path).get("kind") == "scenario"]
"""All scenario files of the examples, those of the folders below the lifts too: faults, pinch."""


def named(path: Path) -> str:
    """Folders and name of a shipped file, for the names of tests."""
    return path.relative_to(EXAMPLES).with_suffix("").as_posix()


def without_twin(text: str) -> str:
    """Text of a shipped rehearsal up to its spoiled twin, which stands last: for tests that add tables or another twin."""
    return text.split("\n[twin]", maxsplit=1)[0] + "\n"


def rehearsal(name: str) -> Path:
    """Path of a shipped rehearsal, ``"worktop/raise"``."""
    return EXAMPLES / f"{name}.toml"


UNGUARDED: Sets = (
    ("settings.pinch", None),
    ("settings.guards.over_current_a", None),
    ("settings.guards.supply_low_v", None),
    ("settings.guards.overload_kg", None),
)
"""No guard that looks at currents or the supply: for what is to be seen without their answer."""

IDEAL: Sets = (
    *PERFECT_COUNTS,
    *UNGUARDED,
    # stiff supply, bridge without losses, true readings
    ("lift.supply.resistance_ohm", 0.0),
    ("lift.supply.capacitance_mf", 0.0),
    ("lift.supply.current_limit_a", None),
    ("lift.leg.bridge.resistance_mohm", 0.0),
    ("lift.leg.bridge.diode_drop_v", 0.0),
    ("lift.sensing.ideal", True),
    # winding and case held
    ("lift.leg.thermal.copper_coefficient_per_k", 0.0),
    ("lift.leg.thermal.magnet_coefficient_per_k", 0.0),
    # 60 and 30 kg at the nuts, no play, no spread of the stops
    ("lift.leg.guide.moving_mass_kg", 0.0),
    ("lift.leg.spindle.nut_play_mm", 0.0),
    ("lift.leg.gear.play_deg", 0.0),
    ("lift.leg.stops.low_mm", 0.0),
    ("settings.homing.offsets_mm.left", 0.0),
    ("settings.homing.offsets_mm.right", 0.0),
    # full speed to the cut
    ("settings.speed.soft_start_ms", 0.0),
    ("settings.speed.slow_down_mm", 0.0),
)
"""What an independent model of the same lift does not have is taken away: losses of supply and bridge, play, heat, spread."""


def bytes_of(*arrays: NDArray[Any]) -> str:
    """Digest of the bytes of arrays, short enough to be read in a failure."""
    digest = blake2b(digest_size=12)
    for array in arrays:
        digest.update(np.ascontiguousarray(array).tobytes())
    return digest.hexdigest()


def rig_bytes(flight: Flight) -> str:
    """Digest of everything a flight left behind, for workers of a run list."""
    return bytes_of(flight.rig)
