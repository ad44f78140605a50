"""The controller: ``tick(settings, memory, inputs, outputs)`` on records, and nothing else.

Called every guard tick; the levelling law runs every ``control_every`` calls.
"""

from __future__ import annotations

from typing import Any

from sync.completion import complete_coast
from sync.guards import above_stop, apart, approaching, believed_error, blocked, budget_spent
from sync.homing import next_step
from sync.kernel import kernel
from sync.levelling import level
from sync.observer import predict, remember_load
from sync.orders import begin, serve_waiting, take_order
from sync.pinch import watch_currents
from sync.power import settle_saved, watch_power
from sync.profile import learn_profile
from sync.protection import protect
from sync.pulses import heading, take
from sync.residual import follow_speed
from sync.retreat import advance_retreat, end_retreat
from sync.stopping import cut_due, learn, note_cut, remaining, stop_place
from sync.trust import judge_coast, judge_corrections, spent, watch_counts
from sync.warmth import warm_legs

__all__ = ["tick", "tick_arrays"]

_UNREFERENCED, _HOMING, _READY, _MOVING, _SETTLING, _RETREATING, _FAULTED = 0, 1, 2, 3, 4, 5, 6
_TILT, _TIMEOUT, _HOMING_BUDGET = 5, 6, 7
_TWICE = 22
_BUDGET_SPENT, _DEBRIS, _DRIFT = 30, 33, 34
_TRACKING = 2
_FINISH_AND_HOME, _STOP = 1, 2
_STRETCH = 0.1  # s before the cut without new gatings, so that every leg is cut from steady running


@kernel
def fault(settings: Any, memory: Any, reason: int, now: float) -> None:
    """Switch every leg off and stay off; a homing that is broken off leaves the position unknown."""
    for q in range(settings.n_legs):
        memory.legs[q].on = 0
        memory.legs[q].gated = 0
    if memory.homing > 0:
        memory.referenced = 0
    memory.mode = _FAULTED
    memory.reason = reason
    memory.since_us = now
    memory.off_us = now


@kernel
def _see(settings: Any, memory: Any, inputs: Any) -> None:
    """Observer, pulses and current of every leg."""
    now = float(inputs.time_us)
    for q in range(settings.n_legs):
        leg = memory.legs[q]
        current = inputs.legs[q].current
        leg.current = current if current >= 0.0 else -current
        if leg.pulses > 0 or leg.on == 1:
            predict(leg, settings.legs[q], heading(memory, leg) * current, settings.tick)
        leg.second = inputs.legs[q].second
        if settings.correction == _TRACKING:
            follow_speed(settings, memory, q, memory.direction * current, inputs.supply, now)
        take(settings, memory, inputs, q)
    memory.believed_error = believed_error(settings, memory)


@kernel
def _slowed(settings: Any, memory: Any, base: float, now: float) -> float:
    """Common duty before the goal: ``base``, then down to slow over the ramp once the mean way left is the slow-down distance."""
    slow = settings.slow_duty if settings.slow_duty < base else base
    if memory.slow == 0:
        way = 0.0
        for q in range(settings.n_legs):
            way += remaining(settings, memory, q, now) / settings.legs[q].counts_per_metre / settings.n_legs
        if way > settings.slow_distance:
            return base
        memory.slow = 1
        memory.slow_us = now
    run = (now - memory.slow_us) * 1e-6
    if run >= settings.slow_ramp:
        return slow
    return base - run / settings.slow_ramp * (base - slow)  # type: ignore[no-any-return]


@kernel
def _ramp(settings: Any, memory: Any, run_us: float) -> float:
    """Share of the duty ``run_us`` [us] after a switch-on; a reversal out of the motion has no soft start."""
    run = run_us * 1e-6
    if run >= settings.soft_start or memory.pinch.phase == 3:
        return 1.0
    return run / settings.soft_start if run > 0.0 else 0.0


@kernel
def _drive(settings: Any, memory: Any, now: float) -> None:
    """Give every leg its duty; with a stagger each has a soft start of its own."""
    level(settings, memory, _base_duty(settings, memory, now), settings.law != 2 or _may_gate(settings, memory, now))
    if settings.stagger > 0.0:
        for q in range(settings.n_legs):
            memory.legs[q].duty *= _ramp(settings, memory, now - memory.legs[q].on_us)


