"""What disturbs which detector: one factor a row, each swept alone; missed and extra counts per 1,000 with exact intervals."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from typing import Any

from scenarios.files.leg import Leg
from scenarios.files.lift import Lift
from scenarios.signal_bench import NEIGHBOUR, RATED, Around, bench_move, bench_turn
from scenarios.signal_detectors import Setting
from scenarios.signal_phases import Phase
from scenarios.signal_score import PhaseScore, Score, proportion_interval, rate_interval
from scenarios.signal_study import Case, Flown, case_of

__all__ = ["Influence", "Sweep", "influences", "verdicts"]

DETECTORS = ("spikes", "shape", "ripple")
POWERED = (Phase.START, Phase.RUN, Phase.LOAD_STEP)
COASTING = (Phase.COAST, Phase.TAIL)


@dataclass(frozen=True)
class Influence:
    """One row: what was changed, and by detector the commutations heard out of, missed and extra."""

    factor: str
    value: str
    counts: dict[str, tuple[int, int, int]]

    def missed(self, detector: str) -> tuple[float, float, float]:
        """Missed per 1,000, with the ends of its interval."""
        true, missed, _ = self.counts[detector]
        low, high = proportion_interval(missed, true)
        return (1e3 * missed / true if true else 0.0, 1e3 * low, 1e3 * high)

    def extra(self, detector: str) -> tuple[float, float, float]:
        """Extra per 1,000, with the ends of its interval."""
        true, _, extra = self.counts[detector]
        low, high = rate_interval(extra, max(true, 1))
        return (1e3 * extra / true if true else 0.0, 1e3 * low, 1e3 * high)

    def as_dict(self) -> dict[str, Any]:
        """For JSON."""
        columns = {
            name: {
                "true": one[0],
                "missed": one[1],
                "extra": one[2],
                "missed_per_1000": self.missed(name),
                "extra_per_1000": self.extra(name),
            }
            for name, one in self.counts.items()
        }
        return {"factor": self.factor, "value": self.value, "detectors": columns}


def _sum(score: Score, phases: tuple[Phase, ...] | None) -> tuple[int, int, int]:
    parts = [part for phase, part in score.phases.items() if phases is None or phase in phases] or [PhaseScore()]
    return sum(one.true for one in parts), sum(one.missed for one in parts), sum(one.doubled + one.false for one in parts)


def _row(factor: str, value: str, case: Case, phases: tuple[Phase, ...] | None = None) -> Influence:
    return Influence(factor, value, {name: _sum(case.scores[name], phases) for name in DETECTORS})


def _leg_with(leg: Leg, table: str, **changes: Any) -> Leg:
    return leg.model_copy(update={table: getattr(leg, table).model_copy(update=changes)})


@dataclass(frozen=True)
class Sweep:
    """How the rows of a table are made: the lift and its leg, the setting, the seeds."""

    lift: Lift
    name: str
    setting: Setting
    seeds: range

    @property
    def leg(self) -> Leg:
        """Tables of the leg."""
        return self.lift.leg[self.lift.names.index(self.name)]

    def case(self, leg: Leg | None = None, around: Around = RATED, condition: str = "new", way: int = 1) -> Case:
        """One move with everything else as rated."""
        flown = Flown("", leg or self.leg, bench_move(self.lift, self.name, way, around), bench_move(self.lift, self.name, way, NEIGHBOUR))
        return case_of(flown, condition, self.setting, self.seeds)


def _turned_rows(sweep: Sweep) -> Iterator[Influence]:
    """Reversed while it still turns, and braked: what was then heard of what was passed."""
    made = bench_turn(sweep.lift, sweep.name)
    case = case_of(Flown("", sweep.leg, made), "new", sweep.setting, sweep.seeds)
    for value, phase in (("reversal", Phase.REVERSAL), ("braking", Phase.BRAKING)):
        yield _row("stop", value, case, (phase,))


def _around_rows(sweep: Sweep) -> Iterator[Influence]:
    for share in (0.8, 1.2):
        yield _row("supply", f"{100 * share:.0f} %", sweep.case(around=replace(RATED, supply=share)))
    for share in (0.0, 1.25):
        yield _row("load", f"{100 * share:.0f} %", sweep.case(around=replace(RATED, load=share)))
    for share in (0.5, 0.8):
        yield _row("speed", f"duty {share:g}", sweep.case(around=replace(RATED, duty=share)))
    yield _row("direction", "down", sweep.case(way=-1))
    for degrees in (-20.0, 60.0):
        yield _row("temperature", f"{degrees:+.0f} C", sweep.case(around=replace(RATED, temperature=degrees)))


def _wire_rows(sweep: Sweep) -> Iterator[Influence]:
    leg = sweep.leg
    for metres in (1.0, 5.0, 15.0, 30.0):
        yield _row("cable", f"{metres:g} m", sweep.case(_leg_with(leg, "wires", cable_m=metres)))
    for place in ("motor", "controller"):
        yield _row("sensing point", place, sweep.case(_leg_with(leg, "wires", sense_at=place)))
    for nano in (10.0, 100.0, 470.0):
        yield _row("suppression", f"{nano:g} nF", sweep.case(_leg_with(leg, "wires", capacitor_nf=nano)))
    yield _row("suppression", "chokes 20 uH", sweep.case(_leg_with(leg, "wires", choke_uh=20.0)))
    yield _row("interference", "50 bursts a second", sweep.case(_leg_with(leg, "wires", bursts_per_s=50.0)))
    yield _row("neighbour", "10 % cross-talk", sweep.case(_leg_with(leg, "wires", crosstalk=0.1)))
    for intensity, air in ((0.7, "humid"), (1.3, "dry or thin")):
        yield _row("air", air, sweep.case(_leg_with(leg, "commutator", intensity=intensity)))
    yield _row("feed", "motor wires, down", sweep.case(_leg_with(leg, "spike_detector", fed_by_wires=True), way=-1))


def influences(sweep: Sweep, tick: Callable[[], object] = lambda: None) -> list[Influence]:
    """Rows of the table: rated first, by phase, then one factor at a time.

    Parameters
    ----------
    sweep
        What is swept.
    tick
        Is called after every row.
    """
    rated = sweep.case()
    rows = [_row("rated", "", rated), _row("power", "start", rated, (Phase.START,)), _row("power", "powered", rated, POWERED)]
    rows += [_row("power", "coasting", rated, COASTING), _row("wear", "worn", sweep.case(condition="worn"))]
    for made in (_turned_rows(sweep), _around_rows(sweep), _wire_rows(sweep)):
        for row in made:
            rows.append(row)
            tick()
    return rows


def _spread(rows: list[Influence], factor: str, detector: str) -> float:
    """Largest change of wrong counts per 1,000 that a factor makes, against the rated row."""
    rated = rows[0].missed(detector)[0] + rows[0].extra(detector)[0]
    return max(abs(row.missed(detector)[0] + row.extra(detector)[0] - rated) for row in rows if row.factor == factor)


def verdicts(rows: list[Influence]) -> list[str]:
    """Whether load, power state and wear disturb spike counting less than ripple counting: measured, reported either way."""
    sentences = []
    for factor in ("load", "power", "wear"):
        spikes, ripple = _spread(rows, factor, "spikes"), _spread(rows, factor, "ripple")
        word = "less" if spikes < ripple else "not less"
        sentences.append(f"{factor}: disturbs spike counting {word} than ripple counting ({spikes:.1f} against {ripple:.1f} per 1,000).")
    return sentences
