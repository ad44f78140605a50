"""Rows of the script from the moves and faults of a scenario file."""

from __future__ import annotations

from typing import Any

from scenarios.files.lift import Lift
from scenarios.files.moves import Extra, Fault, Guide, Lose, Move, Payload, Supply, ThreadFriction
from scenarios.files.scenario import ScenarioFile
from scenarios.files.settings import Settings
from scenarios.rig import MAX_ROWS, Action, Trigger
from sync.modes import Command

__all__ = ["PAUSE_S", "fill_script", "latest_end"]

PAUSE_S = 0.5
"""Rest before a move that names none."""
ALL = -1

Row = tuple[Trigger, float, Action, int, tuple[float, ...], bool]


def fill_script(rig: Any, file: ScenarioFile, names: tuple[str, ...]) -> None:
    """Write the rows: the moves first, since READY and AFTER look at the row before, then the faults.

    Parameters
    ----------
    rig
        One record of ``scenarios.rig.rig_dtype()``.
    file
        The scenario file.
    names
        Names of the legs, in order.
    """
    rows = [row for move in file.move for row in _move_rows(move)]
    rows += [_fault_row(fault, names) for fault in file.fault]
    assert len(rows) <= MAX_ROWS
    rig["rows"] = len(rows)
    for record, (trigger, at, action, leg, values, is_move) in zip(rig["script"], rows, strict=False):
        record["trigger"] = trigger
        record["at"] = at
        record["action"] = action
        record["leg"] = leg
        record["values"][: len(values)] = values
        record["move"] = is_move


def latest_end(file: ScenarioFile, settings: Settings, lift: Lift) -> float:
    """When a rehearsal ends at the latest [s], where the file does not say.

    Each move may take its pause and the firmware's own move time-out, a homing twice that, and a coast of 5 s.
    """
    if file.end_s is not None:
        return file.end_s
    del lift
    end = 1.0
    for move in file.move:
        begin = move.at_s if move.at_s is not None else end + (PAUSE_S if move.pause_s is None else move.pause_s)
        own = move.for_s or move.off_after_s or settings.guards.move_timeout_s
        end = max(end, begin + own + 5.0)
    times = [fault.at_s for fault in file.fault if fault.at_s is not None]
    return max([end, *(time + 1.0 for time in times)])


def _move_rows(move: Move) -> list[Row]:
    """Rows of one order: the order itself, and the release or the power-off that belongs to it."""
    if move.at_s is not None:
        trigger, at = Trigger.TIME, round(move.at_s * 1e6)
    else:
        trigger, at = Trigger.READY, round((PAUSE_S if move.pause_s is None else move.pause_s) * 1e6)

    def order(command: Command, target: float = 0.0) -> Row:
        return trigger, at, Action.COMMAND, ALL, (float(command), target), command is not Command.CLEAR

    if move.to_mm is not None:
        return [order(Command.GO, move.to_mm * 1e-3)]
    if move.home:
        return [order(Command.HOME)]
    if move.clear:
        return [order(Command.CLEAR)]
    if move.press is not None and move.for_s is not None:
        release: Row = (Trigger.AFTER, round(move.for_s * 1e6), Action.COMMAND, ALL, (float(Command.RELEASE),), False)
        return [order(Command.PRESS_UP if move.press == "up" else Command.PRESS_DOWN), release]
    assert move.drive_duty is not None
    assert move.off_after_s is not None
    off = Action.BRAKE if move.off == "brake" else Action.POWER_OFF
    return [
        (trigger, at, Action.POWER_ON, ALL, (move.drive_duty,), True),
        (Trigger.AFTER, round(move.off_after_s * 1e6), off, ALL, (), False),
    ]


def _fault_row(fault: Fault, names: tuple[str, ...]) -> Row:
    leg = ALL if fault.leg is None else names.index(fault.leg)
    if fault.at_s is not None:
        trigger, at = Trigger.TIME, float(round(fault.at_s * 1e6))
    elif fault.at_mm_above is not None:
        trigger, at = Trigger.ABOVE, fault.at_mm_above * 1e-3
    else:
        assert fault.at_mm_below is not None
        trigger, at = Trigger.BELOW, fault.at_mm_below * 1e-3
    action, values = _fault_action(fault)
    return trigger, at, action, leg, values, False


def _fault_action(fault: Fault) -> tuple[Action, tuple[float, ...]]:
    match fault:
        case Lose():
            return Action.LOSE_COUNTS, (fault.counts,)
        case Extra():
            return Action.EXTRA_COUNTS, (fault.counts, fault.spacing_us * 1e-6)
        case Payload():
            return Action.PAYLOAD, (fault.mass_kg, fault.at_mm[0] * 1e-3, fault.at_mm[1] * 1e-3)
        case ThreadFriction():
            return Action.FRICTION, (fault.factor,)
        case Guide():
            return Action.GUIDE, (fault.friction_n,)
        case Supply():
            return Action.SUPPLY, (fault.open_voltage_v,)
    return (Action.BRAKE if fault.off == "brake" else Action.POWER_OFF), ()
