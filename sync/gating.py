"""Gating: the law of drives without PWM, which can only switch a leg off and on."""

from __future__ import annotations

from typing import Any

from sync.kernel import kernel
from sync.pulses import counted_height

__all__ = ["gating"]


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
