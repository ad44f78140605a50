"""Rehearsals with a fault: a shipped file with tables appended, flown on a clock."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from rehearsals import EXAMPLES, without_twin

if TYPE_CHECKING:
    from scenarios.files.scenario import Scenario
    from scenarios.result import Result

__all__ = ["faulted", "judged", "text_of"]


def text_of(what: str, **keys: Any) -> str:
    """One ``[[fault]]`` table."""

    def value(key: Any) -> str:
        if isinstance(key, bool):
            return str(key).lower()
        return f'"{key}"' if isinstance(key, str) else str(list(key) if isinstance(key, tuple) else key)

    return "\n[[fault]]\n" + "".join(f"{name} = {value(key)}\n" for name, key in {"what": what, **keys}.items())


def faulted(folder: Path, name: str, *tables: str, sets: tuple[tuple[str, Any], ...] = ()) -> Scenario:
    """The shipped rehearsal ``name`` ("worktop/raise") with ``tables`` appended, written into ``folder`` and read from there."""
    from scenarios.files import load_scenario

    source = EXAMPLES / f"{name}.toml"
    text = without_twin(source.read_text(encoding="utf-8"))
    for key in ("lift", "settings"):
        text = text.replace(f'\n{key} = "', f'\n{key} = "{source.parent.as_posix()}/')
    path = folder / "faulted.toml"
    path.write_text(text + "".join(tables), encoding="utf-8")
    return load_scenario(path, sets)


def judged(scenario: Scenario, clock: str = "flat") -> tuple[Result, Any]:
    """Result and flight of a scenario."""
    from scenarios.result import result_of
    from scenarios.runner import fly
    from scenarios.wiring import stored_energy

    flight = fly(scenario, None, clock)
    return result_of(flight, stored_energy(flight.rig), scenario.limits, "faulted.toml"), flight
