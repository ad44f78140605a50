"""Fills the guards' part of the controller's settings from the settings file and the nominal drive of the lift file."""

from __future__ import annotations

from typing import Any

from scenarios.files.guarding import Pinch
from scenarios.files.leg import Leg
from scenarios.files.settings import Settings
from sync.guard_records import BINS

__all__ = ["fill_guards", "fill_leg_guards"]

REACTIONS = {"coast": 0, "brake": 1, "reverse": 2}
FOLLOW_S = 0.2
"""Time constant of the level once a move runs steadily [s]."""
NOISE_S = 5.0
"""Time constant of the learnt noise [s]."""
SWING_LAGS = 6.0
"""How long an accelerating current is remembered, in mechanical time constants."""
SETTLE_LAGS = 4.0
"""How fast the level of a move is found, in time constants of drive and filter: no overshoot."""


def _share(span: float, time_constant: float) -> float:
    """Share of a new value per call in a first-order filter, stepped implicitly."""
    return span / (span + time_constant)


def fill_guards(record: Any, settings: Settings) -> None:
    """Fill over-current, supply, overload, stagger, pinch and warmth; the tick stands in the record already.

    Parameters
    ----------
    record
        Settings record of a controller.
    settings
        The settings file.
    """
    guards, warmth = settings.guards, settings.warmth
    record["over_current"] = guards.over_current_a or 0.0
    record["over_current_time"] = guards.over_current_ms * 1e-3
    record["supply_low"] = guards.supply_low_v or 0.0
    record["supply_low_time"] = guards.supply_low_ms * 1e-3
    record["overload"] = guards.overload_kg or 0.0
    record["stagger"] = settings.speed.stagger_ms * 1e-3
    if settings.pinch is not None:
        _fill_pinch(record["pinch"], settings.pinch, settings)
    if warmth is not None:
        told = record["warmth"]
        told["on"] = 1
        told["limit"], told["start_limit"], told["ambient"] = warmth.limit_c, warmth.start_limit_c, warmth.ambient_c


def _fill_pinch(record: Any, pinch: Pinch, settings: Settings) -> None:
    span = settings.timing.guard_tick_ms * 1e-3
    travel = settings.travel
    record["on"] = 1
    record["reaction"] = REACTIONS[pinch.reaction]
    record["retreat"] = pinch.retreat_mm * 1e-3
    record["retreat_duty"] = pinch.retreat_duty
    record["rise"] = pinch.rise_a
    record["rise_most"] = 1.5 * pinch.rise_a if pinch.rise_most_a is None else pinch.rise_most_a
    record["fall"] = pinch.fall_a
    record["fall_least"] = pinch.fall_least_a
    record["loss_share"] = pinch.loss_share
    record["spreads"] = pinch.spreads
    record["filter_share"] = _share(span, pinch.filter_ms * 1e-3)
    record["confirm_us"] = pinch.confirm_ms * 1e3
    record["common_us"] = pinch.common_ms * 1e3
    record["start_us"] = (settings.speed.soft_start_ms + pinch.start_ms) * 1e3
    record["start_extra"] = pinch.start_extra_a
    record["swing_part"] = pinch.swing_share
    record["follow_step"] = pinch.follow_a_per_s * span
    record["follow_share"] = _share(span, FOLLOW_S)
    record["noise_share"] = _share(span, NOISE_S)
    record["learn_gain"] = pinch.learn_gain
    record["learn_most"] = pinch.learn_most
    record["bins_per_metre"] = BINS / ((travel.high_mm - travel.low_mm) * 1e-3)


def fill_leg_guards(record: Any, leg: Leg, settings: Settings) -> None:
    """Fill what the guards are told of one leg's drive, from its told constants, its bridge and its thermal model.

    Parameters
    ----------
    record
        Leg record of the settings of a controller, the drive constants filled.
    leg
        Leg of the lift file.
    settings
        The settings file.
    """
    span = settings.timing.guard_tick_ms * 1e-3
    told = record["pinch"]
    conductance = 1.0 / record["resistance"]
    stiffness = record["pull"] * record["emf"] * conductance
    delay = (settings.pinch.filter_ms if settings.pinch else 0.0) * 1e-3
    told["conductance"] = conductance
    told["driven_share"] = 1.0 / (1.0 + span * (record["drag_rate"] + stiffness))
    told["free_share"] = 1.0 / (1.0 + span * record["drag_rate"])
    told["drag_current"] = record["drag_rate"] / record["pull"]
    told["swing_share"] = _share(span, SWING_LAGS / stiffness)
    told["settle_share"] = _share(span, SETTLE_LAGS * (1.0 / stiffness + delay))
    told["hold_us"] = SETTLE_LAGS * (1.0 / stiffness + delay) * 1e6
    told["highest"] = leg.bridge.current_limit_a
    told["lowest"] = -leg.bridge.current_limit_a if leg.bridge.synchronous else 0.0
    told["idle"] = record["drag"] / record["pull"]
    heat = record["warmth"]
    heat["winding_rise"] = span / leg.thermal.winding_capacity_j_per_k
    heat["case_rise"] = span / leg.thermal.case_capacity_j_per_k
    heat["across"] = 1.0 / leg.thermal.winding_to_case_k_per_w
    heat["away"] = 1.0 / leg.thermal.case_to_air_k_per_w
