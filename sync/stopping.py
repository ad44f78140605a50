"""Stopping: how far each leg will coast, when to cut its power, and what the last coast teaches.

Power is cut so that the predicted *end* positions agree; legs that are level when cut are not level when stopped.
"""

from __future__ import annotations

from typing import Any

from sync.kernel import kernel
from sync.pulses import fraction, position

__all__ = ["braked_counts", "coast_counts", "cut_due", "learn", "note_cut", "release", "remaining", "stop_place"]

_SHORTEST = 3.0  # counts: a shorter coast teaches nothing


@kernel
def coast_counts(rate: float, load: float, drag_rate: float) -> float:
    """Coast [counts] from ``rate`` [counts/s] against ``load`` [counts/s2] and viscous ``drag_rate`` [1/s].

    Source: integral of w dw/(T + b w), x = w^2/(2 (T + 2/3 b w)) in its [1/1] Pade form; within 1 % where b w < T/2.
    """
    return rate * rate / (2.0 * (load + drag_rate * rate / 1.5))


@kernel
def _way(direction: int) -> int:
    return 0 if direction >= 0 else 1


@kernel
def braked_counts(rate: float, load: float, told: Any) -> float:
    """Counts that a leg runs on from ``rate`` [counts/s] against ``load`` [counts/s2] with its motor shorted.

    The current (K w - Vb)/R adds a drag that grows with the speed and, for the brush drop, takes some of the load away.

    Source: integral of w dw/(T + b w) with b = drag + K2/(R J), its [2/2] Pade form: within 11 % for a fast stop, where T is nothing.
    Neglects: inductance, which lengthens the stop by w L/R; the winding's warmth.
    """
    stiffness = told.pull / told.resistance
    swing = (told.drag_rate + stiffness * told.emf) * rate
    steady = load - stiffness * told.brush_drop
    steady = steady if steady > 0.0 else 0.0
    below = 30.0 * steady * steady + 36.0 * steady * swing + 9.0 * swing * swing
    return rate * rate * (15.0 * steady + 8.0 * swing) / below if below > 0.0 else 0.0


@kernel
def predicted(settings: Any, memory: Any, q: int) -> float:
    """Counts that leg ``q`` will still run if it is cut now, compute delay and learnt factor included."""
    leg = memory.legs[q]
    way = _way(memory.direction)
    load = leg.load_known[way] if leg.load_known[way] > 0.0 else leg.load
    brakes = settings.brake_up if memory.direction >= 0 else settings.brake_down
    if brakes == 1:
        leg.coast_law = braked_counts(leg.rate, load, settings.legs[q])
    else:
        leg.coast_law = coast_counts(leg.rate, load, settings.legs[q].drag_rate)
    leg.coast_told = leg.factor[way] * leg.coast_law
    return leg.coast_told + leg.rate * settings.compute_delay  # type: ignore[no-any-return]


@kernel
def remaining(settings: Any, memory: Any, q: int, now: float) -> float:
    """Counts from leg ``q`` to the goal, in the direction of the move."""
    told = settings.legs[q]
    goal = (memory.goal - told.home_offset) * told.counts_per_metre
    return memory.direction * (goal - position(memory.legs[q], memory.direction, now))  # type: ignore[no-any-return]


@kernel
def cut_due(settings: Any, memory: Any, q: int, now: float) -> bool:
    """Whether the power of leg ``q`` is to be cut at this call: half a call early is as good as half a call late."""
    left = remaining(settings, memory, q, now)
    if settings.predict == 0:
        return left <= 0.0
    return left - predicted(settings, memory, q) <= 0.5 * memory.legs[q].rate * settings.tick  # type: ignore[no-any-return]


@kernel
def note_cut(leg: Any, direction: int, now: float) -> None:
    """Switch a leg off at ``now`` [us] and note from where it coasts."""
    leg.on = 0
    leg.cut = 1
    leg.gated = 0
    leg.cut_us = now
    leg.cut_pulses = leg.pulses
    leg.cut_part = fraction(leg, now)
    leg.cut_place = position(leg, direction, now)
    leg.rate_at_cut = leg.rate
    leg.switch_offs += 1


@kernel
def stop_place(settings: Any, memory: Any, q: int, now: float) -> float:
    """Height [m] at which leg ``q`` will stand if it is cut now."""
    told = settings.legs[q]
    ahead = predicted(settings, memory, q) if settings.predict == 1 else 0.0
    place = position(memory.legs[q], memory.direction, now) + memory.direction * ahead
    return place / told.counts_per_metre + told.home_offset  # type: ignore[no-any-return]


@kernel
def learn(settings: Any, memory: Any, q: int) -> bool:
    """Let the coast that has just ended correct the learnt factor of leg ``q`` in this direction; whether it was foretold by one before."""
    leg = memory.legs[q]
    if leg.cut == 0 or leg.coast_law < _SHORTEST or leg.stalled == 1:
        return False
    way = _way(memory.direction)
    run = memory.direction * (leg.counts + 0.5 - leg.cut_place) - leg.rate_at_cut * settings.compute_delay
    gain = 1.0 / (leg.learnt[way] + 1.0)
    gain = gain if gain > settings.learn_gain else settings.learn_gain
    factor = leg.factor[way] + gain * (run / leg.coast_law - leg.factor[way])
    most = settings.coast_clamp
    leg.factor[way] = most if factor > most else (1.0 / most if factor < 1.0 / most else factor)
    leg.learnt[way] += 1
    leg.drift.coast_run = run - leg.coast_told
    return leg.learnt[way] > 1  # type: ignore[no-any-return]


@kernel
def release(settings: Any, memory: Any, now: float) -> None:
    """The button was let go: the new goal is where the leg that will run furthest can stop at the earliest."""
    goal = memory.goal
    best = -1e30
    for q in range(settings.n_legs):
        place = stop_place(settings, memory, q, now)
        if memory.direction * place > best:
            best = memory.direction * place
            goal = place
    memory.goal = goal
