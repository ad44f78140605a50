"""The result of a rehearsal: summary, verdict and level budget of a flight, and the JSON object that says them.

``summarise`` reads the records; ``result_of`` judges and budgets; ``as_json`` lays the result out for machines.
"""

from __future__ import annotations

import platform
from collections.abc import Iterable, Sequence
from dataclasses import asdict, dataclass, replace
from importlib.metadata import PackageNotFoundError, version
from math import isfinite
from typing import Any

import numpy as np

from scenarios.budget import Budget, BudgetFacts, level_budget
from scenarios.build_settings import LAWS
from scenarios.happenings import tell_absent, tell_events, word_of
from scenarios.limits import LimitEntry
from scenarios.result_conduct import first_fault, read_conduct, read_contacts
from scenarios.result_moves import read_moves
from scenarios.summary import Controller, DeckView, Energy, Extreme, MoveResult, RunSummary
from scenarios.tracks import Tracks
from scenarios.verdict import Verdict, judge, pinch_cautions
from scenarios.why_table import Why
from sync.modes import MODE_WORDS, REASON_WORDS, Law, Mode, Reason

__all__ = ["Result", "as_json", "count_errors_mm", "result_of", "summarise", "versions"]

HEAT_TERMS = ("copper", "bridge", "diode", "brush", "drag", "gear", "thread", "collar", "guide", "impact")
_LAWS = {law: word for word, law in LAWS.items()}


@dataclass(frozen=True)
class Result:
    """Everything that is reported of one rehearsal."""

    scenario: str
    file: str
    seed: int
    clock: str
    wall_s: float
    """Time of the simulation alone, kernels already loaded [s]."""
    sets: tuple[tuple[str, str], ...]
    summary: RunSummary
    verdict: Verdict
    budget: Budget | None
    """Of the last move that was no homing; ``None`` with one leg or without such a move."""
    law: str
    deck: DeckView | None
    """At the worst tilt; ``None`` without a trace or without a move."""
    tracks: Tracks
    why: tuple[Why, ...] = ()
    """What the broken limits go back to, where it was asked for."""

    def without_trace(self) -> Result:
        """The same result without its trace, so that many can be kept."""
        return replace(self, tracks=Tracks(np.empty((0, 0)), ()))


def versions() -> dict[str, str]:
    """Versions that a run depends on, by name."""
    found = {"python": platform.python_version()}
    for name in ("levelrig", "numpy", "numba", "simpy", "matplotlib"):
        try:
            found[name] = version(name)
        except PackageNotFoundError:
            found[name] = "not installed"
    return found


def _energy(rig: Any, stored: float, count: int) -> Energy:
    legs, supply = rig["world"]["legs"], rig["world"]["supply"]
    parts = {"supply": float(supply["energy_heat"])}
    parts |= {term: sum(float(legs[q]["energy"][term]) for q in range(count)) for term in HEAT_TERMS}
    drawn, heat = float(supply["energy_in"]), sum(parts.values())
    work = sum(float(legs[q]["energy"]["work"]) for q in range(count)) + float(rig["world"]["taken"])
    residual = abs(drawn - heat - work - stored) / drawn if drawn > 0.0 else None
    return Energy(drawn, heat, work, stored if abs(stored) > 1e-9 else 0.0, residual, parts)


def _controller(memory: Any) -> Controller:
    mode, reason = Mode(int(memory["mode"])), Reason(int(memory["reason"]))
    fault = mode is Mode.FAULTED or reason is not Reason.NONE
    text, remedy = REASON_WORDS[reason]
    return Controller(mode.name.lower(), MODE_WORDS[mode][0], word_of(reason) if fault else None, text, remedy)


def _hardest_stop(rig: Any, names: Sequence[str]) -> Extreme | None:
    legs = rig["world"]["legs"][: len(names)]
    q = int(np.argmax(legs["stop_peak"]))
    peak = float(legs[q]["stop_peak"])
    return Extreme(peak, float(legs[q]["stop_peak_us"]) / 1e6, names[q]) if peak > 0.0 else None


def _hottest(rig: Any, names: Sequence[str]) -> Extreme:
    motors = rig["world"]["legs"]["motor"][: len(names)]
    q = int(np.argmax(motors["hottest"]))
    return Extreme(float(motors["hottest"][q]), float(motors["hottest_us"][q]) / 1e6, names[q])


def _lowest_supply(rig: Any, tracks: Tracks) -> Extreme | None:
    lowest = float(rig["world"]["supply"]["lowest"])
    if tracks.empty:
        return Extreme(lowest)
    row = int(np.argmin(tracks.whole("supply_v")))
    return Extreme(min(lowest, float(tracks.whole("supply_v")[row])), float(tracks.time[row]))


