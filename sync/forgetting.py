"""Forgetting: what the firmware's memory looks like after a start, with nothing left but what is kept without power.

Kept are the saved position, what was learnt of the drive (factors on the coast, loads and currents of steady stretches, back-EMF
constants, sums of the drift tests) and the temperatures: those at the failure are the worst case.  A new field of
``sync.records.memory_dtype`` has its line here, or is kept on purpose; a test compares the two.
"""

from __future__ import annotations

from typing import Any

from sync.kernel import kernel

__all__ = ["forget"]


@kernel
def forget(memory: Any) -> None:
    """Clear the memory of everything that is not kept without power."""
    memory.mode = 0
    memory.reason = 0
    memory.refused = 0
    memory.refusal = 0
    memory.referenced = 0
    memory.direction = 0
    memory.goal = 0.0
    memory.since_us = 0.0
    memory.calls = 0
    memory.order = 0
    memory.pressed = 0
    memory.waiting = 0
    memory.waiting_target = 0.0
    memory.homing = 0
    memory.culprit = 0
    memory.first_contact = 0
    memory.slow = 0
    memory.slow_us = 0.0
    memory.reference = 0.0
    memory.ask = 0
    memory.uncertain = 0
    memory.power_failed = 0
    memory.fail_us = 0.0
    memory.believed_error = 0.0
    memory.off_us = 0.0
    memory.low_since_us = 0.0
    memory.payload = 0.0
    _forget_pinch(memory.pinch)
    _forget_drift(memory.drift)
    for q in range(len(memory.legs)):
        _forget_leg(memory.legs[q])
        _forget_pulses(memory.legs[q])
        _forget_pinch_of_leg(memory.legs[q].pinch)
        _forget_drift_of_leg(memory.legs[q].drift)


@kernel
def _forget_leg(leg: Any) -> None:
    leg.place = 0.0
    leg.progress = 0
    leg.rate = 0.0
    leg.load = 0.0
    leg.steady_since_us = 0.0
    leg.duty_before = 0.0
    leg.on = 0
    leg.cut = 0
    leg.gated = 0
    leg.duty = 0.0
    leg.integral = 0.0
    leg.on_us = 0.0
    leg.dark_us = 0.0
    leg.switch_offs = 0
    leg.cut_us = 0.0
    leg.cut_place = 0.0
    leg.rate_at_cut = 0.0
    leg.coast_law = 0.0
    leg.coast_told = 0.0
    leg.current = 0.0
    leg.over_since_us = 0.0
    leg.stalled = 0
    leg.start_counts = 0
    leg.residual = 0
    leg.doubt = 0.0
    leg.again = 0
    leg.excess_since_us = 0.0
    leg.opposed = 0
    leg.carried = 0.0


@kernel
def _forget_pulses(leg: Any) -> None:
    leg.counts = 0
    leg.pulse_us = 0.0
    leg.pulses = 0
    leg.period = 0.0
    for k in range(len(leg.periods)):
        leg.periods[k] = 0.0
    leg.period_sum = 0.0
    leg.period_place = 0
    leg.period_number = 0
    leg.pending_insert = 0
    leg.track.sure = 0
    leg.track.speed = 0.0
    leg.track.ahead = 0.0
    leg.second = 0
    leg.cut_pulses = 0
    leg.cut_part = 0.0
    leg.rejected = 0
    leg.halves = 0
    leg.refused_last = 0
    leg.inserted = 0


@kernel
def _forget_pinch(pinch: Any) -> None:
    pinch.phase = 0
    pinch.trips = 0
    pinch.leg = 0
    pinch.deviation = 0.0
    pinch.from_height = 0.0
    pinch.retreats = 0
    pinch.retreated = 0.0


@kernel
def _forget_pinch_of_leg(pinch: Any) -> None:
    pinch.rate = 0.0
    pinch.level = 0.0
    pinch.form_now = 0.0
    pinch.deviation = 0.0
    pinch.swing = 0.0
    pinch.threshold = 0.0
    pinch.fall_threshold = 0.0
    pinch.over_us = 0.0
    pinch.under_us = 0.0
    pinch.noise = 0.0
    pinch.place = 0
    pinch.total = 0.0
    pinch.number = 0
    pinch.seen = 0
    for k in range(len(pinch.pending)):
        pinch.pending[k] = 0.0


@kernel
def _forget_drift(drift: Any) -> None:
    drift.number = 0
    drift.leg = 0
    drift.cause = 0
    drift.counts = 0.0
    drift.at_us = 0.0


@kernel
def _forget_drift_of_leg(drift: Any) -> None:
    drift.calls = 0
    drift.from_us = 0.0
    drift.flux = 0.0
    drift.charge = 0.0
    drift.from_place = 0.0
    drift.from_counts = 0
    drift.from_second = 0
    drift.from_rejected = 0
    drift.from_inserted = 0
    for k in range(len(drift.residual)):
        drift.residual[k] = 0.0
    for k in range(len(drift.unsure)):
        drift.unsure[k] = 0.0
    for k in range(len(drift.rejected)):
        drift.rejected[k] = 0.0
    for k in range(len(drift.inserted)):
        drift.inserted[k] = 0.0
    drift.emf_variance = 0.0
    drift.cross = 0.0
    drift.resistance_variance = 0.0
    drift.coast_run = 0.0
    drift.told_causes = 0
