"""What happened, in words: the event log of a rig as sentences with time, leg and value."""

from __future__ import annotations

from collections.abc import Sequence
from enum import IntEnum
from typing import Any

from scenarios.rig import MAX_EVENTS, Action, Happening
from scenarios.summary import Event
from sync.modes import CAUSE_WORDS, MODE_WORDS, REASON_WORDS, Cause, Command, Mode, Reason

__all__ = ["REPORTED_FROM", "tell_absent", "tell_events", "tell_row", "word_of"]

REPORTED_FROM = 40
"""Happenings from this number on are reports of the controller, with a word of their own."""

_ORDERS = {
    Command.NONE: "no order",
    Command.PRESS_UP: "order: up, held",
    Command.PRESS_DOWN: "order: down, held",
    Command.RELEASE: "order: released",
    Command.HOME: "order: home all legs",
    Command.CLEAR: "order: clear the fault",
}

_DEEDS = {
    Action.EXTRA_COUNTS: "{0:g} false pulses injected",
    Action.LOSE_COUNTS: "the next {0:g} commutations are not heard",
    Action.PAYLOAD: "payload becomes {0:g} kg at ({mm1:g}, {mm2:g}) mm",
    Action.FRICTION: "thread friction is multiplied by {0:g}",
    Action.POWER_OFF: "power off, past the controller",
    Action.POWER_ON: "driven at duty {0:g}, past the controller",
    Action.SUPPLY: "open-circuit supply becomes {0:g} V",
    Action.GUIDE: "guide friction becomes {0:g} N",
    Action.BRAKE: "motor shorted, past the controller",
    Action.OBSTACLE: "an obstacle of {per_mm3:g} N/mm",
    Action.LEAN: "somebody leans on the deck with {2:g} N",
    Action.RATES: "the detector errs more often",
    Action.WEAK: "commutation {0:g} of every revolution is missed with probability {1:g}",
    Action.TAIL: "below {0:g} rad/s of the motor a coast is not heard",
    Action.DEAD: "the counting channel is dead",
    Action.STUCK_HIGH: "the counting channel is stuck high",
    Action.SWAP: "the counting inputs of this leg and another are exchanged",
    Action.SPRINGBACK: "{0:g} false pulses of springing back after each stop",
    Action.INTERFERENCE: "interference from outside, {0:g} false pulses per second",
    Action.CROSSTALK: "a neighbour's commutations are heard with probability {0:g}",
    Action.SUPPLY_STEP: "a step of the supply by {1:g} V makes {0:g} false pulses",
    Action.REVERSED: "the motor's wires are exchanged",
    Action.BROKEN_WIRE: "a wire of the motor is broken",
    Action.BRIDGE_STUCK: "the bridge does not obey: {stuck}",
    Action.NO_LIMIT: "the current limit does not act",
    Action.SOURCE: "the resistance of the source becomes {0:g} ohm",
    Action.POWER_FAIL: "the mains is away",
    Action.JITTER: "the outputs come up to {us:g} us late",
    Action.MISSED_TICKS: "the controller misses the next {0:g} calls",
    Action.CLOCK_RATE: "the controller's clock is off by {percent:g} %",
    Action.DRAG: "the motor's Coulomb drag is multiplied by {0:g}, its viscous drag by {1:g}",
    Action.SAVE_DAMAGED: "a bit of the saved position flips",
    Action.JAM: "jams: its guide holds with {0:g} N",
    Action.BINDING: "guide binds: friction grows by {0:g} N from {mm1:g} to {mm2:g} mm",
    Action.SLIP: "gear slips: the nut falls by {mm0:g} mm behind its motor",
    Action.HAND: "spindle turned by hand, {mm0:g} mm at {mm1:g} mm/s",
    Action.VIBRATION: "vibration: break-away friction is multiplied by {0:g}",
    Action.DEBRIS: "debris of {mm0:g} mm and {per_mm1:g} N/mm",
}

_STUCK = {1: "it stays open", 2: "it stays on, at duty {0:g}", 3: "it shorts the motor instead of opening"}

_WORDS = {
    Happening.LEG_OFF: "switched off",
    Happening.LEG_ON: "switched on",
    Happening.STANDSTILL: "at rest",
    Happening.STALLED: "the controller calls this leg blocked",
    Happening.REJECTED: "pulses of this move rejected as doubles: {0:g}",
    Happening.INSERTED: "single missed pulses of this move inserted: {0:g}",
    Happening.DRIFT: "drift suspected: the count seems off by {0:+.0f}",
    Happening.RESIDUAL: "the stop was met at count {0:+g} by the zero before",
    Happening.PINCHED: "the controller decides on a pinch: the current is {0:+.2f} A off what the load so far should draw",
    Happening.RETREATED: "the retreat has ended {1:.1f} mm back, as counted",
    Happening.OVERFLOW: "more pulses than the buffer holds, {0:g} lost so far",
    Happening.TOUCHED: "the deck meets obstacle {0:g}",
    Happening.RELEASED: "the deck is free of the obstacle again; it felt at most {0:.1f} N",
    Happening.LOGIC_DOWN: "the logic stops for want of power, at {0:.2f} V",
    Happening.LOGIC_UP: "the logic starts again, at {0:.2f} V",
    Happening.SUPPLY_FAILS: "the supply is reported as failing, at {0:.2f} V",
    Happening.SUPPLY_BACK: "the supply is reported as good again, at {0:.2f} V",
}


