"""Kernels know no enums, only numbers: each stands for the same thing as in its enum, in every module that writes it again."""

from __future__ import annotations

from enum import IntEnum
from types import ModuleType

import pytest

import plant.contact_records
import plant.records
import sync.records
from scenarios import conduct, log, logic, rig, score, script, script_counting, script_electric, script_mechanics, triggers
from scenarios.files import fault_agreement
from scenarios.rig import Action, Happening, Trigger
from sync import guards, homing, levelling, orders, power, protection, pulses, retreat, tick, trust, waiting
from sync.modes import Answer, Cause, Command, Correction, Law, Mode, Reason

POWER = (Happening.LOGIC_DOWN, Happening.LOGIC_UP, Happening.SUPPLY_FAILS, Happening.SUPPLY_BACK)
NOT_SCORED = (Happening.ROW, Happening.STANDSTILL, *POWER)
"""Logged by the script, by the power of the logic, and under another name."""

NUMBERS: list[tuple[ModuleType, str, IntEnum]] = [
    *((orders, f"_{mode.name}", mode) for mode in (Mode.UNREFERENCED, Mode.HOMING, Mode.READY, Mode.MOVING, Mode.FAULTED)),
    *((orders, f"_{order.name}", order) for order in (Command.GO, Command.RELEASE, Command.HOME, Command.CLEAR)),
    (orders, "_UP", Command.PRESS_UP),
    (orders, "_DOWN", Command.PRESS_DOWN),
    *((orders, f"_{why.name}", why) for why in (Reason.NOT_REFERENCED, Reason.BUSY, Reason.OUT_OF_TRAVEL, Reason.STOPPED, Reason.TOO_HOT)),
    *((tick, f"_{mode.name}", mode) for mode in Mode),
    *((tick, f"_{why.name}", why) for why in (Reason.TILT, Reason.TIMEOUT, Reason.HOMING_BUDGET)),
    *((protection, f"_{mode.name}", mode) for mode in (Mode.HOMING, Mode.MOVING, Mode.SETTLING)),
    *((protection, f"_{why.name}", why) for why in (Reason.TOO_HOT, Reason.OVERLOAD, Reason.SUPPLY_LOW, Reason.OVER_CURRENT)),
    *((retreat, f"_{mode.name}", mode) for mode in (Mode.SETTLING, Mode.RETREATING)),
    (retreat, "_RAISING", Reason.PINCH_RAISING),
    (retreat, "_LOWERING", Reason.PINCH_LOWERING),
    (retreat, "_TWICE", Reason.PINCH_RETREATING),
    (score, "_RETREATING", Mode.RETREATING),
    (guards, "_FREE", Reason.NONE),
    (guards, "_STALL", Reason.STALL),
    (guards, "_NO_PULSES", Reason.NO_PULSES),
    (homing, "_DEBRIS", Reason.DEBRIS),
    *((log, f"_{what.name}", what) for what in Happening if 50 <= what.value < 60),
    *((trust, f"_{cause.name}", cause) for cause in Cause if cause is not Cause.NONE),
    (trust, "_DRIFT", Reason.DRIFT),
    (tick, "_TRACKING", Correction.TRACKING),
    (pulses, "_TRACKING", Correction.TRACKING),
    (pulses, "_ALL", Correction.NONE),
    (tick, "_DRIFT", Reason.DRIFT),
    (tick, "_BUDGET_SPENT", Reason.BUDGET_SPENT),
    (tick, "_FINISH_AND_HOME", Answer.FINISH_AND_HOME),
    (tick, "_STOP", Answer.STOP),
    (orders, "_POWER_FAIL", Reason.POWER_FAIL),
    *((power, f"_{mode.name}", mode) for mode in Mode if mode is not Mode.FAULTED),
    *((power, f"_{why.name}", why) for why in (Reason.POWER_FAIL, Reason.POSITION_UNCERTAIN, Reason.POSITION_LOST, Reason.SAVE_DAMAGED)),
    (levelling, "_NONE", Law.NONE),
    (levelling, "_CROSS", Law.CROSS_COUPLING),
    (levelling, "_GATING", Law.GATING),
    (levelling, "_FOLLOW", Law.FOLLOW),
    (levelling, "_REFERENCE", Law.COMMON_REFERENCE),
    (levelling, "_RING", Law.RING),
    (levelling, "_MODAL", Law.MODAL),
    *((triggers, f"_{trigger.name}", trigger) for trigger in Trigger if trigger is not Trigger.COAST),
    (script, "_READY", Trigger.READY),
    *((script, f"_{action.name}", action) for action in (Action.COMMAND, Action.PAYLOAD, Action.FRICTION, Action.GUIDE, Action.END)),
    *((module, "_EXTRA", Action.EXTRA_COUNTS) for module in (script, script_counting)),
    *((module, "_LOSE", Action.LOSE_COUNTS) for module in (script, script_counting)),
    (script, "_FIRST_COUNTING", Action.RATES),
    (script, "_LAST_COUNTING", Action.SUPPLY_STEP),
    *(
        (script_mechanics, f"_{action.name}", action)
        for action in (Action.PAYLOAD, Action.FRICTION, Action.GUIDE, Action.OBSTACLE, Action.LEAN)
    ),
    *(
        (script_mechanics, f"_{action.name}", action)
        for action in (Action.JAM, Action.BINDING, Action.SLIP, Action.DEBRIS, Action.HAND, Action.VIBRATION)
    ),
    *(
        (script_counting, f"_{action.name}", action)
        for action in (Action.RATES, Action.WEAK, Action.TAIL, Action.DEAD, Action.STUCK_HIGH, Action.SWAP)
    ),
    (script_counting, "_SPRING", Action.SPRINGBACK),
    (script_counting, "_NOISE", Action.INTERFERENCE),
    (script_counting, "_TALK", Action.CROSSTALK),
    (script_counting, "_STEP", Action.SUPPLY_STEP),
    (script_electric, "_OFF", Action.POWER_OFF),
    (script_electric, "_ON", Action.POWER_ON),
    *(
        (script_electric, f"_{action.name}", action)
        for action in (Action.SUPPLY, Action.BRAKE, Action.REVERSED, Action.NO_LIMIT, Action.SOURCE, Action.POWER_FAIL)
    ),
    (script_electric, "_SAVE_DAMAGED", Action.SAVE_DAMAGED),
    (script_electric, "_JITTER", Action.JITTER),
    (script_electric, "_DRAG", Action.DRAG),
    (script_electric, "_BROKEN", Action.BROKEN_WIRE),
    (script_electric, "_STUCK", Action.BRIDGE_STUCK),
    (script_electric, "_MISSED", Action.MISSED_TICKS),
    (script_electric, "_RATE", Action.CLOCK_RATE),
    (logic, "_DOWN", Happening.LOGIC_DOWN),
    (logic, "_UP", Happening.LOGIC_UP),
    (logic, "_FAILS", Happening.SUPPLY_FAILS),
    (logic, "_BACK", Happening.SUPPLY_BACK),
    (script, "_ROW", Happening.ROW),
    (script, "_BUSY", Reason.BUSY),
    (waiting, "_MOVING", Mode.MOVING),
    (waiting, "_SETTLING", Mode.SETTLING),
    (waiting, "_GO", Command.GO),
    (waiting, "_UP", Command.PRESS_UP),
    (waiting, "_DOWN", Command.PRESS_DOWN),
    (orders, "_SETTLING", Mode.SETTLING),
    (score, "_MOVING", Mode.MOVING),
    *((score, f"_{what.name}", what) for what in Happening if what.value < 50 and what not in NOT_SCORED),
    (score, "_STILL", Happening.STANDSTILL),
    (conduct, "_RELEASE", Command.RELEASE),
    *((conduct, f"_{mode.name}", mode) for mode in Mode if mode is not Mode.SETTLING),
    (score, "_FAULTED", Mode.FAULTED),
]


@pytest.mark.parametrize(("module", "name", "meaning"), NUMBERS, ids=lambda part: getattr(part, "__name__", str(part)))
def test_a_kernel_writes_the_number_of_the_enum(module: ModuleType, name: str, meaning: IntEnum) -> None:
    assert getattr(module, name) == int(meaning)


def test_every_mode_is_rest_or_not_as_its_word_says() -> None:
    resting = [Mode(number) for number, rests in enumerate(score._AT_REST) if rests]

    assert resting == [Mode.UNREFERENCED, Mode.READY, Mode.FAULTED]


def test_machine_controller_and_score_lay_out_the_same_room() -> None:
    assert plant.records.CAPACITY == sync.records.CAPACITY
    assert plant.records.MAX_PULSES == sync.records.MAX_PULSES
    assert plant.contact_records.MAX_CONTACTS == fault_agreement.MOST_CONTACTS
    assert plant.records.MAX_COMMUTATIONS == sync.records.MAX_PERIODS
    assert score._RING == rig.RING
