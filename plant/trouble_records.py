"""Records of what can go wrong on the wires of one motor: with what is heard, and with its bridge.

All zero means that nothing is wrong.  Units as in ``plant.records``.
"""

from __future__ import annotations

import numpy as np

__all__ = ["BRIDGE_TROUBLE", "DETECTOR_TROUBLE"]

f8, i8 = np.float64, np.int64

DETECTOR_TROUBLE = np.dtype(
    [
        ("active", i8),  # 1: a commutation of this leg must be looked at, derived by ``plant.trouble.refresh_trouble``
        ("dead", i8),  # 1: the channel gives no pulse
        ("cut", i8),  # 1: the motor's wire is broken, and with it what is heard on it
        ("weak_place", i8),  # index of the commutation within a revolution that is badly heard
        ("weak_miss", f8),  # chance that it is missed, 0: none
        ("talk", f8),  # chance that a commutation of another leg is heard on this one
        ("talk_from", i8),  # index of that leg, -1: any other
        ("noise_rate", f8),  # 1/s, false pulses from outside
        ("noise_common", i8),  # 1: at the same instants on every leg with this mark
        ("step_mean", f8),  # mean false pulses at a step of the supply
        ("step_least", f8),  # V away from where it was some ticks ago that count as a step
        ("step_over", i8),  # 1: the present step has been heard already
        ("spring", i8),  # false pulses after the rotor has come to rest
        ("sprung_us", f8),  # instant of the rest that they belonged to
    ],
    align=True,
)

BRIDGE_TROUBLE = np.dtype(
    [
        ("active", i8),  # 1: any of the following
        ("reversed", i8),  # the motor's two wires are exchanged
        ("broken", i8),  # one of them is broken
        ("stuck", i8),  # 0 obeys, 1 stays open, 2 stays on at ``duty``, 3 shorts the motor instead of opening
        ("duty", f8),
        ("unlimited", i8),  # the current limit does not act
    ],
    align=True,
)
