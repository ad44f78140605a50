"""All levelling laws on the same rehearsals, with the same gains: level, time, switchings, margins, and two kinds of trouble."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from math import isfinite
from typing import Any

from scenarios.build_settings import LAWS
from scenarios.files.scenario import Scenario
from scenarios.files.settings import Settings
from scenarios.tuning.corners import Corner
from scenarios.tuning.flight import NOMINAL, Bench, Outcome
from scenarios.tuning.linear import CornerFigures, Linear
from scenarios.tuning.plan import Plan

__all__ = ["LOST", "LawRow", "compare_laws", "law_lines", "law_table", "with_law"]

LOST = 25
"""Counts that are lost in the middle of a move."""
TORQUE_SHARE = 1.5
"""Current limit of the leg that draws most, as a share of its running current: enough to break away (planning value)."""
OVERLOAD, OVERLOAD_AT, OVERLOAD_S = 2.5, 4.0, 0.2
"""Factor on its thread friction, when, and how long: for that time it needs more torque than its limit gives, and slows down."""
OPEN_GUARD_MM = 500.0


@dataclass(frozen=True)
class LawRow:
    """A law: worst of its rehearsals, sums of time [s] and switch-offs, margins, and two rehearsals with trouble.

    ``lost`` is flown with counts lost on the first leg, ``weak`` with the leg that draws most held at its torque limit for a
    moment; both with the firmware's tilt guard as it stands, the others with it wide open, so that every law runs to its end.
    """

    law: str
    peak: float
    rms: float
    at_cut: float
    after: float
    switch_offs: int
    time: float
    current: float
    reason: str
    margins: CornerFigures
    lost: Outcome
    weak: Outcome

    def as_dict(self) -> dict[str, Any]:
        """Plain data; what is infinite becomes None."""
        return {key: value if not isinstance(value, float) or isfinite(value) else None for key, value in asdict(self).items()} | {
            "margins": None if self.margins.why else {"gain": self.margins.gain, "sensitivity": self.margins.sensitivity},
            "lost": self.lost.as_dict(),
            "weak": self.weak.as_dict(),
        }


def with_law(settings: Settings, law: str, open_guard: bool = True) -> Settings:
    """The settings under another law; ``open_guard``: with the tilt guard so wide that it stays silent."""
    changes: dict[str, Any] = {"levelling": settings.levelling.model_copy(update={"law": law})}
    if open_guard:
        changes["guards"] = settings.guards.model_copy(update={"tilt_limit_mm": OPEN_GUARD_MM})
    return settings.model_copy(update=changes)


def _rising(plan: Plan) -> int:
    """The first rehearsal whose first move raises by a target; the first of all where there is none."""
    for k, scenario in enumerate(plan.rehearsals):
        start, goal = _start(scenario), scenario.file.move[0].to_mm
        if goal is not None and goal > start + 10.0:
            return k
    return 0


def _start(scenario: Scenario) -> float:
    start = scenario.file.start
    return start.height_mm if start.height_mm is not None else max((start.heights_mm or {"": 0.0}).values())


def _lost(scenario: Scenario) -> Corner:
    """Counts of the first leg lost half-way through the first move."""
    goal, start = scenario.file.move[0].to_mm, _start(scenario)
    fault: dict[str, Any] = {"what": "lose-counts", "leg": scenario.lift.names[0], "counts": LOST}
    if goal is None:
        fault["at_s"] = 2.0
    else:
        fault["at_mm_above" if goal > start else "at_mm_below"] = 0.5 * (start + goal)
    return Corner(f"{LOST} counts lost", (("fault", [fault]),))


def _uneven(plan: Plan, bench: Bench, settings: Settings) -> tuple[int, Corner]:
    """The rehearsal in which one leg draws most while running, and that leg's bridge limited to a little above it."""
    best = (0.0, 0, 0)
    for k in range(len(plan.rehearsals)):
        for leg, current in enumerate(bench.running_currents(k, settings)):
            best = max(best, (current, k, leg))
    current, k, leg = best
    name = plan.rehearsals[k].lift.names[leg]
    grip = {"what": "thread-friction", "leg": name, "factor": OVERLOAD, "at_s": OVERLOAD_AT, "for_s": OVERLOAD_S}
    limit = (f"lift.leg.{name}.bridge.current_limit_a", TORQUE_SHARE * current)
    return k, Corner(f"{name} at its torque limit", (limit, ("fault", [grip])))