def tell_row(row: Any, script: Any) -> str:
    """What one row of the script does.

    Parameters
    ----------
    row
        One record of the script.
    script
        All of it: the row that ends another is told by that one.
    """
    action, values = Action(int(row["action"])), row["values"]
    if action is Action.END:
        return f"over: {tell_row(script[int(values[0])], script)}"
    if action is Action.COMMAND:
        command = Command(int(values[0]))
        return f"order: go to {1e3 * values[1]:.2f} mm" if command is Command.GO else _ORDERS[command]
    millimetres = {f"mm{i}": 1e3 * float(value) for i, value in enumerate(values)}
    per_millimetre = {f"per_mm{i}": 1e-3 * float(value) for i, value in enumerate(values)}
    first, second = float(values[0]), float(values[1])
    other = {"us": 1e6 * first, "percent": 1e2 * first, "stuck": _STUCK.get(int(first), "").format(second)}
    text = _DEEDS[action].format(*(float(value) for value in values), **millimetres, **per_millimetre, **other)
    if action is Action.PAYLOAD and values[3] > 0.0:
        return f"{text}, over {values[3]:g} s"
    if action is Action.DEBRIS:
        return f"{text} on the {'upper' if values[2] == 1.0 else 'lower'} stop"
    return text + _point(row) if action in (Action.OBSTACLE, Action.LEAN) else text


def _point(row: Any) -> str:
    """Where an obstacle or a leaning person is."""
    x, y, place, _, side, is_gap = (float(value) for value in row["values"])
    text = "" if int(row["leg"]) >= 0 else f" at ({1e3 * x:g}, {1e3 * y:g}) mm"
    if int(row["action"]) == Action.LEAN:
        return text
    where = "above" if side > 0.0 else "below"
    return f" {where} the deck{text}, {f'{1e3 * place:g} mm away' if is_gap else f'its face at {1e3 * place:g} mm'}"


def word_of(number: IntEnum) -> str:
    """Name of a reason or happening as files and results write it."""
    return number.name.lower().replace("_", "-")


def _word(what: Happening, value: float) -> str:
    if what in (Happening.REASON, Happening.REFUSED):
        return word_of(Reason(int(value)))
    return word_of(what) if what >= REPORTED_FROM else ""


def _text(what: Happening, value: float, script: Any) -> str:
    if what is Happening.MODE:
        mode = Mode(int(value))
        return f"{mode.name.lower()}: {MODE_WORDS[mode][0]}"
    if what is Happening.ROW:
        return tell_row(script[int(value)], script)
    if what in (Happening.REASON, Happening.REFUSED):
        text, remedy = REASON_WORDS[Reason(int(value))]
        return f"{text} {remedy}".strip()
    if what is Happening.HOMING_ASKED:
        return f"homing is asked for: {REASON_WORDS[Reason(int(value))][0]}"
    if what is Happening.CAUSE:
        return f"likely cause: {CAUSE_WORDS[Cause(int(abs(value)))][0 if value < 0.0 else 1]}"
    if what is Happening.SAVED:
        return f"position saved without power, {'while coasting' if value == 1.0 else 'at rest'}"
    return _WORDS[what].format(value, 1e3 * value)


def _leg(what: Happening, event: Any, script: Any) -> int:
    return int(script[int(event["value"])]["leg"]) if what is Happening.ROW else int(event["leg"])


def tell_absent(rig: Any, names: Sequence[str]) -> tuple[str, ...]:
    """Faults of the script that never came, in words: their condition was not met before the rehearsal ended.

    Parameters
    ----------
    rig
        One record of :func:`scenarios.rig.rig_dtype`.
    names
        Names of the legs.
    """
    script = rig["script"]
    absent = []
    for row in script[: int(rig["rows"])]:
        if row["fired"] or int(row["action"]) in (Action.COMMAND, Action.END):
            continue
        leg = int(row["leg"])
        absent.append(f"{tell_row(row, script)}{f' ({names[leg]})' if 0 <= leg < len(names) else ''}")
    return tuple(absent)


def tell_events(rig: Any, names: Sequence[str]) -> tuple[tuple[Event, ...], int]:
    """Events of a flown rig in words, and how many did not fit into its log.

    Parameters
    ----------
    rig
        One record of :func:`scenarios.rig.rig_dtype`.
    names
        Names of the legs; an event of the whole machine has leg ``None``.
    """
    total = int(rig["events"])
    told = []
    for event in rig["log"][: min(total, MAX_EVENTS)]:
        what = Happening(int(event["what"]))
        leg = _leg(what, event, rig["script"])
        value = float(event["value"])
        name = names[leg] if 0 <= leg < len(names) and what is not Happening.MODE else None
        told.append(
            Event(float(event["time_us"]) / 1e6, what.name.lower(), name, _text(what, value, rig["script"]), value, _word(what, value))
        )
    return tuple(told), max(0, total - MAX_EVENTS)
