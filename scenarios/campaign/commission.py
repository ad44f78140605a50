"""The commissioning sheet: what to measure on the first prototype, in what order, what to expect, and what a miss points to.

The expected value is the median over lifts of a campaign and the window holds 95 % of them, so it is as wide as the tolerances that
the campaign file states, no wider: a reading outside says that something is not as that file says.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

import numpy as np

from scenarios import cache

cache.prepare()

from scenarios.build import build_rig  # noqa: E402
from scenarios.campaign.folder import read_ticket  # noqa: E402
from scenarios.campaign.plan import Plan, load_plan, restored  # noqa: E402
from scenarios.errors import InputError  # noqa: E402
from scenarios.result import summarise  # noqa: E402
from scenarios.rig import trace_columns  # noqa: E402
from scenarios.runner import fly_rig  # noqa: E402
from scenarios.summary import LegResult, MoveResult, RunSummary  # noqa: E402
from scenarios.tracks import Tracks  # noqa: E402
from scenarios.verdict import number  # noqa: E402

__all__ = ["LIFTS", "Reading", "as_dicts", "commission_lines", "commission_sheet", "plan_for"]

LIFTS = 200
"""Lifts that are flown for the windows; 95 % of them are ten less than all."""
BLANK = "_" * 8
TAILS = (0.025, 0.5, 0.975)

Measures = dict[tuple[str, str], float]
"""Values by step and leg (or move)."""


@dataclass(frozen=True)
class Step:
    """One kind of measurement."""

    what: str
    unit: str
    how: str
    low: str
    """What a reading below the window points to."""
    high: str


STEPS = {
    "resistance": Step(
        "winding resistance",
        "ohm",
        "motor wires off the bridge, four-wire, mean of a turn in steps",
        "another winding than ordered; a shorted coil",
        "connector or brush contact; winding not at the temperature of the air",
    ),
    "supply": Step("supply at rest", "V", "at the bridges, nothing driven", "supply or its setting; cable", "supply or its setting"),
    "counts": Step(
        "counts per mm",
        "1/mm",
        "turn 50 mm up by the controller's own counts against a scale, five times",
        "counts are lost: detector threshold; lead or gear ratio larger than told",
        "doubles are counted: detector blanking; lead or gear ratio smaller than told",
    ),
    "speed": Step(
        "speed",
        "mm/s",
        "over the last second before it slows down",
        "supply sags; friction or load higher; torque constant higher",
        "load or friction lower; torque constant lower (weak magnets: current is higher, too)",
    ),
    "current": Step(
        "running current",
        "A",
        "mean over the last second before it slows down",
        "load not as stated or not where stated; friction lower, check that it still holds without power",
        "thread or guide binds, misalignment, grease; load off centre; weak magnets",
    ),
    "peak": Step("largest current", "A", "current probe on one motor wire", "supply sags at the start", "a jam or a stop; starts loaded"),
    "dip": Step("lowest supply in the move", "V", "at the bridges", "source resistance, cable, capacitor", "fewer legs start at once"),
    "coast": Step(
        "coast after the cut",
        "mm",
        "scale or dial gauge, from the cut to standstill",
        "friction higher; the bridge brakes where it should coast",
        "friction lower: check that it holds without power; grease; the bridge coasts where it should brake",
    ),
    "level": Step(
        "level error at rest",
        "mm",
        "highest less lowest leg, dial gauges",
        "none: it is better than expected",
        "coast told wrongly; counts; zero",
    ),
    "time": Step("time of the move", "s", "from the order to rest", "slow-down too short; speed", "speed; slow-down; a leg that waits"),
    "lost": Step(
        "counts lost in the move",
        "1",
        "true travel times counts per mm less what was counted; negative: gained",
        "doubles and switching edges are counted: blanking time, threshold too low",
        "commutations are missed: threshold too high, end of the coast, brush contact",
    ),
}
"""In the order in which they are measured: each rests on those before."""


@dataclass(frozen=True)
class Reading:
    """One line of the sheet; the reading itself is for the reader to write down."""

    number: int
    what: str
    where: str
    unit: str
    expected: float
    low: float
    high: float
    """Between them lie 95 % of the lifts."""
    how: str
    below: str
    above: str


def plan_for(lift: Path, campaign: Path, sets: Sequence[str] = ()) -> Plan:
    """Plan of a campaign file, or of the folder of a campaign, over this lift.

    Raises
    ------
    InputError
        If the campaign is over another lift file, or flies service runs.
    """
    plan = restored(read_ticket(campaign)) if campaign.is_dir() else load_plan(campaign, sets)
    if plan.nominal.lift_path.name != lift.name:
        raise InputError([f"--commission {campaign}: is a campaign over {plan.nominal.lift_path.name}, not over {lift.name}"])
    if plan.file.service is not None or plan.file.rare is not None:
        raise InputError([f"--commission {campaign}: flies service runs or rare events; name a campaign of plain lifts"])
    return plan


def _moves(run: RunSummary) -> Iterator[tuple[str, MoveResult]]:
    """The first move up and the first move down, by their names."""
    seen: set[int] = set()
    for move in run.moves:
        if not move.is_homing and move.end_s is not None and move.direction not in seen:
            seen.add(move.direction)
            yield ("up" if move.direction > 0 else "down"), move


def _of_leg(leg: LegResult) -> dict[str, float | None]:
    found = {"speed": leg.run_speed_mm_s, "current": leg.run_current_a, "peak": leg.peak_current_a, "coast": leg.coast_mm}
    return {**found, "lost": float(leg.missed - leg.extra)}


def _measured(plan: Plan, run: int, values: Sequence[float | str]) -> Measures:
    """What would be read on one lift."""
    scenario = plan.scenario(values)
    names = list(scenario.lift.names)
    rig = build_rig(scenario, plan.file.seed, plan.sampler.chance(run))
    world, settings = rig["world"][0], rig["settings"][0]
    found: Measures = {("supply", ""): float(world["supply"]["voltage"])}
    for q, name in enumerate(names):
        found["resistance", name] = float(world["legs"][q]["motor"]["hot_resistance"])
        found["counts", name] = float(settings["legs"][q]["counts_per_metre"]) * 1e-3
    fly_rig(rig)
    run_summary = summarise(rig[0], names, Tracks(np.zeros((0, 0)), tuple(trace_columns(names))), 0.0)
    for way, move in _moves(run_summary):
        whole = {"dip": move.supply_min_v, "level": move.level.after_coast_mm, "time": (move.end_s or 0.0) - move.start_s}
        found |= {(step, way): float(value) for step, value in whole.items() if value is not None}
        for leg in move.legs:
            per_leg = _of_leg(leg)
            found |= {(step, f"{leg.name}, {way}"): float(value) for step, value in per_leg.items() if value is not None}
    return found


def commission_sheet(plan: Plan, lifts: int = LIFTS, tick: Callable[[int], None] = lambda _: None) -> list[Reading]:
    """Lines of the sheet, in the order of measuring.

    Parameters
    ----------
    plan
        A campaign; its first runs are flown, or as many as it has.
    lifts
        How many at most.
    tick
        Called with the number of lifts flown so far.

    Raises
    ------
    InputError
        If fewer than 20 lifts of the campaign can be flown: they give no window of 95 %.
    """
    columns: dict[tuple[str, str], list[float]] = {}
    wanted = min(lifts, plan.file.lifts)
    for run, values in enumerate(plan.sampler.values(0, wanted)):
        try:
            found = _measured(plan, run, values)
        except InputError:
            continue  # values that contradict each other: no such lift is built
        for place, value in found.items():
            columns.setdefault(place, []).append(value)
        tick(run + 1)
    most = max((len(one) for one in columns.values()), default=0)
    if most < 20:
        raise InputError([f"--commission: {most} lifts of the campaign could be flown; a window of 95 % needs 20 at least"])
    order = list(STEPS)
    places = sorted((place for place, values in columns.items() if len(values) >= 20), key=lambda place: order.index(place[0]))
    made: list[Reading] = []
    for place in places:
        step = STEPS[place[0]]
        low, middle, high = np.quantile(columns[place], TAILS).tolist()
        made.append(Reading(len(made) + 1, step.what, place[1], step.unit, middle, low, high, step.how, step.low, step.high))
    return made


def commission_lines(plan: Plan, readings: Sequence[Reading], lifts: int) -> list[str]:
    """The sheet for the terminal or a printer, with a column for the reading; each step's manual and diagnosis once, above its lines."""
    lines = [
        f"Commissioning of {plan.nominal.lift_path.name}: expected over {lifts} lifts of {plan.path.name} ({plan.file.rehearsal})",
        "Measure in this order; each step rests on those before. The window holds 95 % of the lifts that the campaign's tolerances give.",
    ]
    before = ""
    for one in readings:
        if one.what != before:
            unit = "" if one.unit == "1" else f" [{one.unit}]"
            lines += ["", f"{one.what}{unit}: {one.how}", f"    below the window: {one.below}", f"    above the window: {one.above}"]
            before = one.what
        window = f"{number(one.low)} to {number(one.high)}"
        lines.append(
            f"  {one.number:3d}  {one.where or 'whole lift':20s} expected {number(one.expected):>8s}   window {window:18s}  read ________"
        )
    return lines


def as_dicts(readings: Sequence[Reading]) -> list[dict[str, Any]]:
    """Plain data."""
    return [asdict(one) for one in readings]
