"""Guards: stall by pulse time-out and current, missing pulses, tilt, time-out of a move, homing budget."""

from __future__ import annotations

from typing import Any

from sync.kernel import kernel
from sync.pulses import counted_height

__all__ = ["above_stop", "apart", "approaching", "believed_error", "blocked", "budget_spent"]

_FREE, _STALL, _NO_PULSES = 0, 3, 4
_ROUNDING = 2.0  # counts that two legs may differ by without having moved apart
_RETREATING = 5
_FIRST = 0.01  # s, expected period of a retreating leg before two pulses have told it: it turns round at high current


@kernel
def approaching(memory: Any) -> bool:
    """Whether the legs run to their end stops now; a homing also has a back-off, which is an ordinary short move."""
    return memory.homing == 1 or memory.homing == 3  # type: ignore[no-any-return]


@kernel
def above_stop(settings: Any, memory: Any, q: int, room: float) -> bool:
    """Whether leg ``q`` is surely more than ``room`` [m] above its stop: a first approach from a known height, but for its doubt.

    What it meets there is debris or an obstacle.  From an unknown height nothing tells them from the stop.
    """
    leg = memory.legs[q]
    allowed = (settings.debris + room) * settings.legs[q].counts_per_metre + leg.doubt
    return memory.homing == 1 and memory.referenced == 1 and leg.counts > allowed  # type: ignore[no-any-return]


@kernel
def blocked(settings: Any, memory: Any, q: int, now: float) -> int:
    """Reason why leg ``q`` counts as blocked at ``now`` [us]: STALL, NO_PULSES, or NONE.

    No pulse for some expected periods and current above the threshold, both; or one of the two alone for longer.  A retreat
    has no grace, and a leg that is not heard in it is waited for some hundredths of a second: if what stopped the move holds
    the leg itself, a jam, then the others leave it behind.
    """
    leg = memory.legs[q]
    retreats = memory.mode == _RETREATING
    powered = leg.on == 1 and leg.gated == 0 and now >= leg.on_us
    threshold = settings.homing_stall_current if approaching(memory) else settings.stall_current
    over = powered and leg.current >= threshold
    if not over:
        leg.over_since_us = now
    if not powered:
        leg.dark_us = now
    if not powered or (now - leg.on_us < settings.start_grace * 1e6 and not retreats):
        return _FREE
    last = leg.pulse_us if leg.pulse_us > leg.on_us else leg.on_us
    # a leg that was gated off for long is not silent: it stood
    last = leg.dark_us if leg.dark_us > last else last
    silence = (now - last) * 1e-6
    unheard = _FIRST if retreats else settings.stall_alone
    expected = leg.period_sum / leg.period_number if leg.period_number > 0 else unheard
    limit = settings.stall_periods * expected
    limit = limit if limit > settings.stall_least else settings.stall_least
    high = (now - leg.over_since_us) * 1e-6
    if silence > limit and high >= settings.stall_confirm:
        return _STALL
    if high >= settings.stall_alone:
        return _STALL
    if silence > settings.stall_alone:
        return _NO_PULSES
    return _FREE


@kernel
def believed_error(settings: Any, memory: Any) -> float:
    """Highest minus lowest leg [m], as counted."""
    high, low = -1e9, 1e9
    for q in range(settings.n_legs):
        height = counted_height(settings, memory, q)
        high = height if height > high else high
        low = height if height < low else low
    return high - low


@kernel
def budget_spent(settings: Any, memory: Any) -> bool:
    """Whether a leg has run further than the homing budget since the first one met its stop."""
    for q in range(settings.n_legs):
        leg = memory.legs[q]
        run = (leg.start_counts - leg.counts) / settings.legs[q].counts_per_metre
        if leg.on == 1 and run > settings.homing_budget:
            return True
    return False


@kernel
def apart(settings: Any, memory: Any) -> bool:
    """Whether a homing has driven the legs apart by more than the tilt limit before the first of them met its stop.

    Heights that are known are held to the limit, or, where the homing begins beyond it, to what they were then.  Else they may
    mean nothing yet, and two things must be beyond the limit: by how much the legs have moved apart since this step of the
    homing began, and how far apart they are counted now.  One that begins tilted may level the deck.
    """
    if memory.first_contact == 1 or memory.believed_error <= settings.tilt_limit:
        return False
    most, least, high, low = -1e9, 1e9, -1e9, 1e9
    for q in range(settings.n_legs):
        leg, told = memory.legs[q], settings.legs[q]
        way = (leg.counts - leg.start_counts) / told.counts_per_metre
        most = way if way > most else most
        least = way if way < least else least
        began = leg.start_counts / told.counts_per_metre + told.home_offset
        high = began if began > high else high
        low = began if began < low else low
    if memory.homing == 1 and memory.referenced == 1:
        return memory.believed_error > high - low + _ROUNDING / settings.legs[0].counts_per_metre  # type: ignore[no-any-return]
    return most - least > settings.tilt_limit  # type: ignore[no-any-return]
