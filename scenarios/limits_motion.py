"""Limits on the moves: levels, tilt, target, time, currents, temperature, supply and the model's own energy balance."""

from __future__ import annotations

from collections.abc import Callable

from scenarios.limit_kinds import Finding, LimitKind, of_extreme, worst
from scenarios.summary import LegResult, MoveResult, RunSummary

__all__ = ["MOTION"]

_ALONE = Finding(reason="one leg alone is always level")


def _unended(move: MoveResult) -> str:
    return f"move {move.number} had not come to rest when the rehearsal ended"


def _working(run: RunSummary) -> list[MoveResult]:
    return [move for move in run.moves if not move.is_homing]


def _no_move(run: RunSummary) -> str:
    return "the only moves were homings" if run.moves else "nothing was moved"


def _level_moving(run: RunSummary) -> Finding:
    if len(run.names) < 2:
        return _ALONE
    found = (
        Finding(move.level.peak_mm, move.peak_s, move.level.high_leg, "" if move.end_s is not None else _unended(move))
        for move in _working(run)
    )
    return worst(found, _no_move(run))


def _after(move: MoveResult) -> Finding:
    reason = "" if move.level.after_coast_mm is not None else _unended(move)
    highest = max(move.legs, key=lambda leg: leg.height_mm or 0.0).name if move.legs else None
    return Finding(move.level.after_coast_mm, move.end_s, highest, reason)


def _level_after_coast(run: RunSummary) -> Finding:
    if len(run.names) < 2:
        return _ALONE
    return worst((_after(move) for move in _working(run)), _no_move(run))


def _homing_level(run: RunSummary) -> Finding:
    if len(run.names) < 2:
        return _ALONE
    return worst((_after(move) for move in run.moves if move.is_homing), "there was no homing")


def _of_legs(move: MoveResult, value: Callable[[LegResult], float | None], at_s: float | None) -> list[Finding]:
    return [Finding(abs(number), at_s, leg.name) for leg in move.legs if (number := value(leg)) is not None]


def _target_error(run: RunSummary) -> Finding:
    aimed = [move for move in run.moves if move.goal_mm is not None]
    found: list[Finding] = []
    for move in aimed:
        if move.end_s is None:
            found.append(Finding(reason=_unended(move)))
        found += _of_legs(move, lambda leg: leg.target_error_mm, move.end_s)
    return worst(found, "no move had a target")


def _peak_current(run: RunSummary) -> Finding:
    legs = [leg for move in run.moves for leg in move.legs if leg.peak_current_a is not None]
    return worst((Finding(abs(leg.peak_current_a or 0.0), leg.peak_current_s, leg.name) for leg in legs), "nothing was moved")


def _move_time(run: RunSummary) -> Finding:
    found = (
        Finding(
            (run.simulated_s if move.end_s is None else move.end_s) - move.start_s,
            move.end_s,
            None,
            _unended(move) if move.end_s is None else "",
        )
        for move in run.moves
    )
    return worst(found, "nothing was moved")


def _position_error(run: RunSummary) -> Finding:
    found = [one for move in run.moves if move.end_s is not None for one in _of_legs(move, lambda leg: leg.error_mm, move.end_s)]
    found += [Finding(abs(error), run.simulated_s, name) for name, error in zip(run.names, run.final_errors_mm, strict=False)]
    return worst(found, "no height was recorded at rest")


def _winding(run: RunSummary) -> Finding:
    return of_extreme(run.hottest, "no winding temperature was recorded")


def _supply(run: RunSummary) -> Finding:
    return of_extreme(run.lowest_supply, "no supply voltage was recorded")


def _overshoot(run: RunSummary) -> Finding:
    aimed = [move for move in run.moves if move.goal_mm is not None]
    found: list[Finding] = []
    for move in aimed:
        if move.end_s is None:
            found.append(Finding(reason=_unended(move)))
        legs = [(leg, leg.target_error_mm) for leg in move.legs if leg.target_error_mm is not None]
        found += [Finding(max(move.direction * error, 0.0), move.end_s, leg.name) for leg, error in legs]
    return worst(found, "no move had a target")


