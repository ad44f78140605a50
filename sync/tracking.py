"""A tracking loop on the back-EMF speed: how many counts should have passed when a pulse comes.

Between pulses the speed that voltage and current tell is integrated; each pulse is worth the nearest whole number of counts
and draws the loop towards itself.  Counts are only ever added when a pulse comes, so a stalled leg gains none, whatever the
integral says.  Where the voltage does not tell the speed (off, start, current limit) the period decides, as without the loop.

Source: phase-locked tracking of ripple counts, common practice; constants are planning values.
"""

from __future__ import annotations

from typing import Any

from sync.kernel import kernel

__all__ = ["worth"]

_GAIN = 0.2  # of the phase error, per pulse: a fifth of the count rate
_MOST = 10  # counts that one pulse may stand for: more is a burst, and drift


@kernel
def worth(leg: Any, stamp: float, now: float) -> int:
    """Counts that a pulse at ``stamp`` [us] stands for, 0: it is a false one; draws the loop towards it."""
    track = leg.track
    since = track.speed * (now - stamp) * 1e-6
    lead = track.ahead - since
    number = int(lead + 0.5) if lead > 0.0 else 0
    if number == 0:
        return 0
    if number > _MOST:
        track.ahead = since
        return 1
    track.ahead = since + (1.0 - _GAIN) * (lead - number)
    return number
