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

__all__ = ["expected_current", "restart_expectation"]


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
def _driven(settings: Any, told: Any, leg: Any, supply: float, measured: float) -> float:
    """Current of the expected drive under power [A].

    Where a diode bars the way back there is none while the motor outruns its voltage.  When that ends depends on constants
    that move with temperature; so the measured current itself says whether the motor is driven, and the model waits, or begins.
    """
    known, pinch = leg.pinch, told.pinch
    drive = (leg.duty * supply - told.brush_drop) * pinch.conductance
    stiffness = told.emf * pinch.conductance
    if pinch.lowest == 0.0 and known.place >= 0:
        gap = drive - stiffness * known.rate
        seen = measured >= 0.5 * pinch.idle
        if (seen and gap < 0.0) or (not seen and gap > 0.0):
            known.rate = drive / stiffness if drive > 0.0 else 0.0
    rate = (known.rate + settings.tick * (told.pull * (drive - known.level - known.form_now))) * pinch.driven_share
    current = drive - stiffness * (rate if rate > 0.0 else 0.0)
    most = settings.current_limit if settings.current_limit < pinch.highest else pinch.highest
    return most if current > most else (pinch.lowest if current < pinch.lowest else current)  # type: ignore[no-any-return]


@kernel
def expected_current(settings: Any, told: Any, leg: Any, supply: float, measured: float, state: int) -> float:
    """Move the expected drive on by one call; its current [A], positive in the direction of the move.

    Parameters
    ----------
    settings, told, leg
        Records: settings, what is told of this leg, what is remembered of it.
    supply, measured
        Supply [V] and current of the leg [A], positive in the direction of the move.
    state : int
        Of the bridge: 0 open, 1 driving, 2 shorting the motor.
    """
    known, pinch = leg.pinch, told.pinch
    load = known.level + known.form_now
    current = 0.0
    if state == 1:
        current = _driven(settings, told, leg, supply, measured)
    elif state == 2:
        current = -told.emf * pinch.conductance * known.rate * pinch.driven_share
    rate = (known.rate + settings.tick * told.pull * (current - load)) * pinch.free_share
    known.rate = rate if rate > 0.0 else 0.0
    excess = current - load - pinch.drag_current * known.rate
    excess = excess if excess >= 0.0 else -excess
    known.swing -= pinch.swing_share * known.swing
    if excess > known.swing:
        known.swing = excess
    return current
