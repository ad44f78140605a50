"""Records of the guards: what the firmware is told of pinch, warmth and payload, and what it remembers of them.

They stand inside the records of ``sync.records``.  SI units; instants in microseconds (``_us``).
"""

from __future__ import annotations

import numpy as np

__all__ = ["BINS", "LEG_PINCH", "LEG_PINCH_TOLD", "LEG_WARMTH", "LEG_WARMTH_TOLD", "PINCH_MEMORY", "PINCH_SETTINGS", "WARMTH_SETTINGS"]

BINS = 24
"""Bins of the learnt current profile over the travel, in each direction."""

f8, i8 = np.float64, np.int64

PINCH_SETTINGS = np.dtype(
    [
        ("on", i8),
        ("reaction", i8),  # 0 coast, 1 brake, 2 reverse at once
        ("retreat", f8),  # m
        ("retreat_duty", f8),
        ("rise", f8),  # A
        ("rise_most", f8),  # A, highest threshold that the learnt spread may make of it
        ("fall", f8),  # A
        ("fall_least", f8),  # A, lowest threshold of a fall
        ("loss_share", f8),  # of the load's part of the current
        ("spreads", f8),  # threshold in standard deviations
        ("filter_share", f8),  # of a new deviation per call
        ("confirm_us", f8),
        ("common_us", f8),  # confirmation of a fall that all legs show
        ("start_us", f8),  # after a switch-on, soft start included
        ("start_extra", f8),  # A
        ("swing_part", f8),  # of the accelerating current
        ("follow_step", f8),  # A per call
        ("follow_share", f8),  # per call
        ("noise_share", f8),  # per call
        ("learn_gain", f8),
        ("learn_most", f8),  # share of the running current per pass
        ("bins_per_metre", f8),
    ],
    align=True,
)

LEG_PINCH_TOLD = np.dtype(
    [
        ("conductance", f8),  # S, of winding and switches
        ("driven_share", f8),  # 1 / (1 + call * (drag rate + stiffness of the back-EMF))
        ("free_share", f8),  # 1 / (1 + call * drag rate)
        ("drag_current", f8),  # A per count/s
        ("swing_share", f8),  # lost of the swing per call
        ("settle_share", f8),  # of a deviation taken into the level per call during the start
        ("hold_us", f8),  # at the end of the start, so that what is left of the deviation can be read
        ("lowest", f8),  # A, 0 where a diode bars the way back
        ("highest", f8),  # A, limit of the hardware
        ("idle", f8),  # A, of the constant drag
    ],
    align=True,
)

LEG_PINCH = np.dtype(
    [
        ("rate", f8),  # counts/s of the expected drive
        ("level", f8),  # A, load of this move
        ("levels", f8, (2,)),  # the same at the end of the last clean move; up, down; 0: none yet
        ("form_now", f8),  # A, of the profile where the leg is
        ("deviation", f8),  # A, measured less expected, filtered
        ("swing", f8),  # A, accelerating current, held for a while
        ("threshold", f8),  # A, of a rise
        ("fall_threshold", f8),  # A, of a fall; 0: cannot be seen
        ("over_us", f8),
        ("under_us", f8),
        ("noise", f8),  # A2
        ("place", i8),  # bin, -1: none yet
        ("total", f8),  # A, deviations in this bin
        ("number", i8),
        ("seen", i8),  # bit field of the bins that this move has passed
        ("pending", f8, (BINS,)),  # A, mean deviation in each of them
        ("form", f8, (2, BINS)),  # A, learnt
        ("spread", f8, (2, BINS)),  # A, learnt
    ],
    align=True,
)

PINCH_MEMORY = np.dtype(
    [
        ("phase", i8),  # 0 none, 1 waiting for standstill, 2 retreating after a rest, 3 retreating from a reversal at once
        ("trips", i8),  # pinches decided so far
        ("leg", i8),  # of the last one
        ("deviation", f8),  # A, that decided it
        ("from_height", f8),  # m, mean counted height at the decision
        ("retreats", i8),  # retreats done so far
        ("retreated", f8),  # m, of the last one, as counted
    ],
    align=True,
)

WARMTH_SETTINGS = np.dtype(
    [
        ("on", i8),
        ("limit", f8),  # deg C at which a move is ended
        ("start_limit", f8),  # deg C above which none is begun
        ("ambient", f8),  # deg C, assumed
    ],
    align=True,
)

LEG_WARMTH_TOLD = np.dtype(
    [
        ("winding_rise", f8),  # K per W and call
        ("case_rise", f8),  # K per W and call
        ("across", f8),  # W/K, winding to case
        ("away", f8),  # W/K, case to air
    ],
    align=True,
)

LEG_WARMTH = np.dtype([("winding", f8), ("case", f8)], align=True)  # deg C, estimated
