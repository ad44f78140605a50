"""The level budget: what each known cause adds to the level error of one move [mm].

Every share is computed from the scored move and from what the controller was told, by the formula that is printed with it.
Two errors are explained: the peak while *moving* and what is left when *stopped*.  Shares are largest differences between
two legs, so their plain sum is the worst case; legs rarely conspire, so the root of the sum of squares stands beside it.
What a sum leaves of the observed error is stated, never spread over the shares.

*Neglects*: the flexing of the deck itself, and speed differences inside one tick other than at the cut.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import sqrt

from scenarios.summary import MoveResult

__all__ = ["Budget", "BudgetFacts", "Share", "level_budget", "spread"]


@dataclass(frozen=True)
class BudgetFacts:
    """What the budget needs besides the scored move; sequences have one entry per leg."""

    counts_per_mm: Sequence[float]
    law: str
    """``none``, ``cross-coupling`` or ``gating``."""
    gate_on_counts: float
    predicts: bool
    """Whether the controller predicts the coast."""
    control_tick_s: float
    cut_tick_s: float
    """Grid on which power can be cut."""
    delay_s: float
    """From the tick to the bridge."""
    miscounts_mm: Sequence[float]
    """True minus counted height that missed and extra pulses made since the position was last known."""
    homing_mm: Sequence[float] | None = None
    """True minus counted height after the last homing; ``None``: not homed in this rehearsal."""
    stops_mm: Sequence[float] | None = None
    """Height of each end stop minus the home offset the controller was told; ``None`` as above."""
    carried_mm: Sequence[float] | None = None
    """True minus counted height where it began, after earlier moves; ``None``: none were flown before, or it has been homed since."""


@dataclass(frozen=True)
class Share:
    """One cause: its share while moving and when stopped [mm], ``None`` where it does not act there."""

    name: str
    moving_mm: float | None
    stopped_mm: float | None
    formula: str
    values: str

    @property
    def size(self) -> float:
        """Larger of the two shares [mm]."""
        return max(self.moving_mm or 0.0, self.stopped_mm or 0.0)


@dataclass(frozen=True)
class Budget:
    """Shares, largest first, with their sums against what was observed [mm]."""

    move: int
    shares: tuple[Share, ...]
    moving_sum_mm: float
    moving_root_mm: float
    moving_seen_mm: float | None
    stopped_sum_mm: float
    stopped_root_mm: float
    stopped_seen_mm: float | None
    sentences: tuple[str, ...]


def spread(values: Sequence[float]) -> float:
    """Largest minus smallest; zero of nothing."""
    return max(values) - min(values) if values else 0.0


def _listed(values: Sequence[float], unit: str = "mm") -> str:
    return " / ".join(f"{value:.3f}" for value in values) + f" {unit}"


def _quantum(move: MoveResult, facts: BudgetFacts) -> Share:
    quantum = 1.0 / min(facts.counts_per_mm) if len(move.legs) > 1 else 0.0
    return Share(
        "count quantum",
        quantum,
        quantum,
        "one count: each leg is known to half a count either way, two legs differ by up to one",
        f"1 / {min(facts.counts_per_mm):.2f} counts per mm",
    )


def _age(move: MoveResult, facts: BudgetFacts) -> Share:
    speeds = [leg.run_speed_mm_s or 0.0 for leg in move.legs]
    relative = max(speeds, default=0.0) if facts.law == "gating" else spread(speeds)
    moving = relative * (facts.control_tick_s + facts.delay_s) if len(move.legs) > 1 else 0.0
    speed = move.cut_speed_mm_s or 0.0
    stopped = speed * facts.cut_tick_s if len(move.legs) > 1 else 0.0
    told = "speed of a leg" if facts.law == "gating" else "difference of the run speeds"
    return Share(
        "count age and tick",
        moving,
        stopped,
        f"moving: {told} times (control tick + output delay); stopped: speed at the cut times the grid of the cut",
        f"{relative:.2f} mm/s x {1e3 * (facts.control_tick_s + facts.delay_s):.2f} ms; {speed:.2f} mm/s x {1e3 * facts.cut_tick_s:.2f} ms",
    )


def _droop_size(move: MoveResult, facts: BudgetFacts) -> tuple[float, str]:
    if move.kind == "drive" or facts.law == "none":
        return move.level.seen_peak_mm or 0.0, "no law holds the legs level: the largest counted level error itself"
    if facts.law == "gating":
        return facts.gate_on_counts / min(facts.counts_per_mm), "gating: the lead in counts at which a leg is switched off"
    return move.mean_seen_mm, f"{facts.law}: mean counted level error over the run, what the law leaves standing"


def _droop(move: MoveResult, facts: BudgetFacts) -> Share:
    size, formula = _droop_size(move, facts)
    return Share("droop of the law", size, None, formula, f"{size:.3f} mm")


def _start(move: MoveResult, facts: BudgetFacts) -> Share:
    size = max(0.0, move.start_peak_mm - _droop_size(move, facts)[0])
    return Share(
        "start",
        size,
        None,
        "largest true level error in the first half second (an uneven start included), less the droop",
        f"{move.start_peak_mm:.3f} mm in the first half second",
    )


def _coast(move: MoveResult, facts: BudgetFacts) -> Share:
    coasts = [leg.coast_mm for leg in move.legs]
    if any(coast is None for coast in coasts) or not coasts:
        return Share("coast mismatch", None, None, "difference of the coasts", "a leg was not seen to coast to rest")
    told = [(leg.coast_told_mm or 0.0) if facts.predicts else 0.0 for leg in move.legs]
    missed = [(coast or 0.0) - ahead for coast, ahead in zip(coasts, told, strict=True)]
    formula = (
        "largest difference between two legs of (true coast - coast predicted at the cut)"
        if facts.predicts
        else "largest difference of the coasts, none predicted"
    )
    return Share("coast mismatch", None, spread(missed), formula, _listed(missed))


def _miscounts(move: MoveResult, facts: BudgetFacts) -> Share:
    size = spread(facts.miscounts_mm)
    return Share(
        "miscounts",
        size,
        size,
        "largest difference between two legs of (missed - extra counts) by direction, since the position was last known",
        _listed(facts.miscounts_mm),
    )


def _carried(facts: BudgetFacts) -> list[Share]:
    if facts.carried_mm is None:
        return []
    size = spread(facts.carried_mm)
    formula = "largest difference between two legs of (true - counted height) where this began: what earlier moves have left"
    return [Share("earlier moves", size, size, formula, _listed(facts.carried_mm))]


def _homing(facts: BudgetFacts) -> Share:
    formula = "largest difference between two legs of (true - counted height after homing), less what the stops explain"
    if facts.homing_mm is None:
        return Share("homing scatter", 0.0, 0.0, formula, "no homing in this rehearsal: positions were given as known")
    stops = facts.stops_mm or [0.0] * len(facts.homing_mm)
    left = [error - stop for error, stop in zip(facts.homing_mm, stops, strict=True)]
    return Share("homing scatter", spread(left), spread(left), formula, _listed(left))


def _stops(facts: BudgetFacts) -> Share:
    formula = "largest difference between two legs of (height of the end stop - home offset the controller was told)"
    if facts.stops_mm is None:
        return Share("stop spread", 0.0, 0.0, formula, "no homing in this rehearsal: the stops were not used")
    return Share("stop spread", spread(facts.stops_mm), spread(facts.stops_mm), formula, _listed(facts.stops_mm))


def _backlash(move: MoveResult) -> Share:
    plays = [leg.play_mm for leg in move.legs]
    return Share(
        "backlash", spread(plays), spread(plays), "largest difference between two legs of the open play, at the end", _listed(plays)
    )


def _compliance(move: MoveResult) -> Share:
    sags = [leg.sag_mm for leg in move.legs]
    formula = "largest difference between two legs of the axial compression under their load, at the end"
    return Share("tilt compliance", spread(sags), spread(sags), formula, _listed(sags))


def _root(values: list[float]) -> float:
    return sqrt(sum(value * value for value in values))


def _sentence(what: str, observed: float | None, total: float, root: float) -> str:
    if observed is None:
        return f"{what}: not reached."
    told = f"{what}: {observed:.3f} mm observed, {total:.3f} mm in the worst case of all shares"
    if observed > total:
        return f"{told}: {observed - total:.3f} mm are not explained."
    return f"{told}, {root:.3f} mm where they are independent: nothing is left unexplained."


def level_budget(move: MoveResult, facts: BudgetFacts) -> Budget:
    """Level budget of one move, shares sorted by size.

    Parameters
    ----------
    move
        The scored move.
    facts
        What the controller was told and how the positions were known.
    """
    shares = [
        _quantum(move, facts),
        _age(move, facts),
        _droop(move, facts),
        _start(move, facts),
        _coast(move, facts),
        _miscounts(move, facts),
        *_carried(facts),
        _homing(facts),
        _stops(facts),
        _backlash(move),
        _compliance(move),
    ]
    shares.sort(key=lambda share: (-share.size, share.name))
    moving = [share.moving_mm for share in shares if share.moving_mm is not None]
    stopped = [share.stopped_mm for share in shares if share.stopped_mm is not None]
    seen, left = move.level.peak_mm, move.level.after_coast_mm
    sentences = (
        _sentence("Peak while moving", seen, sum(moving), _root(moving)),
        _sentence("After the coast", left, sum(stopped), _root(stopped)),
    )
    return Budget(move.number, tuple(shares), sum(moving), _root(moving), seen, sum(stopped), _root(stopped), left, sentences)
