"""What each fault does, in SI: action and values of its script row, by the class of the fault."""

from __future__ import annotations

from scenarios.build_mechanics import MECHANICS
from scenarios.deeds import Deed, Deeds, Names
from scenarios.files.faults_counting import Extra, Lose
from scenarios.files.faults_drive import PowerOff, Supply
from scenarios.files.when import Timed
from scenarios.rig import Action

__all__ = ["deed"]


def _lose(fault: Lose, names: Names) -> Deed:
    del names
    return Action.LOSE_COUNTS, (fault.counts,)


def _extra(fault: Extra, names: Names) -> Deed:
    del names
    return Action.EXTRA_COUNTS, (fault.counts, fault.spacing_us * 1e-6)


def _supply(fault: Supply, names: Names) -> Deed:
    del names
    return Action.SUPPLY, (fault.open_voltage_v,)


def _power_off(fault: PowerOff, names: Names) -> Deed:
    del names
    return (Action.BRAKE if fault.off == "brake" else Action.POWER_OFF), ()


COUNTING: Deeds = {Lose: _lose, Extra: _extra}
DRIVE: Deeds = {Supply: _supply, PowerOff: _power_off}
ALL: Deeds = {**COUNTING, **DRIVE, **MECHANICS}


def deed(fault: Timed, names: Names) -> Deed:
    """Action and values of the row of a ``fault``; ``names`` are the legs in order."""
    return ALL[type(fault)](fault, names)
