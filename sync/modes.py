"""Modes, commands and reasons of the controller: each a value with the sentence an engineer reads and the remedy."""

from __future__ import annotations

from enum import IntEnum

__all__ = ["CAUSE_WORDS", "MODE_WORDS", "REASON_WORDS", "Answer", "Cause", "Command", "Correction", "Law", "Mode", "Reason"]


class Mode(IntEnum):
    """What the controller is doing."""

    UNREFERENCED = 0
    HOMING = 1
    READY = 2
    MOVING = 3
    SETTLING = 4
    RETREATING = 5
    FAULTED = 6


class Command(IntEnum):
    """What the operator asks for."""

    NONE = 0
    GO = 1
    PRESS_UP = 2
    PRESS_DOWN = 3
    RELEASE = 4
    HOME = 5
    CLEAR = 6


class Law(IntEnum):
    """Levelling laws."""

    NONE = 0
    CROSS_COUPLING = 1
    GATING = 2
    FOLLOW = 3
    COMMON_REFERENCE = 4
    RING = 5
    MODAL = 6


class Answer(IntEnum):
    """What the controller does once its counts are not to be trusted."""

    WARN = 0  # say it, ask to be homed, go on
    FINISH_AND_HOME = 1  # finish the move, then home without an order
    STOP = 2  # stop at once; refuse to move until cleared and homed


class Correction(IntEnum):
    """How pulses become counts while a leg runs."""

    NONE = 0  # every pulse counts
    PLAUSIBILITY = 1  # by the period before: doubles rejected, single misses inserted
    TRACKING = 2  # by a loop on the back-EMF speed: also a few misses in a row


class Cause(IntEnum):
    """Which test suspects the count of a leg."""

    NONE = 0
    BURST = 1
    CORRECTIONS = 2
    COAST = 3
    STOP = 4
    HOMINGS = 5


CAUSE_WORDS: dict[Cause, tuple[str, str]] = {
    Cause.NONE: ("no test", "no test"),
    Cause.BURST: (
        "a burst was not heard while driven: weak or dead channel, loose wire, supply dip",
        "a burst of false pulses while driven: doubles, interference, cross-talk of another leg",
    ),
    Cause.CORRECTIONS: (
        "many single misses had to be inserted: weak segment or low threshold margin",
        "many pulses had to be rejected: doubles or noise",
    ),
    Cause.COAST: (
        "coasts are heard shorter than they should be: low amplitude or high threshold, or more friction",
        "coasts are heard longer than they should be: false pulses after the cut, or less friction",
    ),
    Cause.STOP: (
        "the end stop was met below where the count said: counts lost raising or gained lowering",
        "the end stop was met above where the count said: counts gained raising or lost lowering",
    ),
    Cause.HOMINGS: (
        "the end stop was met a little too low in several homings: a bias of the counts",
        "the end stop was met a little too high in several homings: a bias of the counts",
    ),
}
"""Likely cause of counts that seem lost, and of counts that seem gained."""


class Reason(IntEnum):
    """Why the controller stopped or refused."""

    NONE = 0
    NOT_REFERENCED = 1
    BUSY = 2
    STALL = 3
    NO_PULSES = 4
    TILT = 5
    TIMEOUT = 6
    HOMING_BUDGET = 7
    OUT_OF_TRAVEL = 8
    STOPPED = 9
    PINCH_RAISING = 20
    PINCH_LOWERING = 21
    PINCH_RETREATING = 22
    TOO_HOT = 23
    OVERLOAD = 24
    SUPPLY_LOW = 25
    OVER_CURRENT = 26
    BUDGET_SPENT = 30
    POWER_FAIL = 31
    POSITION_UNCERTAIN = 32
    DEBRIS = 33
    DRIFT = 34
    POSITION_LOST = 35
    SAVE_DAMAGED = 36


MODE_WORDS: dict[Mode, tuple[str, str]] = {
    Mode.UNREFERENCED: ("The position is unknown.", "Home the lift at its end stops."),
    Mode.HOMING: ("The legs run slowly to their end stops.", "Wait until every leg has met its stop."),
    Mode.READY: ("At rest, positions known.", "Give the next order."),
    Mode.MOVING: ("The legs run and are held level.", "Wait, or release."),
    Mode.SETTLING: ("Power is off, counts still arrive.", "Wait until it is quiet."),
    Mode.RETREATING: ("Backing away from an obstacle, all legs together.", "Remove the obstacle."),
    Mode.FAULTED: ("Stopped by a guard; no motor is powered.", "Find the reason, clear it, home the lift."),
}

