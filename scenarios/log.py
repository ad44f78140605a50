"""The event log: how an event is written, and what the controller's trust in its counts writes into it."""

from __future__ import annotations

from typing import Any

from plant.kernel import kernel

__all__ = ["log_trust", "note"]

_DRIFT, _CAUSE, _HOMING_ASKED, _RESIDUAL, _SAVED = 50, 51, 52, 53, 54


@kernel
def note(rig: Any, what: int, leg: int, value: float) -> None:
    """Append to the event log; the log keeps the first of them, the number counts them all."""
    if rig.events < len(rig.log):
        event = rig.log[rig.events]
        event.time_us = rig.world.time_us
        event.what = what
        event.leg = leg
        event.value = value
    rig.events += 1


@kernel
def log_trust(rig: Any) -> None:
    """Log a new suspicion, a new wish to be homed, a zero that was found again, and a position saved without power."""
    memory, seen = rig.memory, rig.trust_seen
    if memory.drift.number != seen.number:
        _log_drift(rig)
    if memory.ask != seen.ask:
        seen.ask = memory.ask
        if memory.ask != 0:
            note(rig, _HOMING_ASKED, -1, float(memory.ask))
    if memory.homing != seen.homing:
        _log_homing(rig)
    if memory.saved.stage != seen.stage:
        seen.stage = memory.saved.stage
        if seen.stage > 0:
            note(rig, _SAVED, -1, float(seen.stage))


@kernel
def _log_drift(rig: Any) -> None:
    drift = rig.memory.drift
    rig.trust_seen.number = drift.number
    if drift.number > 0:
        note(rig, _DRIFT, drift.leg, drift.counts)
        note(rig, _CAUSE, drift.leg, float(drift.cause if drift.counts >= 0.0 else -drift.cause))


@kernel
def _log_homing(rig: Any) -> None:
    memory, seen = rig.memory, rig.trust_seen
    if seen.homing == 0:
        seen.known = memory.referenced
    elif memory.homing == 0 and memory.referenced == 1 and seen.known == 1:
        for q in range(rig.world.n_legs):
            note(rig, _RESIDUAL, q, float(memory.legs[q].residual + memory.legs[q].again))
    seen.homing = memory.homing
