"""Record of a detector at count level: kind, chances or rates, the pulses that wait, the reference counter beside it.

Units: s, A, rad, rad/s unless a field says otherwise; instants in microseconds end in ``_us``.
"""

from __future__ import annotations

import numpy as np

from plant.trouble_records import DETECTOR_TROUBLE

__all__ = ["DETECTOR", "MAX_PULSES", "RATE_BANDS", "RATE_SPEEDS"]

MAX_PULSES = 64
"""Heard pulses that can wait on one leg between two controller ticks."""
RATE_SPEEDS = 12
"""Speeds of a table of miss and false rates."""
RATE_BANDS = 4
"""Coasting, and three bands of current while driven."""

f8, i8, u8 = np.float64, np.int64, np.uint64

DETECTOR = np.dtype(
    [
        ("kind", i8),  # 0 voltage spikes, 1 current ripple, 2 hall reference, 3 spikes with ripple as a second channel
        ("edge_false_on", f8),  # mean extra pulses at a switch-on
        ("edge_false_off", f8),  # mean extra pulses at a switch-off
        ("start_miss_mean", f8),  # commutations not heard at each start
        ("start_miss_sd", f8),
        ("run_miss", f8),  # probability per commutation
        ("run_false", f8),  # probability per commutation
        ("run_double", f8),  # probability per commutation
        ("double_delay_low", f8),  # s
        ("double_delay_high", f8),
        ("tail_speed", f8),  # rad/s: below it a coasting motor is not heard
        ("flyback", f8),  # s after a switch-off in which nothing is heard
        ("quiet_current", f8),  # A: below it a ripple detector hears nothing
        # rates by speed and current, from the signal level; they replace the probabilities above
        ("rated", i8),
        ("rate_speed", f8, (RATE_SPEEDS,)),  # rad/s, ascending
        ("rate_current", f8, (RATE_BANDS - 2,)),  # A, between the bands of a driven motor; band 0 is coasting
        ("rate_miss", f8, (RATE_BANDS * RATE_SPEEDS,)),  # per commutation, band after band
        ("rate_double", f8, (RATE_BANDS * RATE_SPEEDS,)),
        ("rate_false", f8, (RATE_BANDS * RATE_SPEEDS,)),
        # state
        ("to_miss", i8),  # misses still owed (start or injected)
        ("heard", i8),
        ("missed", i8),
        ("extra", i8),
        ("second", i8),  # heard by the second channel so far
        ("waiting", i8),  # pulses in the buffer
        ("lost", i8),  # pulses that found the buffer full
        ("words", u8, (4,)),  # random words of the present four commutations
        ("words_of", i8),  # number of that group of four, 0: none yet
        ("pulse_us", f8, (MAX_PULSES,)),  # instants of waiting pulses, ascending
        ("hall_slots", i8),  # reference counter, slots per revolution
        ("hall_counts", i8),
        ("hall_above", f8),  # angles of the next reference edges [rad]
        ("hall_below", f8),
        ("trouble", DETECTOR_TROUBLE),
    ],
    align=True,
)