REASON_WORDS: dict[Reason, tuple[str, str]] = {
    Reason.NONE: ("Nothing to report.", ""),
    Reason.NOT_REFERENCED: ("The order was refused: the position is unknown.", "Home the lift first."),
    Reason.BUSY: ("The order was refused: the lift is not at rest.", "Wait until it is ready."),
    Reason.STOPPED: ("The order was refused: a guard has stopped the lift.", "Find the reason, clear it, home the lift."),
    Reason.STALL: (
        "A leg gave no pulse while its current was high: it is blocked.",
        "Remove what blocks it, or raise stall.current_a if it was only heavy load.",
    ),
    Reason.NO_PULSES: (
        "A powered leg gave no pulse at low current: wire or detector.",
        "Check the motor wires and the detector of this leg.",
    ),
    Reason.TILT: (
        "The counted heights differ by more than the tilt limit, or a homing drove the legs so far apart.",
        "Look for a weak leg or lost counts; raise guards.tilt_limit_mm only with a reason.",
    ),
    Reason.TIMEOUT: ("The move took longer than allowed.", "Check load, supply and guards.move_timeout_s."),
    Reason.HOMING_BUDGET: (
        "A leg did not meet its stop within the homing budget after the first one did.",
        "Check for debris under the first leg, or widen homing.budget_mm.",
    ),
    Reason.BUDGET_SPENT: (
        "The counts may be off by more than the uncertainty budget.",
        "Home the lift; widen trust.budget_mm only if the level tolerance allows it.",
    ),
    Reason.POWER_FAIL: (
        "The supply failed: the motors were switched off and the position is saved.",
        "Restore the supply; after a failure in a move, home the lift.",
    ),
    Reason.POSITION_UNCERTAIN: (
        "Power failed in a move: the position is known only to within its stated uncertainty, and moves run at homing speed.",
        "Home the lift.",
    ),
    Reason.DRIFT: (
        "The count of a leg is suspected of drift; the events name leg, sign and likely cause.",
        "Home the lift; look at the detector of this leg.",
    ),
    Reason.POSITION_LOST: (
        "Power failed in a move before the position could be saved.",
        "Home the lift; give the logic a hold-up that outlasts the coast.",
    ),
    Reason.SAVE_DAMAGED: (
        "The saved position does not fit its check sum.",
        "Home the lift; look for a hold-up shorter than the time to save.",
    ),
    Reason.DEBRIS: (
        "A leg met its end stop at two heights that disagree, or not where it should be: something lies on the stop.",
        "Clean the end stop of this leg, clear the fault, home again; widen homing.debris_mm only with a reason.",
    ),
    Reason.OUT_OF_TRAVEL: ("The order was refused: the target lies outside the travel.", "Choose a target between the travel limits."),
    Reason.PINCH_RAISING: (
        "Raising, the current of a leg rose as if the deck pressed on something; all legs went back.",
        "Remove what is above the deck; if nothing is there, look for stiff guides, or raise pinch.rise_a with a reason.",
    ),
    Reason.PINCH_LOWERING: (
        "Lowering, the load of a leg went over to something under the deck; all legs went back.",
        "Remove what is under the deck; if nothing is there, raise pinch.fall_a or pinch.rise_a with a reason.",
    ),
    Reason.PINCH_RETREATING: (
        "Going back from one obstacle the deck met another; all legs stopped there.",
        "Free the deck by hand from both sides before the next order, or shorten pinch.retreat_mm.",
    ),
    Reason.TOO_HOT: (
        "A winding is estimated too hot: the move was ended level, or not begun.",
        "Let the drive cool down; if it is cool, check the [warmth] table and the current measurement.",
    ),
    Reason.OVERLOAD: (
        "The running current of the raise tells of more payload than guards.overload_kg; the move was ended level.",
        "Take load off; every new raise is weighed again.",
    ),
    Reason.SUPPLY_LOW: (
        "The supply fell below guards.supply_low_v: all motors were shed, the counting went on.",
        "Check supply and wiring, or start the legs more softly (speed.soft_start_ms, speed.stagger_ms).",
    ),
    Reason.OVER_CURRENT: (
        "A leg drew more than guards.over_current_a: a short circuit, or a bridge that does not limit.",
        "Check motor, wires and bridge of this leg before clearing the fault.",
    ),
}
