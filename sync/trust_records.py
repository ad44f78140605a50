"""Records of trust: what the firmware is told of its tests of the counts, what it remembers of them, what it keeps without power.

They stand inside the records of ``sync.records``.  SI units; instants in microseconds (``_us``).
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np

__all__ = ["DRIFT_MEMORY", "DRIFT_SETTINGS", "LEG_DRIFT", "TRACK", "saved_dtype"]

f8, i8 = np.float64, np.int64

DRIFT_SETTINGS = np.dtype(
    [
        ("on", i8),
        ("block", i8),  # calls in a block of the back-EMF residual
        ("least", f8),  # counts in three blocks from which a burst is called one
        ("spreads", f8),  # and standard deviations of the residual
        ("noise", f8),  # counts, standard deviation of what one block counts
        ("corrections", f8),  # pulses rejected or inserted in three blocks that are too many
        ("allowance", f8),  # k of the CUSUM, standard deviations
        ("limit", f8),  # h of the CUSUM, standard deviations
        ("coast_share", f8),  # standard deviation of a coast, as a share of it
        ("coast_least", f8),  # and counts
        ("move_counts", f8),  # standard deviation of a move's count error
    ],
    align=True,
)

TRACK = np.dtype(
    [
        ("sure", i8),  # 1: the voltage tells the speed now
        ("speed", f8),  # counts/s, by the back-EMF
        ("ahead", f8),  # counts predicted since the last accepted pulse
    ],
    align=True,
)

CUSUM = np.dtype([("high", f8), ("low", f8)], align=True)

LEG_DRIFT = np.dtype(
    [
        # block under way
        ("calls", i8),
        ("flux", f8),  # V s, of the voltage less the brush drop
        ("charge", f8),  # A s
        ("from_place", f8),  # counts, where it began
        ("from_us", f8),  # instant of that
        ("from_counts", i8),
        ("from_second", i8),
        ("from_rejected", i8),
        ("from_inserted", i8),
        # residuals [counts] of the blocks before, the last one first
        ("residual", f8, (3,)),
        ("unsure", f8, (3,)),  # counts, standard deviation that R and K left in them
        ("rejected", f8, (3,)),
        ("inserted", f8, (3,)),
        # learnt: back-EMF constant and resistance, as shares of what was told, and their covariance
        ("emf", f8),
        ("resistance", f8),
        ("emf_variance", f8),
        ("cross", f8),
        ("resistance_variance", f8),
        # per move and per homing
        ("coast", CUSUM),
        ("stop", CUSUM),
        ("coast_run", f8),  # counts of the last coast less what was told
        ("told_causes", i8),  # bit field of what has been reported since the last homing
    ],
    align=True,
)

DRIFT_MEMORY = np.dtype(
    [
        ("number", i8),  # suspicions so far
        ("leg", i8),  # of the last one
        ("cause", i8),  # sync.modes.Cause
        ("counts", f8),  # by which the count seems off: negative lost, positive gained
        ("at_us", f8),
        ("moves", i8),  # since the last homing
    ],
    align=True,
)


@lru_cache
def saved_dtype(capacity: int) -> np.dtype[np.void]:
    """What is kept without power: the position, how far it may be off, and whether it was being left.  Whole numbers only."""
    return np.dtype(
        [
            ("valid", i8),  # 1: something was saved
            ("referenced", i8),
            ("direction", i8),  # of the last move
            ("moving", i8),  # 1: a move has begun since the last save at rest
            ("stage", i8),  # of such a move: 0 nothing saved yet, 1 saved while coasting, 2 saved once quiet
            ("counts", i8, (capacity,)),
            ("doubt", i8, (capacity,)),  # counts either way, rounded up
            ("check", i8),
        ],
        align=True,
    )
