"""Limits on forces between the deck and what is in its way, on virtual gauges of a given stiffness.

A simulation is not a safety case: the figures named here are examples, the limit is the user's own.
"""

from __future__ import annotations

from collections.abc import Callable

from scenarios.limit_kinds import Finding, LimitKind, worst
from scenarios.summary import ContactResult, RunSummary

__all__ = ["PINCH"]

_NONE = "nothing was in the way"
_UNTOUCHED = "the deck did not touch the obstacle"


def _of_contacts(run: RunSummary, find: Callable[[ContactResult], Finding]) -> Finding:
    touched = [contact for contact in run.contacts if contact.attempts > 0]
    if not touched:
        return Finding(reason=_UNTOUCHED if run.contacts else _NONE)
    return worst((find(contact) for contact in touched), _NONE)


def _peak(run: RunSummary) -> Finding:
    return _of_contacts(run, lambda one: Finding(one.peak_n, one.peak_s, one.point))


def _after(one: ContactResult, value: float, at_s: float | None, after_s: float) -> Finding:
    """Force after some time; a deck that still presses when the rehearsal ends sooner presses on, and that is told."""
    if one.pressed_s is None:
        return Finding(value, at_s, one.point)
    if one.pressed_s > after_s:
        return Finding(max(value, one.force_n), at_s, one.point)
    why = f"the deck still pressed when the rehearsal ended, {one.pressed_s:.2f} s after the touch"
    return Finding(max(value, one.force_n), at_s, one.point, why)


def _late(run: RunSummary) -> Finding:
    return _of_contacts(run, lambda one: _after(one, one.late_peak_n, one.late_s, one.late_after_s))


def _last(run: RunSummary) -> Finding:
    return _of_contacts(run, lambda one: _after(one, one.last_peak_n, one.last_s, one.last_after_s))


def _reversal(run: RunSummary) -> Finding:
    """Largest force up to the reversal; a deck that never let go has no such force, only a broken or an unjudged one."""
    return _of_contacts(
        run,
        lambda one: Finding(one.peak_n, one.peak_s, one.point, "" if one.pressed_s is None else "the deck had not let go when it ended"),
    )


_MASK = "example after EN 12453 as quoted in trade summaries, which warn that it is their reading; the standard was not read"


def _end_stop(run: RunSummary) -> Finding:
    stop = run.hardest_stop
    return Finding(reason="no end stop was met") if stop is None else Finding(stop.value, stop.at_s, stop.leg)


PINCH = (
    LimitKind("pinch_peak_n", "N", "largest force on an obstacle", f"400 N, {_MASK}", _peak),
    LimitKind("pinch_late_n", "N", "largest force on an obstacle late after the touch (0.75 s or after_s)", f"150 N, {_MASK}", _late),
    LimitKind("pinch_last_n", "N", "largest force on an obstacle at last (5 s after the touch or after_s)", f"25 N, {_MASK}", _last),
    LimitKind(
        "pinch_reversal_n",
        "N",
        "largest force on an obstacle before the deck went back from it",
        "100 N, example after 49 CFR 571.118 S5 and UN R21 par. 5.8 (4 to 200 mm opening); read in public letters and translations",
        _reversal,
    ),
    LimitKind("end_stop_n", "N", "largest force of an end stop, homing included", "strength of stop, nut and spindle", _end_stop),
)
"""Rows of the catalogue."""