def _about_x(run: RunSummary) -> Finding:
    return _ALONE if len(run.names) < 2 else of_extreme(run.conduct.tilt_about_x_deg, _no_move(run))


def _about_y(run: RunSummary) -> Finding:
    return _ALONE if len(run.names) < 2 else of_extreme(run.conduct.tilt_about_y_deg, _no_move(run))


def _repeat(run: RunSummary) -> Finding:
    """Largest spread, over the homings of one leg, of what is left between true and counted height."""
    homings = [move for move in run.moves if move.is_homing and move.end_s is not None]
    if len(homings) < 2:
        return Finding(reason="it takes two homings")
    found = []
    for q, name in enumerate(run.names):
        errors = [error for move in homings if (error := move.legs[q].error_mm) is not None]
        if errors:
            found.append(Finding(max(errors) - min(errors), homings[-1].end_s, name))
    return worst(found, "no height was recorded after a homing")


def _tilt(run: RunSummary) -> Finding:
    if len(run.names) < 2:
        return _ALONE
    return worst((Finding(move.tilt_deg, move.tilt_s) for move in _working(run)), _no_move(run))


def _warp(run: RunSummary) -> Finding:
    if len(run.names) < 4:
        return Finding(reason="fewer than four legs cannot warp the deck")
    return worst((Finding(move.warp_mm, move.warp_s) for move in _working(run)), _no_move(run))


def _residual(run: RunSummary) -> Finding:
    return Finding(run.energy.residual, None, None, "" if run.energy.residual is not None else "no energy was drawn")


MOTION = (
    LimitKind(
        "level_moving_mm",
        "mm",
        "largest level error while moving",
        "planning value 1 to 3 mm for paired columns, 5 to 10 mm for four posts; no standard found that gives one",
        _level_moving,
    ),
    LimitKind(
        "level_after_coast_mm",
        "mm",
        "level error once every leg is at rest",
        "planning value 1 to 2 mm for paired columns; no standard found that gives one",
        _level_after_coast,
    ),
    LimitKind("target_error_mm", "mm", "distance from the target at rest, worst leg", "planning value", _target_error),
    LimitKind("overshoot_mm", "mm", "way beyond the target at rest, worst leg", "planning value", _overshoot),
    LimitKind("peak_current_a", "A", "largest motor current", "motor, bridge and wiring data", _peak_current),
    LimitKind("move_time_s", "s", "longest move, order to rest", "your own requirement", _move_time),
    LimitKind(
        "position_error_mm",
        "mm",
        "true minus counted height at rest, worst leg",
        "planning value 20 counts between homings",
        _position_error,
    ),
    LimitKind("winding_c", "degC", "hottest winding", "insulation class 130 (B) or 155 (F), with a margin", _winding),
    LimitKind("supply_min_v", "V", "lowest supply voltage", "least voltage of the logic", _supply, upper=False),
    LimitKind("tilt_deg", "deg", "largest tilt of the deck while moving", "planning value 0.3 to 0.5 deg at a fault", _tilt),
    LimitKind(
        "tilt_about_x_deg", "deg", "largest tilt about the x axis while moving", "planning value 0.3 to 0.5 deg at a fault", _about_x
    ),
    LimitKind(
        "tilt_about_y_deg", "deg", "largest tilt about the y axis while moving", "planning value 0.3 to 0.5 deg at a fault", _about_y
    ),
    LimitKind("warp_mm", "mm", "largest distance of a deck joint from the mean plane", "planning value", _warp),
    LimitKind(
        "energy_residual",
        "",
        "energy that the balance does not account for, relative to the energy drawn",
        "0.1 %, a check of the model itself",
        _residual,
    ),
    LimitKind(
        "homing_level_mm", "mm", "level error after a homing", "stop tolerance of your drawing, 0.3 to 1 mm a leg is usual", _homing_level
    ),
    LimitKind(
        "homing_repeat_mm", "mm", "spread of what homings leave between true and counted height, worst leg", "planning value", _repeat
    ),
)
"""Rows of the catalogue."""
