"""The map of a gating drive: the window of leads against switchings, level error and expected miscounts per move."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import Any

from scenarios.tuning.corners import Corner
from scenarios.tuning.flight import NOMINAL, Bench
from scenarios.tuning.laws import with_law
from scenarios.tuning.plan import Plan, without_perfect_counts

__all__ = ["WINDOWS", "GatingPoint", "gating_lines", "gating_map"]

WINDOWS = ((2, 1), (4, 1), (8, 2), (8, 4), (12, 3), (20, 5), (20, 10), (40, 10))
"""Leads in counts at which a leg is switched off and on again."""
SEEDS = 4


@dataclass(frozen=True)
class GatingPoint:
    """One window: worst level errors [mm], switch-offs and miscounts for each move and leg, how the worst flight ended."""

    on: int
    off: int
    peak: float
    after: float
    switch_offs: float
    miscounts: float
    time: float
    reason: str

    def as_dict(self) -> dict[str, Any]:
        """Plain data."""
        return asdict(self)


def gating_map(plan: Plan, windows: Sequence[tuple[int, int]] = WINDOWS) -> list[GatingPoint]:
    """Fly a plan's rehearsals under gating with one window after the other.

    Level and switch-offs are those of the plan; miscounts are the mean over some seeds of what the detectors of the lift file
    miss and invent, the leg with most of them counted, whether the plan has perfect counts or not.
    """
    bench, heard = Bench(plan), Bench(without_perfect_counts(plan))
    legs = len(plan.rehearsals[0].lift.leg)
    moves = sum(len(scenario.file.move) for scenario in plan.rehearsals) * legs
    points = []
    for on, off in windows:
        base = with_law(plan.settings, "gating")
        levelling = base.levelling.model_copy(update={"gate_on_counts": on, "gate_off_counts": off})
        settings = base.model_copy(update={"levelling": levelling})
        flown = [bench.fly(k, NOMINAL, settings) for k in range(len(plan.rehearsals))]
        seeds = [Corner(f"seed {seed}", (("seed", seed),)) for seed in range(1, SEEDS + 1)]
        wrong = [heard.fly(k, seed, settings).miscounts for seed in seeds for k in range(len(plan.rehearsals))]
        points.append(
            GatingPoint(
                on=on,
                off=off,
                peak=max(one.peak for one in flown),
                after=max(one.after for one in flown),
                switch_offs=sum(one.switch_offs for one in flown) / moves,
                miscounts=sum(wrong) / len(wrong),
                time=sum(one.time for one in flown),
                reason=next((one.reason for one in flown if one.reason), ""),
            )
        )
    return points


def gating_lines(plan: Plan, points: Sequence[GatingPoint]) -> list[str]:
    """The map for a terminal."""
    lines = [
        f"{plan.name}: gating windows, worst of {len(plan.rehearsals)} rehearsals",
        "",
        "  off at  on at   peak  after coast  switch-offs  miscounts  time",
        "  counts  counts    mm           mm   a leg, move     a move     s",
    ]
    for one in points:
        figures = f"{one.peak:7.2f} {one.after:12.2f} {one.switch_offs:13.1f} {one.miscounts:10.1f} {one.time:5.1f}"
        lines.append(f"  {one.on:6d}  {one.off:6d}{figures}{'  ' + one.reason if one.reason else ''}")
    return [
        *lines,
        "",
        f"Miscounts: missed and false counts of the leg that has most, mean of {SEEDS} seeds, with the detector of the lift file.",
        "A switch-off is the cut at the target too: one for each leg and move.",
    ]
