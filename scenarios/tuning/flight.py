"""One rehearsal at one corner under changed settings: flown on the flat clock and read into a few numbers."""

from __future__ import annotations

from dataclasses import asdict, dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from scenarios import cache

cache.prepare()

from scenarios.build import build_rig  # noqa: E402
from scenarios.build_script import latest_end  # noqa: E402
from scenarios.build_settings import fill_settings  # noqa: E402
from scenarios.files.loading import load_scenario  # noqa: E402
from scenarios.files.scenario import Scenario  # noqa: E402
from scenarios.files.settings import Settings  # noqa: E402
from scenarios.result import result_of  # noqa: E402
from scenarios.rig import TRACE_GLOBAL, TRACE_LEG, trace_columns  # noqa: E402
from scenarios.runner import Flight, fly_rig  # noqa: E402
from scenarios.trace import empty_trace  # noqa: E402
from scenarios.tuning.corners import Corner  # noqa: E402
from scenarios.tuning.plan import Plan, as_held  # noqa: E402
from scenarios.wiring import stored_energy  # noqa: E402
from sync.modes import Mode, Reason  # noqa: E402

__all__ = ["NOMINAL", "Bench", "Outcome", "score"]

NOMINAL = Corner("as in the files")
TRACE_EVERY = 10e-3
"""s between the rows from which the duty headroom is read."""


@dataclass(frozen=True)
class Outcome:
    """What a flight came to: worst of its moves, homings apart; lengths in mm, times in s.

    ``headroom`` is what the duty of the leg that needed most left to 1 while it ran; ``miscounts`` is the largest difference
    of true and heard commutations of a leg, ``reason`` empty where the controller ended ready.
    """

    peak: float
    rms: float
    at_cut: float
    after: float
    seen_peak: float
    time: float
    switch_offs: int
    current: float
    supply: float
    headroom: float
    miscounts: int
    reason: str
    trips: int = 0
    """Pinches that the controller decided on."""
    force: float = 0.0
    """Largest force on any obstacle [N]."""
    broken: tuple[str, ...] = ()
    """Limits of the rehearsal that were broken, where they were judged."""

    @property
    def ended(self) -> bool:
        """Whether every move came to its end and no limit was broken."""
        return not self.reason and not self.broken

    @property
    def trouble(self) -> str:
        """Why it did not end well; empty where it did."""
        return self.reason or ("breaks " + ", ".join(self.broken) if self.broken else "")

    def as_dict(self) -> dict[str, Any]:
        """Plain data."""
        return asdict(self)


def _reason(memory: Any) -> str:
    if memory["mode"] == Mode.READY and memory["reason"] == Reason.NONE:
        return ""
    mode, reason = Mode(int(memory["mode"])), Reason(int(memory["reason"]))
    return (reason.name if reason is not Reason.NONE else f"ended {mode.name}").lower().replace("_", " ")


def _headroom(trace: NDArray[np.float64], legs: int, soft_start: float) -> float:
    """Duty left to the leg that needed most, the ramp of the start apart; 1 where nothing ran."""
    first = len(TRACE_GLOBAL)
    moving = trace[:, TRACE_GLOBAL.index("mode")] == Mode.MOVING
    if not np.any(moving):
        return 1.0
    time = trace[:, 0]
    begins = np.flatnonzero(moving & ~np.concatenate(([False], moving[:-1])))
    since = time - time[begins[np.maximum(np.searchsorted(begins, np.arange(len(time)), side="right") - 1, 0)]]
    run = moving & (since > soft_start + 0.2)
    duties = [np.abs(trace[run, first + q * len(TRACE_LEG) + TRACE_LEG.index("duty")]) for q in range(legs)]
    return 1.0 - max((float(np.max(duty)) for duty in duties if len(duty)), default=0.0)