def _row(plan: Plan, bench: Bench, linear: Linear, law: str, trouble: tuple[tuple[int, Corner], tuple[int, Corner]]) -> LawRow:
    settings, guarded = with_law(plan.settings, law), with_law(plan.settings, law, open_guard=False)
    flown = [bench.fly(k, NOMINAL, settings) for k in range(len(plan.rehearsals))]
    lost, weak = (bench.fly(k, corner, guarded) for k, corner in trouble)
    return LawRow(
        law=law,
        peak=max(one.peak for one in flown),
        rms=max(one.rms for one in flown),
        at_cut=max(one.at_cut for one in flown),
        after=max(one.after for one in flown),
        switch_offs=sum(one.switch_offs for one in flown),
        time=sum(one.time for one in flown),
        current=max(one.current for one in flown),
        reason=next((one.reason for one in flown if one.reason), ""),
        margins=linear.figures(settings),
        lost=lost,
        weak=weak,
    )


def compare_laws(plan: Plan) -> list[LawRow]:
    """Fly every law on the rehearsals of a plan with the gains of its settings.

    Parameters
    ----------
    plan
        What is compared on; its search is not looked at.
    """
    bench, linear = Bench(plan), Linear(plan)
    rising = _rising(plan)
    trouble = ((rising, _lost(plan.rehearsals[rising])), _uneven(plan, bench, with_law(plan.settings, "cross-coupling")))
    return [_row(plan, bench, linear, law, trouble) for law in LAWS]


def _mm(value: float) -> str:
    return f"{value:.2f}"


def law_table(rows: Sequence[LawRow]) -> list[tuple[str, ...]]:
    """Heads and one row of cells for each law."""
    heads = (
        "law",
        "peak",
        "rms",
        "at cut",
        "coast",
        "offs",
        "time s",
        "A",
        "gain m.",
        "Ms",
        f"{LOST} lost: rest",
        "seen",
        "weak leg: peak",
        "ends",
    )
    table: list[tuple[str, ...]] = [heads]
    for row in rows:
        margins = row.margins
        gain, peak = (
            ("-", "-") if margins.why else (f"{margins.gain:.1f}", f"{margins.sensitivity:.2f}") if margins.stable else ("unstable", "-")
        )
        level = [_mm(value) for value in (row.peak, row.rms, row.at_cut, row.after)]
        time = f"{row.time:.1f}" if isfinite(row.time) else row.reason
        lost = [_mm(row.lost.after) + (f" ({row.lost.reason})" if row.lost.reason else ""), _mm(row.lost.seen_peak)]
        weak = [_mm(row.weak.peak), row.weak.reason or "ready"]
        table.append((row.law, *level, str(row.switch_offs), time, f"{row.current:.1f}", gain, peak, *lost, *weak))
    return table


def law_lines(plan: Plan, rows: Sequence[LawRow]) -> list[str]:
    """The table for a terminal, with what its columns mean."""
    table = law_table(rows)
    widths = [max(len(row[k]) for row in table) for k in range(len(table[0]))]
    gains = f"every law with the gains of {plan.settings_path.name}"
    lines = [f"{plan.name}: {gains}, worst of {len(plan.rehearsals)} rehearsals, lengths in mm", ""]
    for row in table:
        cells = [cell.rjust(width) for cell, width in zip(row, widths, strict=True)]
        lines.append("  " + "  ".join([row[0].ljust(widths[0]), *cells[1:]]))
    return [
        *lines,
        "",
        f"{LOST} lost: counts of the first leg lost half-way; what stands at rest is true, what the controller saw is beside it.",
        f"weak leg: the leg that draws most, its current limited to {TORQUE_SHARE:g} times what it needs, and its thread",
        f"rubbing {OVERLOAD:g} times as much for {OVERLOAD_S:g} s; the tilt guard as it is set.",
        "In all other columns the tilt guard is wide open, so that every law runs to its end. Margins: worst of every corner.",
    ]
