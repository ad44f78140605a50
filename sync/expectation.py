"""The current that a leg should draw: a small model of its drive under the load it has had so far.

The model takes the commanded duty, the measured supply and a load *level* in amperes, and answers with the current of an
unchanged load: it goes through soft starts, slow-downs, corrections of the levelling law and dips of the supply as the
drive does, so that what remains between measured and expected current is a change of the *load*.  This was chosen over a
threshold on the raw current (a dip of 1 V makes 1 A) and over the torque of the load observer (its pulses answer after
75 ms, a pinch is decided in 15).

Source: armature equation without inductance and equation of motion, stepped implicitly (stable for any call).
Neglects: inductance, diode drop in the off-time, temperature; what is left of them during an acceleration is covered by
a threshold that grows with the accelerating current.
"""

from __future__ import annotations

from typing import Any

from sync.kernel import kernel

__all__ = ["coast_along", "expected_current", "restart_expectation"]


@kernel
def restart_expectation(settings: Any, leg: Any, told: Any, way: int, now: float) -> None:
    """Begin a move from rest: the level is that of the last clean move this ``way`` (0 up, 1 down), else the told guess."""
    known = leg.pinch
    known.rate = 0.0
    known.level = known.levels[way] if known.levels[way] > 0.0 else told.load_guess / told.pull
    known.form_now = 0.0
    known.deviation = 0.0
    known.swing = 0.0
    known.over_us = now
    known.under_us = now
    known.place = -1
    known.total = 0.0
    known.number = 0
    known.seen = 0
    known.threshold = settings.pinch.rise
    known.fall_threshold = 0.0


@kernel
def _driven(tick: float, told: Any, leg: Any, supply: float, limit: float, seen: int) -> float:
    """Current of the expected drive under power [A].

    Where a diode bars the way back there is none while the motor outruns its voltage.  When that ends depends on constants
    that move with temperature; so the measured current itself says whether the motor is driven, and the model waits, or begins.
    """
    known, pinch = leg.pinch, told.pinch
    drive = (leg.duty * supply - told.brush_drop) * pinch.conductance
    stiffness = told.emf * pinch.conductance
    if seen >= 0 and pinch.lowest == 0.0 and known.place >= 0:
        gap = drive - stiffness * known.rate
        if (seen == 1 and gap < 0.0) or (seen == 0 and gap > 0.0):
            known.rate = drive / stiffness if drive > 0.0 else 0.0
    rate = (known.rate + tick * (told.pull * (drive - known.level - known.form_now))) * pinch.driven_share
    current = drive - stiffness * (rate if rate > 0.0 else 0.0)
    most = limit if limit < pinch.highest else pinch.highest
    return most if current > most else (pinch.lowest if current < pinch.lowest else current)


@kernel
def expected_current(tick: float, told: Any, leg: Any, supply: float, limit: float, seen: int) -> float:
    """Move the expected drive on by one call under power; its current [A], positive in the direction of the move.

    Parameters
    ----------
    tick : float
        Time between calls [s].
    told, leg
        Records: what is told of this leg, what is remembered of it.
    supply, limit
        Supply [V] and current limit that is in force [A].
    seen : int
        Whether a current flows, 1 or 0; -1 while it rises after a switch-on, when that says nothing.
    """
    known, pinch = leg.pinch, told.pinch
    load = known.level + known.form_now
    current = _driven(tick, told, leg, supply, limit, seen)
    rate = (known.rate + tick * told.pull * (current - load)) * pinch.free_share
    known.rate = rate if rate > 0.0 else 0.0
    excess = current - load - pinch.drag_current * known.rate
    excess = excess if excess >= 0.0 else -excess
    known.swing -= pinch.swing_share * known.swing
    if excess > known.swing:
        known.swing = excess
    return current


@kernel
def coast_along(settings: Any, told: Any, leg: Any, way: int, shorted: bool) -> None:
    """One call without power, gated off or waiting for its turn: at what speed the expected drive will start again.

    Two say it: the model that coasts against its load, and the pulses.  Where they differ, from a level that is not quite
    right or from a pulse at the switching edge, that one is believed which will make nothing look like a pinch: the slower
    one raising, since a drive believed too fast is expected to draw too little, the faster one lowering.  The pulses alone
    count while the level is still being found, and where the motor is shorted.

    Parameters
    ----------
    settings, told, leg
        Records: settings, what is told of this leg, what is remembered of it.
    way : int
        0 up, 1 down.
    shorted : bool
        Whether the bridge shorts a motor without power.
    """
    known = leg.pinch
    rate = (known.rate - settings.tick * told.pull * (known.level + known.form_now)) * told.pinch.free_share
    if known.place < 0 or shorted or (leg.rate < rate) == (way == 0):
        rate = leg.rate
    known.rate = rate if rate > 0.0 else 0.0
    known.deviation = 0.0
    known.swing -= told.pinch.swing_share * known.swing
