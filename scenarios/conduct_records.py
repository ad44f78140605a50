"""Record of how the controller conducts itself: how far it goes on after a release or a guard's decision, and when faulted."""

from __future__ import annotations

import numpy as np

__all__ = ["conduct_dtype"]

f8, i8 = np.float64, np.int64

LEG_CONDUCT = np.dtype(
    [
        ("way", f8),  # 1 or -1: the way it was going at the order or decision, 0: it stood
        ("from_travel", f8),
        ("reach", f8),  # m, how far it has gone on that way since
        ("reach_us", f8),  # when it last went further
        ("still_travel", f8),  # where it came to rest after the fault
        ("inserted", i8),  # pulses inserted so far, as of the last tick
    ],
    align=True,
)


def conduct_dtype(capacity: int) -> np.dtype[np.void]:
    """Record for up to ``capacity`` legs; ``_leg`` is the leg that a largest value belongs to, ``_us`` its instant."""
    return np.dtype(
        [
            ("mode_before", i8),
            ("order_before", i8),
            # stops: after a release, or after a guard's decision
            ("stops", i8),
            ("stopping", i8),  # 1: the last of them has not ended
            ("stop_us", f8),  # of the last order or decision
            ("longest", f8),  # m, largest way gone on
            ("longest_us", f8),
            ("longest_leg", i8),
            ("slowest", f8),  # s, longest time until no leg went on
            ("slowest_us", f8),
            ("slowest_leg", i8),
            # retreats, measured from the furthest point
            ("retreats", i8),
            ("retreating", i8),
            ("least_retreat", f8),  # m
            ("retreat_us", f8),
            ("retreat_leg", i8),
            # while faulted
            ("faults", i8),
            ("faulted_still", i8),  # 1: every leg has come to rest since the fault
            ("powered", f8),  # s with a bridge driving
            ("crept", f8),  # m, largest motion after it had come to rest
            ("crept_us", f8),
            ("crept_leg", i8),
            # counts made up where nothing turned
            ("blocked", i8),  # 1: the controller has called a leg blocked
            ("made_up", i8),
            ("made_up_us", f8),
            ("made_up_leg", i8),
            # tilt about each axis, while moving
            ("tilted", i8),
            ("tilt_x", f8),  # rad, largest slope along x
            ("tilt_x_us", f8),
            ("tilt_y", f8),
            ("tilt_y_us", f8),
            ("unflagged", f8),  # m, largest level error while the controller did not ask to be homed
            ("unflagged_us", f8),
            ("legs", LEG_CONDUCT, (capacity,)),
        ],
        align=True,
    )
