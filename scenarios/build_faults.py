"""What each fault does, in SI: action and values of its script row, by the class of the fault."""

from __future__ import annotations

from scenarios.build_mechanics import MECHANICS
from scenarios.build_motor import RPM
from scenarios.deeds import Deed, Deeds, Names
from scenarios.files.faults_counting import (
    CountRates,
    Crosstalk,
    DeadChannel,
    Extra,
    Interference,
    Lose,
    Springback,
    StuckHigh,
    SupplyStep,
    Swapped,
    TailLoss,
    WeakSegment,
)
from scenarios.files.faults_drive import (
    BridgeStuck,
    BrokenWire,
    Drag,
    NoCurrentLimit,
    PowerFail,
    PowerOff,
    Reversed,
    SourceResistance,
    Supply,
)
from scenarios.files.faults_timing import ClockJitter, ClockRate, MissedTicks, SaveDamaged
from scenarios.files.when import Timed
from scenarios.rig import Action

__all__ = ["deed"]

STUCK = {"off": 1, "on": 2, "brake": 3}
AS_IT_WAS = -1.0


def _rates(fault: CountRates, names: Names) -> Deed:
    del names
    given = (fault.miss, fault.false, fault.double, fault.edge_false)
    return Action.RATES, tuple(AS_IT_WAS if value is None else value for value in given)


def _crosstalk(fault: Crosstalk, names: Names) -> Deed:
    return Action.CROSSTALK, (fault.chance, -1 if fault.from_leg is None else names.index(fault.from_leg))


def _power_off(fault: PowerOff, names: Names) -> Deed:
    del names
    return (Action.BRAKE if fault.off == "brake" else Action.POWER_OFF), ()


COUNTING: Deeds = {
    Lose: lambda fault, names: (Action.LOSE_COUNTS, (fault.counts,)),
    Extra: lambda fault, names: (Action.EXTRA_COUNTS, (fault.counts, fault.spacing_us * 1e-6)),
    CountRates: _rates,
    WeakSegment: lambda fault, names: (Action.WEAK, (fault.segment, fault.miss)),
    TailLoss: lambda fault, names: (Action.TAIL, (fault.below_rpm * RPM,)),
    DeadChannel: lambda fault, names: (Action.DEAD, ()),
    StuckHigh: lambda fault, names: (Action.STUCK_HIGH, ()),
    Swapped: lambda fault, names: (Action.SWAP, (names.index(fault.with_leg),)),
    Springback: lambda fault, names: (Action.SPRINGBACK, (fault.counts,)),
    Interference: lambda fault, names: (Action.INTERFERENCE, (fault.rate_hz, fault.leg is None)),
    Crosstalk: _crosstalk,
    SupplyStep: lambda fault, names: (Action.SUPPLY_STEP, (fault.pulses, fault.least_v)),
}
DRIVE: Deeds = {
    Supply: lambda fault, names: (Action.SUPPLY, (fault.open_voltage_v,)),
    SourceResistance: lambda fault, names: (Action.SOURCE, (fault.resistance_ohm,)),
    PowerFail: lambda fault, names: (Action.POWER_FAIL, ()),
    PowerOff: _power_off,
    Reversed: lambda fault, names: (Action.REVERSED, ()),
    BrokenWire: lambda fault, names: (Action.BROKEN_WIRE, ()),
    BridgeStuck: lambda fault, names: (Action.BRIDGE_STUCK, (STUCK[fault.state], fault.duty)),
    NoCurrentLimit: lambda fault, names: (Action.NO_LIMIT, ()),
    Drag: lambda fault, names: (Action.DRAG, (fault.coulomb_factor, fault.viscous_factor)),
}
TIMING: Deeds = {
    ClockJitter: lambda fault, names: (Action.JITTER, (fault.jitter_us * 1e-6,)),
    ClockRate: lambda fault, names: (Action.CLOCK_RATE, (fault.error_percent * 1e-2,)),
    MissedTicks: lambda fault, names: (Action.MISSED_TICKS, (fault.ticks,)),
    SaveDamaged: lambda fault, names: (Action.SAVE_DAMAGED, ()),
}
ALL: Deeds = {**COUNTING, **DRIVE, **TIMING, **MECHANICS}


def deed(fault: Timed, names: Names) -> Deed:
    """Action and values of the row of a ``fault``; ``names`` are the legs in order."""
    return ALL[type(fault)](fault, names)
