"""Tuning the pinch guard: its threshold against false trips of clean moves and against the force on an obstacle."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass, replace
from typing import Any

from scenarios.errors import InputError
from scenarios.files.settings import Settings
from scenarios.tuning.corners import Corner
from scenarios.tuning.flight import Bench
from scenarios.tuning.plan import Plan, with_settings, without_perfect_counts
from scenarios.tuning.workers import Crew

__all__ = ["STIFFNESS", "THRESHOLDS", "PinchCurve", "PinchPoint", "clean_plan", "pinch_curve", "pinch_lines"]

THRESHOLDS = (0.15, 0.2, 0.3, 0.4, 0.5, 0.7, 1.0, 1.4)
"""rise_a [A]; the other thresholds keep their ratio to it."""
SEEDS = 2
STIFFNESS = (25.0, 500.0)
"""N/mm of the obstacle: a soft and a stiff gauge (planning values; take those of your own standard)."""
GAP_MM = 40.0
LEAST_FALL = 0.02
"""A; the settings take no smaller fall for a pinch."""


@dataclass(frozen=True)
class PinchPoint:
    """One threshold [A]: false trips among the clean flights, and the largest force [N] raising and lowering, by stiffness."""

    rise: float
    trips: int
    flights: int
    raising: tuple[float, ...]
    lowering: tuple[float, ...]
    worst: str
    """The clean flight that tripped first; empty where none did."""

    @property
    def force(self) -> float:
        """Largest force of all."""
        return max((*self.raising, *self.lowering), default=0.0)


@dataclass(frozen=True)
class PinchCurve:
    """Points by rising threshold; ``chosen`` is the lowest from which no clean flight tripped, None where every one did."""

    points: tuple[PinchPoint, ...]
    chosen: PinchPoint | None

    def as_dict(self) -> dict[str, Any]:
        """Plain data."""
        return {"points": [asdict(one) for one in self.points], "chosen": asdict(self.chosen) if self.chosen else None}


def _settings(settings: Settings, rise: float) -> dict[str, float]:
    """The guard's thresholds for a rise, in their present ratio."""
    pinch = settings.pinch
    assert pinch is not None, "the plan is read with a [pinch] table"
    share = rise / pinch.rise_a
    fall, least = max(pinch.fall_a * share, LEAST_FALL), max(pinch.fall_least_a * share, 0.5 * LEAST_FALL)
    values = {"pinch.rise_a": rise, "pinch.fall_a": fall, "pinch.fall_least_a": least}
    return {key: float(f"{value:.4g}") for key, value in values.items()}


def _first_way(plan: Plan, way: int) -> int | None:
    """The first rehearsal whose first move goes this way (1 up, -1 down) by more than the gap; None if there is none."""
    for k, scenario in enumerate(plan.rehearsals):
        start, goal = scenario.file.start.height_mm, scenario.file.move[0].to_mm
        if start is not None and goal is not None and way * (goal - start) > 2.0 * GAP_MM:
            return k
    return None


def _obstacle(plan: Plan, rehearsal: int, side: str, stiffness: float) -> Corner:
    """Something springy in the way of the first leg, met in full run."""
    name = plan.rehearsals[rehearsal].lift.names[0]
    fault = {"what": "obstacle", "leg": name, "side": side, "gap_mm": GAP_MM, "stiffness_n_per_mm": stiffness, "at_s": 0.1}
    return Corner(f"obstacle {side}, {stiffness:g} N/mm", (("fault", [fault]),))


def _forces(plan: Plan, bench: Bench, settings: Settings, way: int) -> tuple[float, ...]:
    rehearsal = _first_way(plan, way)
    if rehearsal is None:
        return ()
    side = "above" if way > 0 else "below"
    return tuple(bench.fly(rehearsal, _obstacle(plan, rehearsal, side, stiffness), settings).force for stiffness in STIFFNESS)


def clean_plan(plan: Plan) -> Plan:
    """The plan as the guard is judged on: detectors of the lift file, only rehearsals in which nothing goes wrong.

    Raises
    ------
    InputError
        If there is no such rehearsal.
    """
    heard = without_perfect_counts(plan)
    clean = tuple(scenario for scenario in heard.rehearsals if not scenario.file.fault)
    if not clean:
        raise InputError([f"{plan.path}: every rehearsal has a fault; false trips are counted on rehearsals without one"])
    return replace(heard, rehearsals=clean)


def pinch_curve(plan: Plan, crew: Crew, thresholds: Sequence[float] = THRESHOLDS) -> PinchCurve:
    """Fly the plan clean, over seeds and corners, and against an obstacle, at one threshold after the other.

    Parameters
    ----------
    plan
        From ``clean_plan``.
    crew
        Who flies; entered.
    thresholds
        ``pinch.rise_a`` [A].
    """
    seeds = [Corner(f"seed {seed}", (("seed", seed),)) for seed in range(2, SEEDS + 2)]
    clean = (*plan.corners, *seeds)
    values = [_settings(plan.settings, rise) for rise in thresholds]
    found = crew.work([(one, clean, False) for one in values])
    points = []
    for rise, one, finding in zip(thresholds, values, found, strict=True):
        settings = with_settings(plan.settings, one)
        tripped = [f"{cell.rehearsal}, {cell.corner}" for cell in finding.cells if cell.outcome.trips]
        up, down = (_forces(plan, crew.own.bench, settings, way) for way in (1, -1))
        points.append(PinchPoint(rise, len(tripped), len(finding.cells), up, down, tripped[0] if tripped else ""))
    quiet = [one for k, one in enumerate(points) if all(other.trips == 0 for other in points[k:])]
    return PinchCurve(tuple(points), quiet[0] if quiet else None)


def pinch_lines(plan: Plan, curve: PinchCurve) -> list[str]:
    """The curve for a terminal, and what the chosen point costs."""
    heads = [f"{word} {stiffness:g}" for word in ("up", "down") for stiffness in STIFFNESS]
    lines = [f"{plan.name}: pinch guard, largest force [N] on an obstacle of so many N/mm", ""]
    lines.append("  rise_a  false trips  " + "".join(head.rjust(11) for head in heads))
    for one in curve.points:
        forces = [*one.raising, *([float("nan")] * (len(STIFFNESS) - len(one.raising)))]
        forces += [*one.lowering, *([float("nan")] * (len(STIFFNESS) - len(one.lowering)))]
        mark = " <- chosen" if one is curve.chosen else f"   {one.worst}" if one.worst else ""
        trips = f"{one.trips} of {one.flights}"
        lines.append(f"  {one.rise:6.2f}  {trips:>11}  " + "".join(f"{force:11.0f}" for force in forces) + mark)
    lines.append("")
    if curve.chosen is None:
        lines.append("At every threshold a clean flight tripped: look at the first one named, and at pinch.start_ms and pinch.filter_ms.")
    else:
        lines.append(
            f"Chosen: pinch.rise_a = {curve.chosen.rise:g}, the lowest without a false trip in {curve.chosen.flights} clean flights; "
            f"largest force {curve.chosen.force:.0f} N."
        )
        higher = [one for one in curve.points if one.rise > curve.chosen.rise]
        if higher:
            cost = higher[0].force - curve.chosen.force
            lines.append(f"A step more distance from false trips, {higher[0].rise:g} A, costs {cost:.0f} N.")
    return [
        *lines,
        "No false trip in so few flights says little about thousands: a campaign does. Limiting the drive current alone is not a",
        "recognised safeguard; limits come from your own standard and risk assessment; verify with a calibrated force gauge.",
    ]
