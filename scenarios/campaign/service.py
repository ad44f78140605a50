"""A service run: one lift flown through thousands of moves, homed again by a policy, judged cycle by cycle, told in one row.

Its columns, after those of any campaign: how often it was homed, which flags were true and which false, the level error by moves
since the last homing (``SINCE``: the first of each class), and wear with the index that is to show it, at each tenth of its moves.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from functools import cached_property
from math import nan

import numpy as np
from numpy.typing import NDArray

from scenarios import cache

cache.prepare()

from scenarios.build import build_rig  # noqa: E402
from scenarios.campaign.draws import value_of  # noqa: E402
from scenarios.campaign.sampling import uniforms  # noqa: E402
from scenarios.campaign.service_clock import from_start  # noqa: E402
from scenarios.campaign.service_state import DAY_US, carry, rest, set_ambient, wear  # noqa: E402
from scenarios.files.moves import Move  # noqa: E402
from scenarios.files.scenario import Scenario  # noqa: E402
from scenarios.files.service import Service  # noqa: E402
from scenarios.files.spread import Spread  # noqa: E402
from scenarios.result import Result, result_of  # noqa: E402
from scenarios.rig import Happening, trace_columns  # noqa: E402
from scenarios.runner import Flight, fly_rig  # noqa: E402
from scenarios.wiring import stored_energy  # noqa: E402
from sync.modes import Mode  # noqa: E402

__all__ = ["SINCE", "TENTHS", "Cycle", "Life", "service_columns"]

SINCE = (0, 1, 2, 5, 10, 20, 50, 100, 200, 500)
"""First number of moves since the homing of each class."""
TENTHS = 10
MEMORY = 0.05
"""Weight of a cycle in the wear index."""
COUNTS = (
    "moves",
    "homings",
    "homings_per_day",
    "faults",
    "drift_flags_true",
    "drift_flags_false",
    "drifts_missed",
    "drift_counts_per_100_moves",
    "service_flag_move",
    "service_due_move",
    "service_flag_false",
)


def service_columns() -> tuple[str, ...]:
    """Headings of what a service run adds to a row."""
    since = [name for first in SINCE for name in (f"since_{first}_moves", f"since_{first}_level_mm", f"since_{first}_worst_mm")]
    worn = [name for tenth in range(1, TENTHS + 1) for name in (f"wear_{tenth}", f"wear_index_{tenth}_permille")]
    return (*COUNTS, *since, *worn)


@dataclass
class Told:
    """What a life has come to so far."""

    moves: int = 0
    homings: int = 0
    faults: int = 0
    since: int = 0
    """Moves since the last homing."""
    true: int = 0
    false: int = 0
    missed: int = 0
    drift: float = 0.0
    """Sum over the stretches between homings of the count error of the worst leg at their end."""
    drifted: bool = False
    flagged: bool = False
    """Since the last homing: a count was off by more than the threshold; the controller said that one is."""
    index: float = 0.0
    flag_move: float = nan
    false_flag: float = 0.0
    level: NDArray[np.float64] = field(default_factory=lambda: np.zeros((len(SINCE), 3)))
    """Moves, sum and largest of the level error at rest [mm], by class."""
    worn: list[float] = field(default_factory=list)

    def home(self, error: float) -> None:
        """A homing has been done: the counts are right again, after having been off by ``error``."""
        self.drift += error
        self.missed += int(self.drifted and not self.flagged)
        self.homings += 1
        self.since = 0
        self.drifted = self.flagged = False

    def take_move(self, error_mm: float) -> None:
        """A move has ended with this level error."""
        row = self.level[sum(1 for first in SINCE if first <= self.since) - 1]
        row += (1.0, error_mm, 0.0)
        row[2] = max(row[2], error_mm)
        self.moves += 1
        self.since += 1


@dataclass(frozen=True)
class Cycle:
    """One flight of the rehearsal's moves in a life."""

    first: int
    last: int
    """Numbers of its moves, from 1, homings not counted; ``last`` is less than ``first`` where none of them was flown."""
    begun: NDArray[np.void]
    """The rig before it was flown, shape (1,)."""
    result: Result
    """Without a trace; its times run from where the cycle began."""

    @property
    def name(self) -> str:
        """Its moves in words."""
        if self.last <= self.first:
            return f"move {self.first}"
        return f"moves {self.first} {'and' if self.last == self.first + 1 else 'to'} {self.last}"

    def holds(self, move: int) -> bool:
        """Whether it is the cycle of a move, or that in which the move should have been flown."""
        return self.first <= move <= max(self.first, self.last)


