"""Records of what stands between machine and controller: the logic's own power, its clock, and which wire goes where.

Units as in ``plant.records``.
"""

from __future__ import annotations

import numpy as np

__all__ = ["CLOCK", "LOGIC"]

f8, i8 = np.float64, np.int64

LOGIC = np.dtype(
    [
        # parameters
        ("held", i8),  # 1: fed from its own capacitor; 0: its power never fails
        ("capacitance", f8),
        ("power", f8),  # W, drawn while it runs
        ("drop", f8),  # V, of the diode between the bridges' supply and the capacitor
        ("resistance", f8),  # ohm, in series with that diode
        ("least", f8),  # V, below it the logic stops
        ("wake_above", f8),  # V, above it the logic starts again
        ("fail_below", f8),  # V of the bridges' supply, below it the supply is reported as failing; 0: never reported
        ("good_above", f8),  # V, above it it is reported as good again
        # state
        ("voltage", f8),  # of the capacitor
        ("up", i8),
        ("good", i8),
        ("wake", i8),  # 1: the controller's next call is the first one after the logic was down
        ("lowest", f8),  # V
        ("down_us", i8),  # time without power so far
        ("downs", i8),  # how often it stopped
        ("deaf", i8),  # pulses that came while it was down
        ("spent", f8),  # J, what it took from the bridges' supply
    ],
    align=True,
)

CLOCK = np.dtype(
    [
        ("skip", i8),  # calls that will be left out
        ("skipped", i8),  # left out so far
        ("jitter", i8),  # sub-steps, the outputs come up to so many later
        ("delay_steps", i8),  # compute delay without jitter, kept while there is jitter
        ("rate", f8),  # relative error of the controller's clock
        ("from_us", f8),  # true instant from which on this error holds
        ("shown_us", f8),  # what the controller's clock showed then
    ],
    align=True,
)
