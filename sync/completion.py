"""Coast-end completion: the counts that were too weak to be heard at the end of a coast.

The speed at the last pulse heard and the deceleration tell how far the rotor still turned; whole counts of it are added.  From
four periods on both come from a straight line fitted to the last eight speeds of the coast; a shorter coast is told by its last
period and the resisting torque of the last steady stretch, one that was not heard at all by the prediction at the cut.

Source: fit of the last 5 to 10 periods, linear decay; constant friction decelerates nearly evenly.
Neglects: drag that rises at low speed (the rest is told up to a count too long).
Valid for: a coast that ends by friction.  One that ends on an obstacle or a stop looks the same from here, so no more than twelve
counts are ever added, and each adds to the doubt.  A leg that stalled while it was driven gains none.
"""

from __future__ import annotations

from typing import Any

from sync.kernel import kernel

__all__ = ["complete_coast", "rest_of_coast"]

_LEAST, _MOST = 4, 8  # periods in the fit
_LONGEST = 12.0  # counts


@kernel
def _fitted(leg: Any, turn: int, number: int) -> tuple[float, float]:
    """Speed [counts/s] at the last pulse and its slope [counts/s2] from the last ``number`` periods of a ring of ``turn``."""
    at, sum_t, sum_r, sum_tt, sum_tr = 0.0, 0.0, 0.0, 0.0, 0.0
    place = leg.period_place
    for _ in range(number):
        place = place - 1 if place > 0 else turn - 1
        period = leg.periods[place]
        middle = at - 0.5 * period
        rate = 1.0 / period
        sum_t += middle
        sum_r += rate
        sum_tt += middle * middle
        sum_tr += middle * rate
        at -= period
    slope = (number * sum_tr - sum_t * sum_r) / (number * sum_tt - sum_t * sum_t)
    return (sum_r - slope * sum_t) / number, slope


@kernel
def rest_of_coast(leg: Any, told: Any, way: int) -> float:
    """Counts from the last pulse of a coast to standstill, ``way`` 0 up, 1 down; 0 where nothing can be said."""
    load = leg.load_known[way] if leg.load_known[way] > 0.0 else leg.load
    number = leg.pulses - leg.cut_pulses
    if number <= 0:
        return leg.cut_part + leg.coast_told  # type: ignore[no-any-return]
    # the period across the cut is left out where there are others
    usable = number - 1 if number > 1 else 1
    usable = usable if usable < leg.period_number else leg.period_number
    usable = usable if usable < _MOST else _MOST
    last, slope = 0.0, 0.0
    if usable >= _LEAST:
        last, slope = _fitted(leg, told.counts_per_revolution, usable)
    if slope >= 0.0 or last <= 0.0:
        slope = -load - told.drag_rate / leg.period
        last = 1.0 / leg.period + 0.5 * slope * leg.period
    return last * last / (-2.0 * slope) if last > 0.0 else 0.0


@kernel
def complete_coast(settings: Any, memory: Any, q: int) -> None:
    """Add what leg ``q`` did not hear at the end of the coast that is over."""
    leg = memory.legs[q]
    if leg.cut == 0 or leg.stalled == 1 or leg.opposed == 1 or leg.period <= 0.0:
        return
    rest = rest_of_coast(leg, settings.legs[q], 0 if memory.direction >= 0 else 1)
    missing = int(rest) if rest < _LONGEST else int(_LONGEST)
    leg.counts += memory.direction * missing
    leg.progress += missing
    leg.inserted += missing
    leg.doubt += missing * settings.doubt_per_inserted
