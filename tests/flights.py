"""A flown two-column lift written by hand into real records, so that judging and drawing are tested without flying.

Raise from 100 to 400 mm in 10 s, coast, rest; the right leg lags by 0.6 mm at the cut, loses 3 counts and hears one extra.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from scenarios.rig import Happening, rig_dtype, trace_columns
from scenarios.summary import Controller, Energy, Extreme, LegResult, Level, MoveResult, RunSummary
from scenarios.tracks import Tracks
from sync.modes import Command, Law, Mode

NAMES = ("left", "right")
PER_METRE = 19500.0


def hand_trace(names: tuple[str, ...] = NAMES, rows: int = 1100) -> Tracks:
    """Trace of the raise, 10 ms a row."""
    columns = trace_columns(list(names))
    time = np.arange(rows) * 0.01
    share = np.clip(time / 10.0, 0.0, 1.0)
    values = np.zeros((rows, len(columns)))

    def put(column: str, signal: Any) -> None:
        values[:, columns.index(column)] = signal

    put("time_s", time)
    put("mode", np.where(time < 0.2, Mode.READY, np.where(time < 10.0, Mode.MOVING, np.where(time < 10.5, Mode.SETTLING, Mode.READY))))
    put("supply_v", 24.0 - 1.2 * (time < 10.0) - 2.0 * (time < 0.1))
    error = 0.6e-3 * np.sin(0.5 * np.pi * share)
    put("level_error_m", error)
    put("believed_error_m", 0.8 * error)
    put("tilt_x_rad", -error / 1.2)
    for q, name in enumerate(names):
        height = 0.1 + 0.3 * share - q * error / max(len(names) - 1, 1)
        counts = np.floor(height * PER_METRE)
        missed = np.where(time > 4.0, 3.0, 0.0) * (q == 1)
        extra = np.where(time > 7.0, 1.0, 0.0) * (q == 1)
        put(f"{name}.height_m", height)
        put(f"{name}.believed_m", height)
        put(f"{name}.speed_m_s", 0.03 * (time < 10.0))
        put(f"{name}.current_a", (2.4 + 1.5 * (q == 0)) * (time < 10.0))
        put(f"{name}.measured_current_a", (2.45 + 1.5 * (q == 0)) * (time < 10.0) + 0.05 * np.sin(40.0 * time))
        put(f"{name}.duty", (0.88 + 0.03 * (0.5 - q)) * (time < 10.0))
        put(f"{name}.commuted", counts)
        put(f"{name}.heard", counts - missed + extra)
        put(f"{name}.missed", missed)
        put(f"{name}.extra", extra)
        put(f"{name}.winding_c", 20.0 + 2.0 * share)
    return Tracks(values, tuple(columns))


def hand_rig() -> NDArray[np.void]:
    """Rig with one ended move, scored by hand."""
    rig = np.zeros(1, dtype=rig_dtype(2, 4))
    world, settings, memory = rig["world"][0], rig["settings"][0], rig["memory"][0]
    world["n_legs"], world["time_us"] = 2, 10_990_000
    world["supply"]["energy_in"], world["supply"]["energy_heat"], world["supply"]["lowest"] = 1000.0, 20.0, 20.8
    settings["law"], settings["gain"], settings["tick"], settings["control_every"] = Law.CROSS_COUPLING, 50.0, 1e-3, 10
    settings["compute_delay"], settings["predict"] = 1e-4, 1
    memory["mode"], memory["referenced"] = Mode.READY, 1
    for q in range(2):
        settings["legs"][q]["counts_per_metre"] = PER_METRE
        world["legs"][q]["x"] = (-0.6, 0.6)[q]
        world["legs"][q]["height"] = (0.4, 0.3994)[q]
        world["legs"][q]["motor"]["winding"] = 22.0
        memory["legs"][q]["counts"] = 7800
        energy = world["legs"][q]["energy"]
        energy["copper"], energy["thread"], energy["work"] = 100.0, 240.0, 150.0
    _score(rig["move"][0][0])
    rig["moves"], rig["events"] = 1, 2
    rig["log"][0][0] = (200_000, Happening.MODE, -1, Mode.MOVING)
    rig["log"][0][1] = (10_000_000, Happening.LEG_OFF, 1, 0.0)
    return rig


def _score(move: Any) -> None:
    move["command"], move["goal"], move["direction"] = Command.GO, 0.4, 1
    move["start_us"], move["end_us"], move["first_off_us"], move["last_off_us"] = 200_000, 10_500_000, 10_000_000, 10_010_000
    move["peak"], move["peak_us"], move["peak_high"], move["peak_low"] = 0.6e-3, 9_900_000, 0, 1
    move["seen_peak"], move["start_peak"], move["samples"] = 0.48e-3, 0.1e-3, 1000
    move["square_sum"], move["believed_sum"] = 1000 * 0.4e-3**2, 1000 * 0.3e-3
    move["at_cut"], move["after_coast"], move["worst_tilt_x"], move["lowest_supply"] = 0.6e-3, 0.7e-3, -0.5e-3, 20.8
    move["run_from_us"], move["run_to_us"] = 9_000_000, 10_000_000
    for q in range(2):
        leg = move["legs"][q]
        leg["start_height"], leg["height"], leg["believed"] = 0.1, (0.4, 0.3993)[q], (0.40001, 0.39945)[q]
        leg["run_speed"], leg["run_current"], leg["peak_current"] = 0.031, (3.9, 2.4)[q], (8.0, 7.2)[q]
        leg["off_us"], leg["still_us"] = 10_000_000 + 10_000 * q, 10_080_000 + 60_000 * q
        leg["off_travel"], leg["still_travel"] = 0.3987 - 0.0018 * q, 0.4 - 0.0007 * q
        leg["off_commuted"], leg["still_commuted"], leg["coast_told"] = 5800, (5825, 5850)[q], (1.2e-3, 2.3e-3)[q]
        leg["commuted"], leg["heard"], leg["missed"], leg["extra"] = 5850, 5850 - 2 * q, 3 * q, q


@dataclass
class Named:
    """Just a name, where a flight wants its scenario."""

    name: str


@dataclass
class HandFlight:
    """A flight as the runner hands it over."""

    rig: NDArray[np.void]
    trace: NDArray[np.float64]
    columns: list[str]
    scenario: Any
    wall_s: float = 0.01
    clock: str = "flat"
    seed: int = 7
    carried_mm: tuple[float, ...] = ()


def hand_flight(name: str = "raise by hand") -> HandFlight:
    """The hand-made flight under a name."""
    tracks = hand_trace()
    return HandFlight(hand_rig(), tracks.values, list(tracks.columns), Named(name))


def leg(name: str, **changes: Any) -> LegResult:
    """Leg result of a quiet move, with changes."""
    return replace(LegResult(name, 400.0, 5850, 5850, 0, 0, 31.0, 3.0, 8.0, 0.1, 1.5, 30, 400.0, 0.0, 0.0, 1.5, 100.0), **changes)


def move(**changes: Any) -> MoveResult:
    """Ended move of two legs to 400 mm with 0.6 mm peak, with changes."""
    level = Level(0.6, 0.4, 0.5, 0.3, 0.5, "left", "right")
    quiet = MoveResult(1, "go", 1, 400.0, 0.2, 10.5, level, (leg("left"), leg("right")), peak_s=9.9, tilt_deg=0.03, cut_speed_mm_s=31.0)
    return replace(quiet, **changes)


def summary(*moves: MoveResult, **changes: Any) -> RunSummary:
    """Summary of a two-leg rehearsal at rest, with changes."""
    quiet = RunSummary(
        names=NAMES,
        simulated_s=11.0,
        moves=moves or (move(),),
        energy=Energy(1000.0, 700.0, 299.9, 0.0, 1e-4),
        events=(),
        controller=Controller("ready", "At rest.", None),
        hottest=Extreme(22.0, 10.0, "left"),
        lowest_supply=Extreme(20.8, 0.1),
        final_errors_mm=(0.0, 0.02),
    )
    return replace(quiet, **changes)