def count_errors_mm(rig: Any, count: int) -> tuple[float, ...]:
    """True minus counted height of each leg now [mm]; empty where the controller does not know its heights."""
    if not rig["memory"]["referenced"]:
        return ()
    errors = []
    for q in range(count):
        told = rig["settings"]["legs"][q]
        counted = (float(rig["memory"]["legs"][q]["counts"]) + 0.5) / float(told["counts_per_metre"]) + float(told["home_offset"])
        errors.append(1e3 * (float(rig["world"]["legs"][q]["height"]) - counted))
    return tuple(errors)


def summarise(rig: Any, names: Sequence[str], tracks: Tracks, stored: float) -> RunSummary:
    """Summary of a flown rig.

    Parameters
    ----------
    rig
        One record of :func:`scenarios.rig.rig_dtype`, flown to its end.
    names
        Names of the legs in their order.
    tracks
        Trace of the flight, may be empty.
    stored
        Energy stored at the end less that at the start [J].
    """
    count = len(names)
    events, dropped = tell_events(rig, names)
    bad = int(rig["world"]["diverged"])
    now = float(rig["world"]["time_us"]) / 1e6
    return RunSummary(
        names=tuple(names),
        simulated_s=now,
        moves=read_moves(rig, names, tracks),
        energy=_energy(rig, stored, count),
        events=events,
        controller=_controller(rig["memory"]),
        hottest=_hottest(rig, names),
        hardest_stop=_hardest_stop(rig, names),
        lowest_supply=_lowest_supply(rig, tracks),
        final_errors_mm=count_errors_mm(rig, count),
        diverged=Extreme(float("nan"), now, names[min(bad, count) - 1]) if bad else None,
        absent=tell_absent(rig, names),
        events_dropped=dropped,
        conduct=read_conduct(rig, names),
        contacts=read_contacts(rig["world"]),
        fault_s=first_fault(rig),
    )


def _corrections(run: RunSummary, what: str, leg: str, start_s: float, end_s: float) -> float:
    """Pulses that the controller rejected or inserted on a leg during a move; the log tells them at its end."""
    return sum(event.value for event in run.events if event.what == what and event.leg == leg and start_s < event.t_s <= end_s)


def _miscounts(run: RunSummary, moves: Sequence[MoveResult], per_mm: Sequence[float]) -> list[float]:
    """True minus counted height [mm] that wrong counts made during ``moves``, one value per leg."""
    sizes = []
    for q, name in enumerate(run.names):
        counts = 0.0
        for move in moves:
            end = move.end_s if move.end_s is not None else run.simulated_s
            rejected = _corrections(run, "rejected", name, move.start_s, end)
            inserted = _corrections(run, "inserted", name, move.start_s, end)
            counts += move.direction * (move.legs[q].missed - move.legs[q].extra + rejected - inserted)
        sizes.append(counts / per_mm[q])
    return sizes


def _facts(rig: Any, run: RunSummary, move: MoveResult, carried: Sequence[float]) -> BudgetFacts:
    settings, count = rig["settings"], len(run.names)
    per_mm = [float(settings["legs"][q]["counts_per_metre"]) * 1e-3 for q in range(count)]
    homings = [one for one in run.moves if one.is_homing and one.number < move.number and one.end_s is not None]
    since = homings[-1].number if homings else 0
    homing = [leg.error_mm for leg in homings[-1].legs] if homings else []
    known = [error for error in homing if error is not None]
    legs = rig["world"]["legs"][:count]
    low = ((legs["stop_low"] - legs["debris_low"] - settings["legs"]["home_offset"][:count]) * 1e3).tolist()
    tick = float(settings["tick"])
    return BudgetFacts(
        counts_per_mm=per_mm,
        law=_LAWS[Law(int(settings["law"]))],
        gate_on_counts=float(settings["gate_on"]),
        predicts=bool(settings["predict"]),
        control_tick_s=tick * int(settings["control_every"]),
        cut_tick_s=tick,
        delay_s=float(settings["compute_delay"]),
        miscounts_mm=_miscounts(run, [one for one in run.moves if since < one.number <= move.number], per_mm),
        homing_mm=known if len(known) == count and homings else None,
        stops_mm=low if homings else None,
        carried_mm=carried if len(carried) == count and not homings else None,
    )


def _budget(rig: Any, run: RunSummary, carried: Sequence[float]) -> Budget | None:
    worked = [move for move in run.moves if not move.is_homing]
    if len(run.names) < 2 or not worked:
        return None
    return level_budget(worked[-1], _facts(rig, run, worked[-1], carried))


