"""Levelling laws: the duty of each leg from the counted heights.

A new law is one function here and one branch in ``level``.
"""

from __future__ import annotations

from typing import Any

from sync.kernel import kernel
from sync.pulses import counted_height

__all__ = ["cross_coupling", "gating", "level"]

_NONE, _CROSS, _GATING = 0, 1, 2


@kernel
def level(settings: Any, memory: Any, base: float, gate: bool) -> None:
    """Set the duty of every leg that is on; ``base`` is the common duty, ``gate`` allows new switchings."""
    for q in range(settings.n_legs):
        memory.legs[q].duty = base
    if settings.law == _CROSS:
        cross_coupling(settings, memory, base)
    elif settings.law == _GATING and memory.homing == 0:
        gating(settings, memory, gate)


@kernel
def _integrate(settings: Any, leg: Any, area: float, duty: float) -> None:
    """Add ``area`` [m s] of lead to the integral, unless the ``duty`` is at its end and would be driven further."""
    if (duty >= 1.0 and area < 0.0) or (duty <= 0.0 and area > 0.0):
        return
    value = leg.integral + 2.0 * settings.integral_gain * area
    most = settings.integral_limit
    leg.integral = most if value > most else (-most if value < -most else value)


@kernel
def cross_coupling(settings: Any, memory: Any, base: float) -> None:
    """Couple every leg to the mean: u_i = u0 - 2 Kc (x_i - mean) - 2 Ki integral(x_i - mean), in the direction of the move.

    The integral stands still while the duty is at its end and would be driven further.

    Source: cross-coupled control of two axes, Koren, ASME J. Dyn. Syst. Meas. Control 102 (1980), taken to N legs.
    """
    mean, running = 0.0, 0
    for q in range(settings.n_legs):
        if memory.legs[q].on == 1:
            mean += counted_height(settings, memory, q)
            running += 1
    if running < 2:
        return
    mean /= running
    span = settings.tick * settings.control_every
    for q in range(settings.n_legs):
        leg = memory.legs[q]
        if leg.on == 0:
            continue
        lead = memory.direction * (counted_height(settings, memory, q) - mean)
        duty = base - 2.0 * settings.gain * lead - leg.integral
        _integrate(settings, leg, lead * span, duty)
        leg.duty = 0.0 if duty < 0.0 else (1.0 if duty > 1.0 else duty)


@kernel
def gating(settings: Any, memory: Any, gate: bool) -> None:
    """Switch the leading leg off and on again: off at a lead of ``gate_on`` counts over the slowest, on at ``gate_off``."""
    last = 1e30
    for q in range(settings.n_legs):
        if memory.legs[q].on == 1:
            height = memory.direction * counted_height(settings, memory, q)
            last = height if height < last else last
    for q in range(settings.n_legs):
        leg = memory.legs[q]
        if leg.on == 0:
            continue
        lead = (memory.direction * counted_height(settings, memory, q) - last) * settings.legs[q].counts_per_metre
        if leg.gated == 0 and gate and lead >= settings.gate_on - 1e-6:
            leg.gated = 1
            leg.switch_offs += 1
        elif leg.gated == 1 and lead <= settings.gate_off + 1e-6:
            leg.gated = 0
