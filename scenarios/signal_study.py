"""A study of the detectors of one leg: bench moves of a new and a worn motor in both directions, all detectors scored."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from scenarios.build_signal import build_line
from scenarios.files.leg import Leg
from scenarios.files.lift import Lift
from scenarios.files.scenario import Scenario
from scenarios.signal_bench import NEIGHBOUR, Around, Bench, bench_move, bench_turn
from scenarios.signal_detectors import Setting, chains, sample_rate, setting_of
from scenarios.signal_estimates import EstimateScore, score_estimates, sum_estimates
from scenarios.signal_flight import fly_scenario
from scenarios.signal_phases import phases
from scenarios.signal_run import ShapeChain, Source, listen, truth
from scenarios.signal_score import PhaseScore, Score, add, score

__all__ = ["CONDITIONS", "JUDGED", "TURNED", "Case", "Flown", "Study", "bench_moves", "case_of", "study_lift", "study_scenario"]

DIRECTIONS = {1: "up", -1: "down"}
CONDITIONS = ("new", "worn")
TURNED = "down, reversed, braked"
JUDGED = ("accepted", "too soon", "too small", "unlike")
_OTHER_KEY = 0x5BD1E995
"""Makes the draws of the neighbour others than those of the leg."""


@dataclass(frozen=True)
class Flown:
    """A flown move of a leg, with the motor beside it if there is one.

    Attributes
    ----------
    name
        What to call it.
    leg
        The tables of the leg.
    bench, beside
        The flown move, and that of the motor in the same harness.
    """

    name: str
    leg: Leg
    bench: Bench
    beside: Bench | None = None

    def source(self, worn: bool, seed: int) -> Source:
        """The wires with the sparks and the noise of a ``seed``."""
        rate = sample_rate(self.leg)
        line = build_line(self.bench.world, self.bench.place, self.leg, worn, rate)
        line["seed"] = seed
        if self.beside is None:
            return Source(line, self.bench.history)
        other = build_line(self.beside.world, self.beside.place, self.leg, worn, rate)
        other["seed"] = seed
        other["key"] ^= np.uint64(_OTHER_KEY)
        return Source(line, self.bench.history, Source(other, self.beside.history))

    def phases(self) -> NDArray[np.int64]:
        """Phase of every sub-step."""
        return phases(self.bench.history, self.bench.step, self.bench.load_steps)


@dataclass(frozen=True)
class Case:
    """One motor condition on one move.

    Attributes
    ----------
    condition, move
        "new" or "worn"; what was flown.
    scores
        By detector, all seeds together.
    nets
        Heard less true of every seed, by detector.
    estimates
        Of the shape check, all seeds together.
    judged
        How the candidates of the shape check ended: accepted, too soon, too small, unlike.
    """

    condition: str
    move: str
    scores: dict[str, Score]
    nets: dict[str, tuple[int, ...]]
    estimates: EstimateScore = field(default_factory=EstimateScore)
    judged: tuple[int, ...] = (0, 0, 0, 0)

    def as_dict(self) -> dict[str, Any]:
        """For JSON."""
        return {
            "condition": self.condition,
            "move": self.move,
            "detectors": {name: _score_dict(one, self.nets[name]) for name, one in self.scores.items()},
            "estimates": self.estimates.as_dict(),
            "candidates": dict(zip(JUDGED, self.judged, strict=True)),
        }


@dataclass(frozen=True)
class Study:
    """All cases of one leg, the moves they were heard on, and the setting of its spike detector.

    ``turned`` holds the cases of the move with a reversal and a brake.  They are told, but stand outside what a usual move
    costs: no detector can hear sparks that a shorted motor does not show.
    """

    lift: str
    leg: str
    seeds: int
    rate: float
    setting: Setting
    cases: tuple[Case, ...]
    moves: tuple[Flown, ...]
    turned: tuple[Case, ...] = ()

    @property
    def told(self) -> tuple[Case, ...]:
        """All cases: the usual moves, then the one with a reversal."""
        return (*self.cases, *self.turned)

    def as_dict(self) -> dict[str, Any]:
        """For JSON."""
        return {
            "lift": self.lift,
            "leg": self.leg,
            "seeds": self.seeds,
            "samples_per_s": self.rate,
            "spike_detector": {
                "gain": self.setting.gain,
                "threshold_mv": 1e3 * self.setting.threshold,
                "median_spike_mv": 1e3 * self.setting.spike,
                "noise_mv": 1e3 * self.setting.noise,
            },
            "cases": [case.as_dict() for case in self.told],
        }


def _phase_dict(part: PhaseScore) -> dict[str, Any]:
    extra = part.extra_interval()
    return {
        "true": part.true,
        "missed": part.missed,
        "doubled": part.doubled,
        "false": part.false,
        "latency_us": part.latency,
        "missed_share_95": list(part.missed_interval()),
        "extra_rate_95": [extra[0], None if np.isinf(extra[1]) else extra[1]],
    }


def _score_dict(one: Score, nets: tuple[int, ...]) -> dict[str, Any]:
    return {
        **_phase_dict(one.whole),
        "net_per_move": float(np.mean(nets)),
        "net_sd": float(np.std(nets)),
        "phases": {phase.word: _phase_dict(part) for phase, part in sorted(one.phases.items())},
    }


def case_of(flown: Flown, condition: str, setting: Setting, seeds: range) -> Case:
    """Score all detectors of a leg on one flown move, once per seed.

    Parameters
    ----------
    flown
        The move.
    condition
        "new" or "worn".
    setting
        Of the spike detector.
    seeds
        Of the sparks and the noise.
    """
    kind = flown.phases()
    found: dict[str, list[Score]] = {}
    estimates = []
    judged = np.zeros(len(JUDGED), np.int64)
    for seed in seeds:
        source = flown.source(condition == "worn", seed)
        set_up = chains(flown.leg, setting)
        listen(source, list(set_up.values()))
        true = truth(source)
        for name, chain in set_up.items():
            found.setdefault(name, []).append(score(true, chain.heard(), kind, 1e6 * flown.bench.step))
            if isinstance(chain, ShapeChain):
                estimates.append(score_estimates(chain.estimates, flown.bench.history, flown.bench.step))
                judged += chain.ended
    nets = {name: tuple(one.net for one in scores) for name, scores in found.items()}
    return Case(
        condition, flown.name, {name: add(scores) for name, scores in found.items()}, nets, sum_estimates(estimates), tuple(judged.tolist())
    )


def bench_moves(lift: Lift, name: str) -> list[Flown]:
    """The bench move of a leg, up and down, with a neighbour that is driven on while it coasts."""
    leg = lift.leg[lift.names.index(name)]
    return [Flown(word, leg, bench_move(lift, name, way), bench_move(lift, name, way, NEIGHBOUR)) for way, word in DIRECTIONS.items()]


def study_lift(lift: Lift, name: str, seeds: range) -> Study:
    """Fly the bench move of a leg both ways, and the one with a reversal; score all detectors on a new and a worn motor."""
    moves = bench_moves(lift, name)
    setting = setting_of(moves[0].leg, moves[0].bench)
    cases = tuple(case_of(flown, condition, setting, seeds) for condition in CONDITIONS for flown in moves)
    turn = Flown(TURNED, moves[0].leg, bench_turn(lift, name), bench_turn(lift, name, Around(load=NEIGHBOUR.load)))
    turned = tuple(case_of(turn, condition, setting, seeds) for condition in CONDITIONS)
    return Study(lift.name, name, len(seeds), sample_rate(moves[0].leg), setting, cases, tuple(moves), turned)


def study_scenario(scenario: Scenario, name: str, seeds: range) -> Study:
    """Fly a rehearsal once and score all detectors of one leg on it, new and worn; the next leg is its neighbour."""
    place = scenario.lift.names.index(name)
    leg = scenario.lift.leg[place]
    setting = setting_of(leg, bench_move(scenario.lift, name, 1))
    benches = fly_scenario(scenario)
    beside = benches[(place + 1) % len(benches)] if len(benches) > 1 else None
    flown = Flown(scenario.name, leg, benches[place], beside)
    cases = tuple(case_of(flown, condition, setting, seeds) for condition in CONDITIONS)
    return Study(scenario.lift.name, name, len(seeds), sample_rate(leg), setting, cases, (flown,))