@kernel
def _base_duty(settings: Any, memory: Any, now: float) -> float:
    """Common duty: base, slow before the goal, ramped up at the start."""
    duty = settings.pinch.retreat_duty if memory.mode == _RETREATING else settings.base_duty
    if memory.homing > 0 or memory.uncertain == 1:
        duty = settings.homing_second_duty if memory.homing == 3 else settings.homing_duty
    elif settings.slow_distance > 0.0:
        duty = _slowed(settings, memory, duty, now)
    if settings.stagger == 0.0:
        duty *= _ramp(settings, memory, now - memory.since_us)
    return duty  # type: ignore[no-any-return]


@kernel
def _may_gate(settings: Any, memory: Any, now: float) -> bool:
    """Whether gating may still switch legs off: not in the last stretch before the cut."""
    if settings.predict == 0:
        return True
    for q in range(settings.n_legs):
        leg = memory.legs[q]
        ahead = memory.goal - stop_place(settings, memory, q, now)
        if memory.direction * ahead * settings.legs[q].counts_per_metre < _STRETCH * leg.rate:
            return False
    return True


@kernel
def _stop_legs(settings: Any, memory: Any, now: float) -> tuple[int, int]:
    """Cut the legs that are due or have met their stop; legs still on, and the reason of a fault or 0."""
    running = 0
    approach = approaching(memory)
    for q in range(settings.n_legs):
        leg = memory.legs[q]
        reason = blocked(settings, memory, q, now)
        if reason != 0:
            leg.stalled = 1
            early = approach and above_stop(settings, memory, q, 0.0)
            if early or not approach:
                memory.culprit = q + 1
                return running, _DEBRIS if early else reason
            note_cut(leg, memory.direction, now)
            _mark_contact(settings, memory)
        elif not approach and leg.on == 1 and cut_due(settings, memory, q, now):
            note_cut(leg, memory.direction, now)
        running += leg.on
    return running, 0


@kernel
def _move(settings: Any, memory: Any, now: float) -> None:
    """One call while a move or a homing is under way."""
    homing = memory.homing > 0
    running, reason = _stop_legs(settings, memory, now)
    if reason != 0:
        fault(settings, memory, reason, now)
    elif homing and memory.first_contact == 1 and budget_spent(settings, memory):
        fault(settings, memory, _HOMING_BUDGET, now)
    elif apart(settings, memory) if homing else memory.believed_error > settings.tilt_limit:
        fault(settings, memory, _TILT, now)
    elif now - memory.since_us > settings.move_timeout * 1e6:
        fault(settings, memory, _TIMEOUT, now)
    elif running == 0:
        memory.mode = _SETTLING
        memory.since_us = now
        memory.off_us = now
    elif memory.calls % settings.control_every == 0:
        _drive(settings, memory, now)


@kernel
def _mark_contact(settings: Any, memory: Any) -> None:
    """The first leg has met its stop: the others may still run the homing budget."""
    if memory.first_contact == 1:
        return
    memory.first_contact = 1
    for q in range(settings.n_legs):
        memory.legs[q].start_counts = memory.legs[q].counts


@kernel
def _look_at_trust(settings: Any, memory: Any, now: float) -> None:
    """At rest with known positions: ask for homing if the budget is spent, and answer as the settings say."""
    if spent(settings, memory) and memory.ask == 0:
        memory.ask = _BUDGET_SPENT
    if memory.ask == 0:
        return
    if settings.trust_answer == _FINISH_AND_HOME:
        begin(settings, memory, -1, 1, now)
    elif settings.trust_answer == _STOP:
        fault(settings, memory, memory.ask, now)


@kernel
def _learn_move(settings: Any, memory: Any, now: float) -> None:
    """A move has ended as it was meant to: its coasts and its currents are taken in; one with an alarm teaches nothing."""
    for q in range(settings.n_legs):
        if learn(settings, memory, q) and settings.drift.on == 1:
            judge_coast(settings, memory, q, now)
    learn_profile(settings, memory)


