"""Whether the faults of a scenario fit its moves and its lift: legs and names that exist, nothing that waits for itself."""

from __future__ import annotations

from collections.abc import Iterator

from scenarios.files.faults_mechanics import Lean, Obstacle
from scenarios.files.lift import Lift
from scenarios.files.lines import Path
from scenarios.files.scenario import ScenarioFile
from scenarios.files.slips import did_you_mean

__all__ = ["fault_complaints"]

Finding = tuple[Path, str]

LEG_KEYS = ("leg", "height_of")
"""Keys of a fault that name a leg."""
MOST_CONTACTS = 4
"""Obstacles and people who lean: as many as ``plant.contact_records`` has room for."""
MOST_ROWS = 250
"""Orders, releases, faults and their ends together."""


def fault_complaints(file: ScenarioFile, lift: Lift) -> Iterator[Finding]:
    """What does not fit: path of the key in the scenario file and what is wrong."""
    for i, fault in enumerate(file.fault):
        for key in LEG_KEYS:
            name = getattr(fault, key, None)
            if name is not None and name not in lift.names:
                yield ("fault", i, key), f'fault[{i + 1}].{key} = "{name}": there is no such leg{did_you_mean(name, lift.names)}'
    contacts = sum(isinstance(fault, Obstacle | Lean) for fault in file.fault)
    if contacts > MOST_CONTACTS:
        yield ("fault",), f"fault: holds {contacts} obstacles and leans together, at most {MOST_CONTACTS} fit"
    yield from _names(file)
    yield from _coasts(file)
    if _rows(file, lift) > MOST_ROWS:
        yield ("move",), f"moves and faults make {_rows(file, lift)} steps, at most {MOST_ROWS} fit: use fewer, or lower move.times"


def _rows(file: ScenarioFile, lift: Lift) -> int:
    """Steps of the script that moves and faults make."""
    rows = sum(2 * move.times if move.times else 1 + (move.press is not None or move.drive_duty is not None) for move in file.move)
    for fault in file.fault:
        lasts = getattr(fault, "for_s", None) is not None
        rows += (2 * (1 if fault.whole or fault.leg else len(lift.leg))) if lasts else 1
    return rows


def _names(file: ScenarioFile) -> Iterator[Finding]:
    """Names used twice, events that do not exist, faults that wait for each other."""
    known: set[str] = set()
    for kind, tables in (("move", file.move), ("fault", file.fault)):
        for i, one in enumerate(tables):
            if one.name in known:
                yield (kind, i, "name"), f'{kind}[{i + 1}].name = "{one.name}": is used twice'
            known |= {one.name} if one.name is not None else set()
    waits = {fault.name: fault.on for fault in file.fault if fault.name is not None and fault.on is not None}
    for i, fault in enumerate(file.fault):
        if fault.on is not None and fault.on not in known:
            hint = did_you_mean(fault.on, sorted(known)) if known else "; give the move or fault it waits for a name"
            yield ("fault", i, "on"), f'fault[{i + 1}].on = "{fault.on}": no move or fault has this name{hint}'
        elif fault.name is not None and _waits_for_itself(fault.name, waits):
            yield ("fault", i, "on"), f'fault[{i + 1}].on = "{fault.on}": waits for itself and never comes'


def _waits_for_itself(name: str, waits: dict[str, str]) -> bool:
    at = waits.get(name)
    for _ in waits:
        if at is None or at == name:
            break
        at = waits.get(at)
    return at == name


def _coasts(file: ScenarioFile) -> Iterator[Finding]:
    if file.move[0].in_coast_s is not None:
        yield ("move", 0, "in_coast_s"), "move[1].in_coast_s: there is no order before it that could coast"
