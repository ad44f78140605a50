"""Score records of a flown rig turned into :class:`~scenarios.summary.MoveResult`, in the units of a report.

A record says "not reached" with zero or NaN; here that becomes ``None``.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import atan, degrees, hypot, isfinite
from typing import Any

import numpy as np

from scenarios.summary import LegResult, Level, MoveResult
from scenarios.tracks import Tracks
from sync.modes import Command

__all__ = ["read_moves"]

_KINDS = {Command.GO: "go", Command.PRESS_UP: "press", Command.PRESS_DOWN: "press", Command.HOME: "home"}


def _number(value: float, scale: float = 1.0) -> float | None:
    """``value * scale``, ``None`` where it is not finite."""
    return float(value) * scale if isfinite(value) else None


def _seconds(instant_us: float) -> float | None:
    """Instant in s; ``None`` where it was not reached (zero or NaN)."""
    return float(instant_us) / 1e6 if isfinite(instant_us) and instant_us > 0.0 else None


def _leg(score: Any, name: str, goal: float | None, ended: bool, ran: bool) -> LegResult:
    off, still = _seconds(score["off_us"]), _seconds(score["still_us"])
    coasted = off is not None and still is not None
    height = _number(score["height"], 1e3) if ended else None
    counted = _number(score["believed"], 1e3) if ended else None
    return LegResult(
        name=name,
        height_mm=height,
        true_counts=int(score["commuted"]),
        heard_counts=int(score["heard"]),
        missed=int(score["missed"]),
        extra=int(score["extra"]),
        run_speed_mm_s=_number(score["run_speed"], 1e3) if ran else None,
        run_current_a=_number(score["run_current"]) if ran else None,
        peak_current_a=_number(score["peak_current"]),
        coast_s=still - off if off is not None and still is not None else None,
        coast_mm=abs(float(score["still_travel"] - score["off_travel"])) * 1e3 if coasted else None,
        coast_counts=int(score["still_commuted"] - score["off_commuted"]) if coasted else None,
        peak_current_s=_seconds(score["peak_current_us"]),
        counted_mm=counted,
        error_mm=height - counted if height is not None and counted is not None else None,
        target_error_mm=height - goal if height is not None and goal is not None else None,
        coast_told_mm=_number(score["coast_told"], 1e3),
        start_height_mm=_number(score["start_height"], 1e3),
        play_mm=_number(score["play"], 1e3) or 0.0,
        sag_mm=_number(score["sag"], 1e3) or 0.0,
        hall_counts=int(score["hall"]),
        switch_offs=int(score["switch_offs"]),
    )


def _name(names: Sequence[str], index: int) -> str | None:
    return names[index] if 0 <= index < len(names) else None


def _level(score: Any, names: Sequence[str], ended: bool) -> Level:
    samples = int(score["samples"])
    return Level(
        peak_mm=_number(score["peak"], 1e3) if samples else None,
        rms_mm=_number((score["square_sum"] / samples) ** 0.5, 1e3) if samples else None,
        at_cut_mm=_number(score["at_cut"], 1e3) if _seconds(score["first_off_us"]) is not None else None,
        after_coast_mm=_number(score["after_coast"], 1e3) if ended else None,
        seen_peak_mm=_number(score["seen_peak"], 1e3) if samples else None,
        high_leg=_name(names, int(score["peak_high"])) if samples else None,
        low_leg=_name(names, int(score["peak_low"])) if samples else None,
    )


def _tilt_instant(tracks: Tracks, start_s: float, end_s: float) -> float | None:
    """Time of the worst tilt between two instants [s], to one row of the trace."""
    if tracks.empty:
        return None
    rows = tracks.rows(start_s, end_s)
    size = np.hypot(tracks.whole("tilt_x_rad")[rows], tracks.whole("tilt_y_rad")[rows])
    return float(tracks.time[rows][int(np.nanargmax(size))]) if np.isfinite(size).any() else None


def _cut_speed(tracks: Tracks, first_off_s: float | None, run_speeds: Sequence[float | None]) -> float | None:
    """Mean speed of the legs just before the first was switched off [mm/s]; the run speed where there is no trace."""
    if first_off_s is None:
        return None
    known = [speed for speed in run_speeds if speed is not None]
    if tracks.empty:
        return sum(known) / len(known) if known else None
    row = max(tracks.row(first_off_s) - 1, 0)
    return float(np.mean(np.abs(tracks.legs("speed_m_s")[:, row]))) * 1e3


def _move(score: Any, number: int, names: Sequence[str], tracks: Tracks, now_s: float) -> MoveResult:
    command = int(score["command"])
    kind = "home" if score["homing"] else _KINDS.get(Command(command), "drive")
    goal = _number(score["goal"], 1e3) if command == Command.GO else None
    end_s, start_s = _seconds(score["end_us"]), float(score["start_us"]) / 1e6
    first_off, last_off = _seconds(score["first_off_us"]), _seconds(score["last_off_us"])
    run_from, run_to = _seconds(score["run_from_us"]), _seconds(score["run_to_us"])
    ran = run_to is not None and run_to > (run_from or 0.0)
    legs = tuple(_leg(score["legs"][q], name, goal, end_s is not None, ran) for q, name in enumerate(names))
    samples = int(score["samples"])
    return MoveResult(
        number=number,
        kind=kind,
        direction=int(score["direction"]),
        goal_mm=goal,
        start_s=start_s,
        end_s=end_s,
        level=_level(score, names, end_s is not None),
        legs=legs,
        peak_s=_seconds(score["peak_us"]),
        first_off_s=first_off,
        last_off_s=last_off,
        start_peak_mm=_number(score["start_peak"], 1e3) or 0.0,
        mean_seen_mm=(_number(score["believed_sum"] / samples, 1e3) or 0.0) if samples else 0.0,
        tilt_deg=degrees(atan(hypot(score["worst_tilt_x"], score["worst_tilt_y"]))) if samples else None,
        tilt_x_rad=float(score["worst_tilt_x"]),
        tilt_y_rad=float(score["worst_tilt_y"]),
        tilt_s=_tilt_instant(tracks, start_s, last_off or now_s),
        warp_mm=_number(score["warp_peak"], 1e3) if samples else None,
        warp_s=_seconds(score["warp_us"]),
        supply_min_v=_number(score["lowest_supply"]) if samples else None,
        run_from_s=run_from if ran else None,
        run_to_s=run_to if ran else None,
        cut_speed_mm_s=_cut_speed(tracks, first_off, [leg.run_speed_mm_s for leg in legs]),
    )


def read_moves(rig: Any, names: Sequence[str], tracks: Tracks) -> tuple[MoveResult, ...]:
    """Scored moves of a flown rig.

    Parameters
    ----------
    rig
        One record of :func:`scenarios.rig.rig_dtype`, flown to its end.
    names
        Names of the legs in their order.
    tracks
        Its trace, may be empty: then instants that only the trace knows are ``None``.
    """
    now_s = float(rig["world"]["time_us"]) / 1e6
    return tuple(_move(rig["move"][k], k + 1, names, tracks, now_s) for k in range(int(rig["moves"])))
