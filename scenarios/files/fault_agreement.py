"""Whether the faults of a scenario fit its moves and its lift: legs and names that exist, nothing that waits for itself."""

from __future__ import annotations

from collections.abc import Iterator

from scenarios.files.faults_counting import Crosstalk, WeakSegment
from scenarios.files.faults_drive import PowerFail, SourceResistance
from scenarios.files.faults_mechanics import Lean, Obstacle
from scenarios.files.lift import Lift
from scenarios.files.lines import Path
from scenarios.files.scenario import ScenarioFile
from scenarios.files.slips import did_you_mean

__all__ = ["fault_complaints"]

Finding = tuple[Path, str]

LEG_KEYS = ("leg", "with_leg", "from_leg", "height_of")
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
    yield from _supply(file, lift)
    yield from _segments(file, lift)
    yield from _names(file)
    yield from _coasts(file)
    if _rows(file, lift) > MOST_ROWS:
        yield ("move",), f"moves and faults make {_rows(file, lift)} steps, at most {MOST_ROWS} fit: use fewer, or lower move.times"


def _supply(file: ScenarioFile, lift: Lift) -> Iterator[Finding]:
    """Faults of the supply that this supply cannot have."""
    supply = lift.supply
    for i, fault in enumerate(file.fault):
        if isinstance(fault, PowerFail) and supply.capacitance_mf == 0:
            yield (
                ("fault", i, "what"),
                f'fault[{i + 1}].what = "power-fail": needs supply.capacitance_mf above 0 in the lift '
                "(without a capacitor the supply has no voltage of its own)",
            )
        if isinstance(fault, SourceResistance) and fault.resistance_ohm < supply.resistance_ohm:
            yield (
                ("fault", i, "resistance_ohm"),
                f"fault[{i + 1}].resistance_ohm = {fault.resistance_ohm:g}: must not be below supply.resistance_ohm = "
                f"{supply.resistance_ohm:g} of the lift (the sub-step is chosen for that one)",
            )


def _segments(file: ScenarioFile, lift: Lift) -> Iterator[Finding]:
    """Weak segments and crosstalk between legs that are there."""
    for i, fault in enumerate(file.fault):
        if isinstance(fault, WeakSegment):
            for leg in lift.leg:
                if fault.leg in (None, leg.name) and fault.segment >= leg.motor.commutations:
                    yield (
                        ("fault", i, "segment"),
                        f"fault[{i + 1}].segment = {fault.segment}: leg {leg.name} has {leg.motor.commutations} commutations per "
                        f"revolution, must be 0 to {leg.motor.commutations - 1}",
                    )
                    break
        if isinstance(fault, Crosstalk) and fault.from_leg is not None and fault.from_leg == fault.leg:
            yield ("fault", i, "from_leg"), f'fault[{i + 1}].from_leg = "{fault.from_leg}": must be another leg than leg'


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