@kernel
def _settle(settings: Any, memory: Any, now: float) -> None:
    """Wait until it is quiet; then learn from the coast, or take the next step of a homing."""
    last = memory.off_us
    for q in range(settings.n_legs):
        last = memory.legs[q].pulse_us if memory.legs[q].pulse_us > last else last
    if now - last < settings.quiet * 1e6:
        return
    for q in range(settings.n_legs):
        memory.legs[q].rate = 0.0
        memory.legs[q].doubt += settings.doubt_per_stop
        if settings.coast_end == 1 and memory.homing == 0:
            complete_coast(settings, memory, q)
    if memory.homing == 0 and memory.reason == 0:
        _learn_move(settings, memory, now)
        memory.drift.moves += 1
    if settings.drift.on == 1:
        judge_corrections(settings, memory, now)
    end_retreat(settings, memory)
    _rest(settings, memory, now)


@kernel
def _rest(settings: Any, memory: Any, now: float) -> None:
    """All is quiet: go on with a homing, or be ready."""
    if memory.homing > 0:
        reason = next_step(settings, memory, now)
        if reason != 0:
            fault(settings, memory, reason, now)
        if reason != 0 or memory.homing > 0:
            return
    memory.since_us = now
    memory.mode = _READY if memory.referenced == 1 else _UNREFERENCED
    settle_saved(settings, memory)
    if memory.mode == _READY and memory.power_failed == 0:
        _look_at_trust(settings, memory, now)


@kernel
def _command(settings: Any, memory: Any, outputs: Any, now: float) -> None:
    """Write what each bridge is to do."""
    brake = settings.brake_up if memory.direction >= 0 else settings.brake_down
    limit = settings.homing_current if approaching(memory) else settings.current_limit
    if memory.mode == _RETREATING and memory.pinch.phase == 1:
        brake = settings.pinch.reaction
    elif memory.mode == _SETTLING and memory.reason == _TWICE and settings.pinch.reaction > 0:
        brake = 1
    for q in range(settings.n_legs):
        leg = memory.legs[q]
        out = outputs.legs[q]
        if leg.on == 1 and leg.gated == 0 and now >= leg.on_us:
            out.mode = 1
            out.duty = memory.direction * leg.duty
        else:
            out.mode = 2 if brake == 1 else 0
            out.duty = 0.0
        out.limit = limit


@kernel
def _estimate(settings: Any, memory: Any, inputs: Any, now: float) -> None:
    """What the guards keep up to date: expected currents while legs are on, temperatures always."""
    if settings.pinch.on == 1 and memory.mode != _READY:
        watch_currents(settings, memory, inputs, now)
    if settings.drift.on == 1 and memory.mode != _READY:
        watch_counts(settings, memory, inputs, now)
        if settings.trust_answer == _STOP and memory.ask == _DRIFT and memory.mode == _MOVING:
            memory.culprit = memory.drift.leg + 1
            fault(settings, memory, _DRIFT, now)
    if settings.warmth.on == 1:
        warm_legs(settings, memory)


@kernel
def _run(settings: Any, memory: Any, supply: float, now: float) -> None:
    """One call while legs are driven, or wait for standstill to be driven back."""
    if memory.mode == _RETREATING:
        advance_retreat(settings, memory, now)
        if memory.pinch.phase == 1:
            return
    reason = protect(settings, memory, supply, now)
    if reason > 0:
        fault(settings, memory, reason, now)
    elif reason == 0:
        _move(settings, memory, now)


@kernel
def tick(settings: Any, memory: Any, inputs: Any, outputs: Any) -> None:
    """One call of the controller.

    Parameters
    ----------
    settings, memory, inputs, outputs
        Records of ``sync.records``; only ``memory`` and ``outputs`` are changed.
    """
    now = float(inputs.time_us)
    watch_power(settings, memory, inputs)
    _see(settings, memory, inputs)
    _estimate(settings, memory, inputs, now)
    take_order(settings, memory, inputs)
    if memory.mode == _MOVING or memory.mode == _HOMING or memory.mode == _RETREATING:
        _run(settings, memory, inputs.supply, now)
        way = 0 if memory.direction >= 0 else 1
        for q in range(settings.n_legs):
            if memory.legs[q].on == 1:
                remember_load(memory.legs[q], way, settings.tick, now)
    elif memory.mode == _SETTLING:
        _settle(settings, memory, now)
    if memory.waiting != 0:
        serve_waiting(settings, memory, now)
    memory.calls += 1
    _command(settings, memory, outputs, now)


@kernel
def tick_arrays(settings: Any, memory: Any, inputs: Any, outputs: Any) -> None:
    """``tick`` on arrays of shape (1,), which is how Python calls it fast."""
    tick(settings[0], memory[0], inputs[0], outputs[0])