def score(rig: Any, trace: NDArray[np.float64]) -> Outcome:
    """Outcome of a flown rig record."""
    legs = int(rig["world"]["n_legs"])
    moves = rig["move"][: int(rig["moves"])]
    moves = moves[moves["homing"] == 0]
    samples = max(int(np.sum(moves["samples"])), 1)
    reason = _reason(rig["memory"])
    unended = bool(np.any(moves["end_us"] == 0.0)) or len(moves) == 0
    scores = moves["legs"][:, :legs]
    return Outcome(
        peak=1e3 * float(np.max(moves["peak"], initial=0.0)),
        rms=1e3 * float(np.sqrt(np.sum(moves["square_sum"]) / samples)),
        at_cut=1e3 * float(np.max(moves["at_cut"], initial=0.0)),
        after=1e3 * float(np.max(moves["after_coast"], initial=0.0)),
        seen_peak=1e3 * float(np.max(moves["seen_peak"], initial=0.0)),
        time=1e-6 * float(np.sum(moves["end_us"] - moves["start_us"])) if not unended else float("inf"),
        switch_offs=int(np.sum(scores["switch_offs"])),
        current=float(np.max(scores["peak_current"], initial=0.0)),
        supply=float(rig["world"]["supply"]["lowest"]),
        headroom=_headroom(trace, legs, float(rig["settings"]["soft_start"])),
        miscounts=int(np.max(scores["missed"] + scores["extra"], initial=0)),
        reason=reason or ("a move did not end" if unended else ""),
        trips=int(rig["memory"]["pinch"]["trips"]),
        force=float(np.max(rig["world"]["contact"]["peak"])),
    )


class Bench:
    """Every rehearsal of a plan at every corner, made ready once and flown as often as wanted.

    Parameters
    ----------
    plan
        What is tuned.
    """

    def __init__(self, plan: Plan) -> None:
        self.plan = plan
        self._made: dict[tuple[int, str], tuple[Scenario, NDArray[np.void]]] = {}

    def scenario(self, rehearsal: int, corner: Corner) -> Scenario:
        """The rehearsal at the corner, with its seed."""
        plain = self.plan.rehearsals[rehearsal]
        if not corner.changes and corner.payload == 1.0:
            return plain
        changes = [*self.plan.changes, *corner.changes, ("payload.mass_kg", plain.file.payload.mass_kg * corner.payload)]
        moved = load_scenario(plain.path, changes)
        if any(key == "seed" for key, _ in corner.changes):
            return moved
        return replace(moved, file=moved.file.model_copy(update={"seed": plain.file.seed}))

    def _ready(self, rehearsal: int, corner: Corner) -> tuple[Scenario, NDArray[np.void]]:
        """The rehearsal at the corner, and its rig; corners of a plan are told apart by their names."""
        key = (rehearsal, corner.name)
        if key not in self._made:
            scenario = self.scenario(rehearsal, corner)
            self._made[key] = (scenario, build_rig(scenario))
        return self._made[key]

    def rig(self, rehearsal: int, corner: Corner, settings: Settings) -> NDArray[np.void]:
        """A rig of its own, ready to fly under ``settings``; the guard tick must be that of the plan."""
        scenario, made = self._ready(rehearsal, corner)
        settings = as_held(scenario, settings)
        rig = made.copy()
        one = rig[0]
        delay = float(one["settings"]["compute_delay"])  # already in whole sub-steps
        fill_settings(one["settings"], settings, scenario.lift)
        one["settings"]["compute_delay"] = delay
        one["end_us"] = round(latest_end(scenario.file, settings, scenario.lift) * 1e6)
        one["trace_every"] = max(1, round(TRACE_EVERY / float(one["settings"]["tick"])))
        return rig

    def running_currents(self, rehearsal: int, settings: Settings) -> list[float]:
        """Mean current of each leg while it ran steadily in the first move of a rehearsal [A]."""
        rig = self.rig(rehearsal, NOMINAL, settings)
        fly_rig(rig)
        legs = int(rig["world"]["n_legs"][0])
        return [float(current) for current in rig["move"][0][0]["legs"]["run_current"][:legs]]

    def fly(self, rehearsal: int, corner: Corner, settings: Settings, limits: bool = False) -> Outcome:
        """Fly one rehearsal at one corner; ``limits``: judge it by its own limits as well."""
        rig = self.rig(rehearsal, corner, settings)
        trace = empty_trace(rig)
        rows = fly_rig(rig, trace)
        found = score(rig[0], trace[:rows])
        if not limits:
            return found
        scenario = self._ready(rehearsal, corner)[0]
        scenario = replace(scenario, settings=as_held(scenario, settings))
        flight = Flight(scenario, rig, trace[:rows], trace_columns(list(scenario.lift.names)), 0.0, "flat", scenario.seed)
        judged = result_of(flight, stored_energy(rig), scenario.limits, str(scenario.path)).verdict.limits
        return replace(found, broken=tuple(one.name for one in judged if one.evaluated and not one.ok))
