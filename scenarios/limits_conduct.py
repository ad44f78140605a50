"""Limits on what the controller does beside moving: how it stops, what it reports, and what it does when faulted."""

from __future__ import annotations

from scenarios.limit_kinds import Finding, LimitKind, of_extreme
from scenarios.summary import RunSummary

__all__ = ["CONDUCT"]

_DROPPED = "the log of events was full"


def _stop_open(run: RunSummary, found: Finding) -> Finding:
    """The same with a reason where a stop had not ended."""
    if found.value is not None and run.conduct.stopping:
        return Finding(found.value, found.at_s, found.leg, "a leg still went on when the rehearsal ended")
    return found


def _stop_way(run: RunSummary) -> Finding:
    return _stop_open(run, of_extreme(run.conduct.stop_mm, "no key was released and no guard acted"))


def _stop_time(run: RunSummary) -> Finding:
    return _stop_open(run, of_extreme(run.conduct.stop_s, "no key was released and no guard acted"))


def _retreat(run: RunSummary) -> Finding:
    touched = [contact for contact in run.contacts if contact.attempts > 0]
    if run.conduct.retreat_mm is None and touched:
        return Finding(0.0, touched[0].touch_s, touched[0].point)
    return of_extreme(run.conduct.retreat_mm, "there was no retreat, and nothing to retreat from")


def _powered(run: RunSummary) -> Finding:
    if run.conduct.powered_s is None:
        return Finding(reason="the controller was never faulted")
    return Finding(run.conduct.powered_s)


def _crept(run: RunSummary) -> Finding:
    return of_extreme(run.conduct.crept_mm, "the controller was never at rest and faulted")


def _made_up(run: RunSummary) -> Finding:
    return of_extreme(run.conduct.made_up, "no leg was called blocked")


def _unflagged(run: RunSummary) -> Finding:
    return of_extreme(run.conduct.unflagged_mm, "nothing but homings was moved" if run.moves else "nothing was moved")


_ALWAYS_ON = "the power of the logic never fails in this lift: logic.hold_up_mf is left out"


def _logic(run: RunSummary) -> Finding:
    return Finding(run.conduct.logic_min_v, reason="" if run.conduct.logic_min_v is not None else _ALWAYS_ON)


def _logic_down(run: RunSummary) -> Finding:
    return Finding(run.conduct.logic_down_s, reason="" if run.conduct.logic_down_s is not None else _ALWAYS_ON)


def _false_trips(run: RunSummary) -> Finding:
    """Guards that acted, and suspicions of drift, before the first fault of the script came, or without one."""
    if run.events_dropped or not run.moves:
        return Finding(reason=_DROPPED if run.events_dropped else "nothing was moved")
    told = [event for event in run.events if event.what in ("reason", "drift")]
    trips = [event for event in told if run.fault_s is None or event.t_s < run.fault_s]
    if not trips:
        return Finding(0.0)
    return Finding(float(len({event.t_s for event in trips})), trips[0].t_s, trips[0].leg)


def _reported(run: RunSummary, wanted: tuple[str, ...]) -> Finding:
    """How many of the wanted words the controller did not report; the instant is that of the last one to come."""
    first = {event.word: event for event in reversed(run.events) if event.word}
    missing = [word for word in wanted if word not in first]
    if missing and run.events_dropped:
        return Finding(reason=_DROPPED)
    if missing:
        others = ", ".join(sorted(set(first) - set(wanted))) or "nothing else"
        return Finding(float(len(missing)), run.simulated_s, None, "", f"no {', '.join(missing)}; reported: {others}")
    last = max((first[word] for word in wanted), key=lambda event: event.t_s)
    return Finding(0.0, last.t_s, last.leg, "", ", ".join(wanted))


def _ended(run: RunSummary, wanted: tuple[str, ...]) -> Finding:
    mode = run.controller.mode
    return Finding(0.0 if mode in wanted else 1.0, run.simulated_s, None, "", mode)


def _word(run: RunSummary) -> Finding:
    del run
    return Finding(reason="no word was given")


COMMON = "common practice, no source"

CONDUCT = (
    LimitKind("stop_mm", "mm", "longest way gone on after a release or a guard's decision, worst leg", COMMON, _stop_way),
    LimitKind("stop_s", "s", "longest time until no leg went on after a release or a guard's decision", COMMON, _stop_time),
    LimitKind(
        "retreat_mm",
        "mm",
        "least way back from the furthest point after a pinch, worst leg",
        "example: UN R21 par. 5.8.3 asks 50 mm more open, the start, or 200 mm of opening (from memory, not read)",
        _retreat,
        upper=False,
    ),
    LimitKind("faulted_powered_s", "s", "time with a powered bridge while the controller was faulted", COMMON, _powered),
    LimitKind("faulted_motion_mm", "mm", "motion after coming to rest while the controller was faulted", COMMON, _crept),
    LimitKind("stall_insertions", "", "counts inserted on a leg that did not turn", "a count that nothing made is wrong", _made_up),
    LimitKind("drift_flag_before_mm", "mm", "largest level error while moving before the controller asked to be homed", COMMON, _unflagged),
    LimitKind("logic_min_v", "V", "lowest voltage of the logic", "brown-out voltage of your logic", _logic, upper=False),
    LimitKind("logic_down_s", "s", "time the logic was without power", "0: the hold-up outlasts the coast and the saving", _logic_down),
    LimitKind("false_trips", "", "guards that acted before any fault came", "common practice: none in a rehearsal", _false_trips),
    LimitKind("must_report", "", "what the controller must report", "what this rehearsal is for", _word, find_wanted=_reported),
    LimitKind("ends_as", "", "how the controller must end", "what this rehearsal is for", _word, find_wanted=_ended),
)
"""Rows of the catalogue."""