class Life:
    """One lift through all its moves.

    Parameters
    ----------
    scenario
        Its cycle of moves, which ends where it begins.
    service
        What is repeated, and what wears.
    seed, run, chance
        Of its draws: ``run`` for its life in moves, ``chance`` for detector and readings.
    """

    def __init__(self, scenario: Scenario, service: Service, seed: int, run: int, chance: int) -> None:
        self.scenario, self.service = scenario, service
        self._cycle = build_rig(scenario, seed, chance)
        self.homing_scenario = _with_moves(scenario, _homing_moves(scenario))
        self._homing = build_rig(self.homing_scenario, seed, chance)
        self.homing: NDArray[np.void] | None = None
        """The rig before the last homing was flown, shape (1,)."""
        self.stuck = False
        """Whether that homing has left the lift unready."""
        self.rig = self._cycle.copy()
        self.told = Told()
        self.life = _life_of(service, seed, run)
        self._ambient = float(self.rig["world"]["legs"]["motor"]["ambient"][0, 0])
        self._friction = 1.0
        self._left = 0.0
        """Count error of the worst leg at the end of the cycle before."""
        self._seen = self._heard()

    @cached_property
    def _rates(self) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        detector = self._cycle["world"]["legs"]["detector"][0, : len(self.scenario.lift.leg)]
        return detector["run_miss"].copy(), detector["run_double"].copy()

    @property
    def worn(self) -> float:
        """Share of its life that is spent."""
        return self.told.moves / self.life if self.life else 0.0

    def cycles(self, file: str) -> Iterator[Cycle]:
        """Fly every cycle, in order, fewer where a fault could not be cleared."""
        begun = True
        while self.told.moves < self.service.moves:
            self._prepare(self._cycle, begun)
            begun = False
            before, first = self.rig.copy(), self.told.moves + 1
            start_us = int(before["world"]["time_us"][0])
            fly_rig(self.rig)
            result = self._result(file, start_us)
            self._read()
            yield Cycle(first, self.told.moves, before, result)
            if result.summary.diverged is not None or not self._home_again():
                break
            cycle_us = round(len(self.scenario.file.move) * DAY_US / self.service.moves_per_day)
            rest(self.rig, max(start_us + cycle_us - int(self.rig["world"]["time_us"][0]), 0))

    def row(self) -> list[float]:
        """Values of :func:`service_columns`."""
        told = self.told
        days = max(int(self.rig["world"]["time_us"][0]) / DAY_US, told.moves / self.service.moves_per_day)  # the last rest is not flown
        due = self.service.due_wear * self.life if self.life else nan
        counts = [told.moves, told.homings, told.homings / days, told.faults, told.true, told.false]
        drift = told.drift + (float(np.max(self._errors())) if told.since else 0.0)
        counts += [
            told.missed + int(told.drifted and not told.flagged),
            100.0 * drift / told.moves,
            told.flag_move,
            due if due <= told.moves else nan,
            told.false_flag,
        ]
        level = [value for moves, total, worst in told.level for value in (moves, total / moves if moves else nan, worst if moves else nan)]
        return [float(value) for value in (*counts, *level, *told.worn, *([nan] * (2 * TENTHS - len(told.worn))))]

    def _prepare(self, fresh: NDArray[np.void], begun: bool = False) -> None:
        if not begun:
            carry(self.rig, fresh)
        set_ambient(self.rig, self._ambient, self.service.ambient_swing_c)
        grown = 1.0 + (self.service.worn_friction - 1.0) * self.worn
        wear(
            self.rig,
            grown / self._friction,
            (self._rates[0] + self.service.worn_miss * self.worn, self._rates[1] + self.service.worn_double * self.worn),
        )
        self._friction = grown

    def _result(self, file: str, start_us: int) -> Result:
        columns = trace_columns(list(self.scenario.lift.names))
        rig = from_start(self.rig, start_us)
        flight = Flight(self.scenario, rig, np.zeros((0, 0)), columns, 0.0, "flat", int(rig["world"]["seed"][0]))
        return result_of(flight, float(stored_energy(rig)), self.scenario.limits, file)

    def _errors(self) -> NDArray[np.float64]:
        """How far the count of each leg is off [counts]."""
        one, legs = self.rig[0], len(self.scenario.lift.leg)
        told = one["settings"]["legs"][:legs]
        height = (one["memory"]["legs"]["counts"][:legs] + 0.5) / told["counts_per_metre"] + told["home_offset"]
        return np.asarray(np.abs(one["world"]["legs"]["height"][:legs] - height) * told["counts_per_metre"], dtype=np.float64)

    def _heard(self) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
        """Pulses corrected by the controller, and pulses heard, by leg."""
        one, legs = self.rig[0], len(self.scenario.lift.leg)
        known = one["memory"]["legs"][:legs]
        return known["rejected"] + known["inserted"], one["world"]["legs"]["detector"]["heard"][:legs].copy()

    def _read(self) -> None:
        """Take what a cycle has left behind."""
        one, told = self.rig[0], self.told
        log = one["log"][: min(int(one["events"]), len(one["log"]))]
        homed = log["time_us"][(log["what"] == Happening.MODE) & (log["value"] == Mode.HOMING)].tolist()
        done, error = 0, float(np.max(self._errors()))
        for move in one["move"][: int(one["moves"])]:
            while done < len(homed) and homed[done] < float(move["start_us"]):
                told.home(self._left)
                done += 1
            if not move["homing"]:
                told.take_move(1e3 * float(move["after_coast"]))
                self._watch_wear_at(told.moves)
        self._judge_flags(int(np.sum(log["what"] == Happening.DRIFT)))
        for _ in homed[done:]:
            told.home(self._left)
        self._left = error
        corrected, heard = self._heard()
        share = 1e3 * float(np.max(np.maximum(corrected - self._seen[0], 0) / np.maximum(heard - self._seen[1], 1)))
        self._seen = corrected, heard
        told.index += MEMORY * (share - told.index)
        flag = self.service.flag_permille
        if flag is not None and told.index >= flag and np.isnan(told.flag_move):
            told.flag_move = float(told.moves)
            told.false_flag = float(self.life == 0.0 or self.worn < self.service.due_wear)

    def _judge_flags(self, flags: int) -> None:
        """Hold what the controller said of drift in this cycle against the truth at its end."""
        told = self.told
        off = bool(np.max(self._errors()) >= self.service.drift_counts)
        told.drifted |= off
        if flags:
            told.flagged = True
            told.true, told.false = (told.true + 1, told.false) if off else (told.true, told.false + 1)

    def _watch_wear_at(self, moves: int) -> None:
        while len(self.told.worn) < 2 * TENTHS and moves * TENTHS >= (len(self.told.worn) // 2 + 1) * self.service.moves:
            self.told.worn += [self.worn, self.told.index]

    def _home_again(self) -> bool:
        """Home where the policy says so; False where a fault stays."""
        memory, told, service = self.rig["memory"][0], self.told, self.service
        faulted = int(memory["mode"]) == Mode.FAULTED
        told.faults += int(faulted)
        asked = service.rehome == "asked" and int(memory["ask"]) != 0
        counted = service.rehome_every is not None and told.since >= service.rehome_every
        if not (faulted or asked or counted or not memory["referenced"]):
            return True
        told.home(float(np.max(self._errors())))
        self._prepare(self._homing)
        self.homing = self.rig.copy()
        fly_rig(self.rig)
        self._seen = self._heard()
        self.stuck = int(memory["mode"]) != Mode.READY
        return not self.stuck


def _life_of(service: Service, seed: int, run: int) -> float:
    """Moves until this lift is worn out; 0: it does not wear."""
    if service.life_moves is None or service.life_spread == 1.0:
        return service.life_moves or 0.0
    spread = Spread(distribution="log-normal", median=service.life_moves, spread=service.life_spread)
    return float(value_of(spread, float(uniforms(seed, "service.life_moves", run, run + 1)[0])))


def _homing_moves(scenario: Scenario) -> tuple[Move, ...]:
    """Clear what stands, home, and go back to where the cycle begins."""
    start = scenario.file.start
    height = start.height_mm if start.heights_mm is None else sum(start.heights_mm.values()) / len(start.heights_mm)
    return Move(clear=True), Move(home=True), Move(to_mm=height)


def _with_moves(scenario: Scenario, moves: tuple[Move, ...]) -> Scenario:
    return replace(scenario, file=scenario.file.model_copy(update={"move": moves, "fault": (), "end_s": None}))
