"""Rows of the script from the moves and faults of a scenario file."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from scenarios.build_faults import deed
from scenarios.files.lift import Lift
from scenarios.files.moves import Move
from scenarios.files.scenario import ScenarioFile
from scenarios.files.settings import Settings
from scenarios.files.when import Timed
from scenarios.rig import MAX_ROWS, Action, Trigger
from sync.modes import Command, Mode

__all__ = ["PAUSE_S", "fill_script", "latest_end"]

PAUSE_S = 0.5
"""Rest before a move that names none."""
ALL = -1
US = 1e6


@dataclass(frozen=True)
class Row:
    """One row of the script, as ``scenarios.rig.SCRIPT_ROW`` has it."""

    trigger: Trigger
    at: float
    action: Action
    leg: int = ALL
    values: tuple[float, ...] = ()
    move: bool = False
    of: int = ALL
    needs: int = 0
    delay: float = 0.0


def fill_script(rig: Any, file: ScenarioFile, names: tuple[str, ...]) -> None:
    """Write the rows: the moves first, since READY and AFTER look at the row before, then the faults with their ends.

    Parameters
    ----------
    rig
        One record of ``scenarios.rig.rig_dtype()``.
    file
        The scenario file.
    names
        Names of the legs, in order.
    """
    rows, places = _all_move_rows(file)
    parts = [(fault, leg) for fault in file.fault for leg in _parts(fault, names)]
    at = len(rows)
    for fault, _ in parts:
        if fault.name is not None:
            places.setdefault(fault.name, at)
        at += 1 if _lasts(fault) is None else 2
    for fault, leg in parts:
        rows += _fault_rows(fault, leg, names, places, len(rows))
    assert len(rows) <= MAX_ROWS
    rig["rows"] = len(rows)
    for record, row in zip(rig["script"], rows, strict=False):
        for field in ("trigger", "at", "action", "leg", "move", "of", "needs", "delay"):
            record[field] = getattr(row, field)
        record["values"][: len(row.values)] = row.values


def _all_move_rows(file: ScenarioFile) -> tuple[list[Row], dict[str, int]]:
    """Rows of every order, and the index of the first row of each that has a name."""
    rows: list[Row] = []
    places: dict[str, int] = {}
    for move in file.move:
        if move.name is not None:
            places[move.name] = len(rows)
        rows += _move_rows(move, len(rows))
    return rows, places


def latest_end(file: ScenarioFile, settings: Settings, lift: Lift) -> float:
    """When a rehearsal ends at the latest [s], where the file does not say.

    Each move may take its pause and the firmware's own move time-out, a homing twice that, and a coast of 5 s; a fault that comes
    by a condition may come at the end of all that.
    """
    if file.end_s is not None:
        return file.end_s
    del lift
    end = 1.0
    for move in file.move:
        begin = move.at_s if move.at_s is not None else end + (PAUSE_S if move.pause_s is None else move.pause_s)
        own = move.for_s or move.off_after_s or settings.guards.move_timeout_s
        end = max(end, begin + own + 5.0 + (move.times or 0) * (move.every_s or 0.0))
    lasting = [(fault, (fault.after_s or 0.0) + (_lasts(fault) or 0.0)) for fault in file.fault]
    return max([end, *((end if fault.at_s is None else fault.at_s + 1.0) + span for fault, span in lasting)])


def _lasts(fault: Timed) -> float | None:
    """How long a fault lasts [s]; None where it stays."""
    span: float | None = getattr(fault, "for_s", None)
    return span


def _parts(fault: Timed, names: tuple[str, ...]) -> list[int]:
    """Legs of a fault, a row each: what ends again is remembered leg by leg, all else is one row for all."""
    if fault.leg is not None:
        return [names.index(fault.leg)]
    if _lasts(fault) is None or fault.whole:
        return [ALL]
    return list(range(len(names)))


def _when(move: Move, place: int) -> dict[str, Any]:
    if move.at_s is not None:
        return {"trigger": Trigger.TIME, "at": round(move.at_s * US)}
    if move.in_coast_s is not None:
        return {"trigger": Trigger.COAST, "at": 0.0, "needs": place, "delay": round(move.in_coast_s * US)}
    return {"trigger": Trigger.READY, "at": round((PAUSE_S if move.pause_s is None else move.pause_s) * US)}


def _move_rows(move: Move, place: int) -> list[Row]:
    """Rows of one order from index ``place`` on: the order itself, and the release or the power-off that belongs to it."""
    when = _when(move, place)
    if move.drive_duty is not None and move.off_after_s is not None:
        off = Action.BRAKE if move.off == "brake" else Action.POWER_OFF
        drive = Row(**when, action=Action.POWER_ON, values=(move.drive_duty,), move=True)
        return [drive, Row(Trigger.AFTER, round(move.off_after_s * US), off)]
    if move.to_mm is not None:
        return [_order(when, Command.GO, move.to_mm * 1e-3)]
    if move.home:
        return [_order(when, Command.HOME)]
    if move.clear:
        return [_order(when, Command.CLEAR)]
    press = Command.PRESS_UP if (move.press or move.jab) == "up" else Command.PRESS_DOWN
    held = move.for_s or move.held_s
    assert held is not None
    release = _order({"trigger": Trigger.AFTER, "at": round(held * US)}, Command.RELEASE)
    rows = [_order(when, press), release]
    for _ in range((move.times or 1) - 1):
        assert move.every_s is not None
        rows += [_order({"trigger": Trigger.AFTER, "at": round((move.every_s - held) * US)}, press), release]
    return rows


def _order(when: dict[str, Any], command: Command, target: float = 0.0) -> Row:
    moves = command not in (Command.CLEAR, Command.RELEASE)
    return Row(**when, action=Action.COMMAND, values=(float(command), target), move=moves)


def _fault_rows(fault: Timed, leg: int, names: tuple[str, ...], places: dict[str, int], place: int) -> list[Row]:
    """The row of a fault on one leg (or all), at index ``place``, and the one that ends it."""
    action, values = deed(fault, names)
    row = Row(**_condition(fault, leg, names, places), action=action, leg=leg, values=values, delay=round((fault.after_s or 0.0) * US))
    span = _lasts(fault)
    if span is None:
        return [row]
    return [row, Row(Trigger.EVENT, 0.0, Action.END, leg, (float(place),), of=place, delay=round(span * US))]


def _condition(fault: Timed, leg: int, names: tuple[str, ...], places: dict[str, int]) -> dict[str, Any]:
    """Trigger, threshold, what it looks at, and the row that must come before."""
    before = 0 if fault.on is None else places[fault.on] + 1
    height_of = ALL if fault.height_of is None else names.index(fault.height_of)
    if fault.at_s is not None:
        return {"trigger": Trigger.TIME, "at": float(round(fault.at_s * US)), "needs": before}
    if fault.at_mm_above is not None:
        return {"trigger": Trigger.ABOVE, "at": fault.at_mm_above * 1e-3, "of": height_of, "needs": before}
    if fault.at_mm_below is not None:
        return {"trigger": Trigger.BELOW, "at": fault.at_mm_below * 1e-3, "of": height_of, "needs": before}
    if fault.at_mode is not None:
        return {"trigger": Trigger.MODE, "at": 0.0, "of": int(Mode[fault.at_mode.upper()]), "needs": before}
    if fault.at_commutation is not None:
        return {"trigger": Trigger.COMMUTATION, "at": float(fault.at_commutation), "of": leg, "needs": before}
    if fault.during is not None:
        return {"trigger": Trigger.START if fault.during == "start" else Trigger.COAST, "at": 0.0, "of": leg, "needs": before}
    return {"trigger": Trigger.EVENT, "at": 0.0, "of": before - 1}
