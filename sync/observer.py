"""The load observer of one leg: counted rate and resisting torque from pulses and measured current.

State: progress (counts), rate (counts/s) and load (counts/s2, resisting torque over inertia).  The measured current drives
it through the acceleration term, the pulses correct it, so it follows a load through changes of duty and speed where the
momentary current alone would mislead.

Source: Luenberger observer with a constant disturbance, all three poles at the observer rate.
"""

from __future__ import annotations

from typing import Any

from sync.kernel import kernel

__all__ = ["correct", "predict", "remember_load", "restart"]

_LONGEST = 0.02  # s: a longer gap between pulses corrects no more than this one
_EARLY = 6  # pulses of a start, among which those of the switching edge stand close together
_LOST = 2.0  # counts off: pulses were lost or added, or the observer has lost its lock
_AHEAD = 8.0  # counts that it runs ahead without a pulse
_STEADY_DUTY = 0.08  # change of duty that ends a steady stretch
_STEADY_AFTER_US = 150_000.0
_STEADY_TIME = 0.05  # s, over which the held load follows


@kernel
def restart(leg: Any, told: Any, way: int, now: float) -> None:
    """Begin a move from rest; ``way`` is 0 up, 1 down, ``now`` in us."""
    leg.place = 0.0
    leg.progress = 0
    leg.rate = 0.0
    leg.load = leg.load_known[way] if leg.load_known[way] > 0.0 else told.load_guess
    leg.pulses = 0
    leg.period = 0.0
    leg.period_sum = 0.0
    leg.period_place = 0
    leg.period_number = 0
    leg.pending_insert = 0
    leg.steady_since_us = now
    leg.duty_before = 0.0


@kernel
def predict(leg: Any, told: Any, current: float, span: float) -> None:
    """Move the observer on by ``span`` [s] under the measured ``current`` [A], positive in the direction of the move."""
    before = leg.rate
    leg.place += span * leg.rate
    leg.rate += span * (told.pull * current - leg.load - told.drag_rate * leg.rate)
    if leg.rate < 0.0:
        leg.rate = 0.0
    if leg.place > leg.progress + _AHEAD:
        leg.place = leg.progress + _AHEAD
        # a leg that is held fast draws much and is not heard: it does not get faster and faster
        leg.rate = before if leg.rate > before else leg.rate


@kernel
def correct(leg: Any, speed: float, age: float, period: float, before: float) -> None:
    """Correct by a pulse heard ``age`` [s] ago after a ``period`` [s], ``before`` [s] being the period before that one.

    ``speed`` is the observer rate [rad/s].  Far off, the observer is set anew: its place by this pulse, its rate by the
    period before, which a gap or a burst has not touched yet; the load is kept.  Among the first pulses of a start the longer
    of the two periods is taken: two false pulses of the switching edge would else make it believe in a huge rate, and cut.
    """
    error = leg.progress - (leg.place - leg.rate * age)
    if leg.pulses == 1 or error > _LOST or error < -_LOST:
        if leg.pulses <= _EARLY and period > before:
            before = period
        if before > 0.0:
            leg.rate = 1.0 / before
        leg.place = leg.progress + leg.rate * age
        return
    step = speed * (period if period < _LONGEST else _LONGEST)
    first = 3.0 * step
    leg.place += (first if first < 0.7 else 0.7) * error
    leg.rate += 3.0 * step * speed * error
    leg.load -= step * speed * speed * error
    if leg.load < 1.0:
        leg.load = 1.0
    if leg.rate < 0.0:
        leg.rate = 0.0


@kernel
def remember_load(leg: Any, way: int, span: float, now: float) -> None:
    """Hold the load of a steady stretch: duty unchanged and powered for 150 ms; called every ``span`` [s]."""
    change = leg.duty - leg.duty_before
    if leg.gated == 1 or change > _STEADY_DUTY or change < -_STEADY_DUTY:
        leg.duty_before = leg.duty
        leg.steady_since_us = now
        return
    if now - leg.steady_since_us < _STEADY_AFTER_US:
        return
    if leg.load_known[way] <= 0.0:
        leg.load_known[way] = leg.load
    leg.load_known[way] += span / (span + _STEADY_TIME) * (leg.load - leg.load_known[way])