def _deck(rig: Any, run: RunSummary, tracks: Tracks) -> DeckView | None:
    """Deck at the worst tilt of all moves, homings only where there is nothing else."""
    moved = [move for move in run.moves if not move.is_homing] or list(run.moves)
    tilted = [move for move in moved if move.tilt_s is not None]
    if not tilted:
        return None
    worst = max(tilted, key=lambda move: move.tilt_deg or 0.0)
    at_s = worst.tilt_s or 0.0
    row, legs, deck = tracks.row(at_s), rig["world"]["legs"], rig["world"]["deck"]
    count = range(len(run.names))
    return DeckView(
        names=run.names,
        x_mm=tuple(1e3 * float(legs[q]["x"]) for q in count),
        y_mm=tuple(1e3 * float(legs[q]["y"]) for q in count),
        z_mm=tuple((1e3 * tracks.legs("height_m")[:, row]).tolist()),
        at_s=at_s,
        tilt_deg=worst.tilt_deg or 0.0,
        payload_kg=float(deck["payload"]),
        payload_mm=(1e3 * float(deck["payload_x"]), 1e3 * float(deck["payload_y"])),
    )


def result_of(
    flight: Any, stored_j: float, entries: Iterable[LimitEntry], file: str, sets: Iterable[tuple[str, object]] = (), budget: bool = True
) -> Result:
    """Result of one flight.

    Parameters
    ----------
    flight
        What :func:`scenarios.runner.fly` returned.
    stored_j
        Energy stored at its end less that at its start [J], from :func:`scenarios.wiring.stored_energy`.
    entries
        Limits to judge by.
    file
        Scenario file as it was named, for messages and the report.
    sets
        Overrides that were applied.
    budget
        Whether the level budget is wanted; a campaign, which keeps of each lift its row alone, does without.

    Raises
    ------
    InputError
        When no limit could be judged.
    """
    tracks = Tracks(np.asarray(flight.trace, dtype=np.float64), tuple(flight.columns))
    rig = flight.rig[0]
    run = summarise(rig, tracks.names, tracks, stored_j)
    return Result(
        scenario=flight.scenario.name,
        file=file,
        seed=int(flight.seed),
        clock=flight.clock,
        wall_s=float(flight.wall_s),
        sets=tuple((key, str(value)) for key, value in sets),
        summary=run,
        verdict=judge(run, entries, file),
        budget=_budget(rig, run, flight.carried_mm) if budget else None,
        law=_LAWS[Law(int(rig["settings"]["law"]))],
        deck=_deck(rig, run, tracks),
        tracks=tracks,
    )


def _clean(value: Any) -> Any:
    """``value`` with every number that JSON cannot hold turned into ``None``."""
    if isinstance(value, dict):
        return {key: _clean(one) for key, one in value.items()}
    if isinstance(value, list | tuple):
        return [_clean(one) for one in value]
    return None if isinstance(value, float) and not isfinite(value) else value


def _last(run: RunSummary) -> dict[str, Any]:
    if not run.moves:
        return {"level": None, "legs": []}
    return {"level": asdict(run.moves[-1].level), "legs": [asdict(leg) for leg in run.moves[-1].legs]}


def as_json(result: Result) -> dict[str, Any]:
    """JSON object of one rehearsal: plain dictionaries, lists, numbers, strings, booleans and ``None``."""
    run = result.summary
    last = _last(run)
    energy = asdict(run.energy)
    limits = []
    for one in result.verdict.limits:
        limit = asdict(one)
        limit.pop("upper")
        if not one.wanted:
            del limit["wanted"], limit["told"]
        limits.append(limit)
    whole = {
        "scenario": result.scenario,
        "seed": result.seed,
        "clock": result.clock,
        "verdict": result.verdict.word,
        "simulated_s": run.simulated_s,
        "wall_s": result.wall_s,
        "limits": limits,
        "level": last["level"],
        "legs": last["legs"],
        "moves": [asdict(move) for move in run.moves],
        "energy": energy,
        "events": [asdict(event) for event in run.events],
        "file": result.file,
        "sentence": result.verdict.sentence,
        "notes": list(result.verdict.notes),
        "controller": asdict(run.controller),
        "conduct": asdict(run.conduct),
        "contacts": [asdict(one) for one in run.contacts],
        "budget": asdict(result.budget) if result.budget else None,
        "cautions": list(pinch_cautions(result.verdict.limits, run)),
        "why": [asdict(one) for one in result.why],
        "sets": [{"key": key, "value": value} for key, value in result.sets],
        "versions": versions(),
    }
    cleaned: dict[str, Any] = _clean(whole)
    return cleaned
