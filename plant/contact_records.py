"""Record of one contact: something that meets one point of the deck, and what it has felt.  Units as in ``plant.records``."""

from __future__ import annotations

import numpy as np

__all__ = ["CONTACT", "MAX_CONTACTS"]

MAX_CONTACTS = 4
"""Obstacles and leaning people of one rehearsal."""

f8, i8 = np.float64, np.int64

CONTACT = np.dtype(
    [
        ("active", i8),  # 0: taken away again
        ("x", f8),  # of the point of the deck, in its plan
        ("y", f8),
        ("side", f8),  # 1 above the deck, met going up; -1 below it
        ("face", f8),  # height of its face
        ("stiffness", f8),  # N/m
        ("push", f8),  # N, constant and downwards, of somebody who leans on the deck
        ("basis", f8, (3,)),  # of the deck, at the point
        # state
        ("height", f8),  # of the deck at the point
        ("pressed", i8),
        ("force", f8),  # N between deck and obstacle, never negative
        ("touching", i8),  # 1 during an attempt, short bounces included
        ("told", i8),  # what the log of events says of it
        ("attempts", i8),  # separate times the deck came against it
        ("touch_us", f8),  # begin of the first attempt
        ("last_us", f8),  # last instant with force
        ("clock_us", f8),  # when the force of this attempt first passed ``clock_force``, 0: not yet
        ("peak", f8),  # N, largest of all attempts, and when
        ("peak_us", f8),
        ("first_peak", f8),  # of the first attempt
        ("attempt_peak", f8),  # of the present or last attempt
        ("late_peak", f8),  # largest later than ``late_after`` in any attempt, and when
        ("late_us", f8),
        ("last_peak", f8),  # largest later than ``last_after``
        ("last_peak_us", f8),
    ],
    align=True,
)
