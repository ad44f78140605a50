"""Levelling laws: the duty of each leg from the counted heights, by the law that the settings choose.

A new law is one function in a module of its kind (``coupling``, ``modal``, ``reference``, ``gating``) and one branch here.
"""

from __future__ import annotations

from typing import Any

from sync.coupling import cross_coupling, follow, ring
from sync.gating import gating
from sync.kernel import kernel
from sync.modal import modal
from sync.reference import common_reference

__all__ = ["level"]

_NONE, _CROSS, _GATING, _FOLLOW, _REFERENCE, _RING, _MODAL = 0, 1, 2, 3, 4, 5, 6


@kernel
def level(settings: Any, memory: Any, base: float, gate: bool) -> None:
    """Set the duty of every leg that is on; ``base`` is the common duty, ``gate`` allows new switchings."""
    for q in range(settings.n_legs):
        memory.legs[q].duty = base
    law = settings.law
    if law == _CROSS or (law == _REFERENCE and memory.homing > 0):
        # a homing has no speed that could be told beforehand, so there is no reference to run along
        cross_coupling(settings, memory, base)
    elif law == _GATING and memory.homing == 0:
        gating(settings, memory, gate)
    elif law == _FOLLOW:
        follow(settings, memory, base)
    elif law == _REFERENCE:
        common_reference(settings, memory, base)
    elif law == _RING:
        ring(settings, memory, base)
    elif law == _MODAL:
        modal(settings, memory, base)
