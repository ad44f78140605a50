"""The verdict: limits held against what was found, and one sentence that says it.

Rules, in this order: *fail* when an evaluated limit is broken; *incomplete* when the model stopped, or when a limit written in the
scenario itself could not be judged; otherwise *pass*.  A rehearsal of which no limit could be judged is wrong input: it
would pass whatever happened.  No verdict calls a machine safe.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import dataclass
from math import isfinite

from scenarios.errors import InputError
from scenarios.limits import LIMITS, LimitEntry
from scenarios.summary import RunSummary

__all__ = [
    "CAUTIONS",
    "FAIL",
    "INCOMPLETE",
    "PASS",
    "PINCH_CAUTIONS",
    "JudgedLimit",
    "Verdict",
    "judge",
    "nearest",
    "number",
    "pinch_cautions",
    "require_limits",
]

PASS, FAIL, INCOMPLETE = "pass", "fail", "incomplete"

CAUTIONS = (
    "This is a simulation. It is no safety case, and a pass says only that this model kept these limits in this rehearsal.",
    "Where anybody can be crushed, trapped or carried by a load, take the limits from the standard that applies to your product and from "
    "your own risk assessment. Values without a source in this report are examples or planning values.",
    "Watching the motor current alone is not a recognised safeguard against trapping.",
    "Measure on the real machine, forces with a calibrated gauge, before you rely on any figure here.",
    "Local codes and the licensed people who apply them come before anything this report says.",
)

PINCH_CAUTIONS = (
    "Forces on people are judged here: take their limits from your own standard and risk assessment; those levelrig names are examples.",
    "Limiting the drive current alone is not a recognised safeguard against crushing and trapping.",
    "Verify on the real machine with a calibrated force gauge; defer to local codes and licensed practice.",
)
"""Said wherever the force on an obstacle is judged or recorded."""


@dataclass(frozen=True)
class JudgedLimit:
    """One limit with what was found; ``value`` and ``limit`` in ``unit``, ``margin`` positive where it is kept."""

    name: str
    value: float | None
    limit: float
    unit: str
    margin: float | None
    at_s: float | None
    leg: str | None
    evaluated: bool
    ok: bool | None
    """``None``: not evaluated."""
    id: str = ""
    source: str = ""
    own: bool = True
    reason: str = ""
    """Why it was not evaluated."""
    sentence: str = ""
    upper: bool = True
    wanted: str = ""
    """The limit in words, where it is no number, and what was found."""
    told: str = ""


@dataclass(frozen=True)
class Verdict:
    """``word`` is pass, fail or incomplete; ``sentence`` says it; ``notes`` are what else must be read with it."""

    word: str
    sentence: str
    limits: tuple[JudgedLimit, ...]
    notes: tuple[str, ...] = ()
    gaps: tuple[str, ...] = ()
    """What forbids to call the rehearsal passed although no limit is broken: not judged, stopped, refused."""


def number(value: float | None) -> str:
    """Number as it is read: four digits, no exponent between 0.001 and 100 000; a dash for ``None``."""
    if value is None:
        return "-"
    size = abs(value)
    if value == 0.0 or 1e-3 <= size < 1e5:
        digits = 3 if size < 10.0 else 2 if size < 100.0 else 1 if size < 1000.0 else 0
        text = f"{value:.{digits}f}"
        return text.rstrip("0").rstrip(".") if "." in text else text
    return f"{value:.3g}"


def pinch_cautions(limits: Iterable[JudgedLimit], run: RunSummary) -> tuple[str, ...]:
    """Cautions that belong beside a verdict on forces; nothing where there is neither an obstacle nor a limit on one."""
    judged = any(one.name.startswith(("pinch_", "retreat_")) for one in limits)
    return PINCH_CAUTIONS if judged or run.contacts else ()


def require_limits(entries: Iterable[LimitEntry], where: str) -> None:
    """Refuse a rehearsal that states no limit at all, before it is flown.

    Raises
    ------
    InputError
        When there is none; the message names the file and the remedy.
    """
    if not list(entries):
        raise InputError(
            [f"{where}: limits: none is stated: a rehearsal without limits cannot fail; write for example [limits] level_moving_mm = 2.0"]
        )


def _judge_one(entry: LimitEntry, run: RunSummary) -> JudgedLimit:
    kind = LIMITS[entry.name]
    found = kind.look(run, entry)
    value, reason = found.value, found.reason
    if value is not None and not isfinite(value):
        value, reason = None, "the value is not a finite number"
    margin = None if value is None else (entry.limit - value if kind.upper else value - entry.limit)
    broken = margin is not None and margin < 0.0
    if run.diverged is not None and not broken:
        reason = "the model stopped before the end"
    evaluated = broken or (margin is not None and not reason)
    return JudgedLimit(
        name=entry.name,
        value=value,
        limit=entry.limit,
        unit=entry.unit,
        margin=margin if evaluated else None,
        at_s=found.at_s,
        leg=found.leg,
        evaluated=evaluated,
        ok=(not broken) if evaluated else None,
        id=entry.id,
        source=entry.source or f"no source given; {kind.source}",
        own=entry.own,
        reason="" if evaluated else reason,
        sentence=kind.sentence,
        upper=kind.upper,
        wanted=", ".join(entry.wanted),
        told=found.told,
    )


def _finding(one: JudgedLimit) -> str:
    if one.wanted:
        return f"{one.sentence}: {one.wanted}; found: {one.told}"
    leg = f" ({one.leg})" if one.leg else ""
    when = f" at {number(one.at_s)} s" if one.at_s is not None else ""
    unit = f" {one.unit}" if one.unit else ""
    return f"{one.sentence} {number(one.value)}{unit}{when}{leg}, limit {number(one.limit)}{unit}"


def _share(one: JudgedLimit) -> float:
    return (one.margin or 0.0) / abs(one.limit) if one.limit else (one.margin or 0.0)


def _narrowest(limits: list[JudgedLimit]) -> JudgedLimit:
    return min(limits, key=_share)


def nearest(limits: Iterable[JudgedLimit]) -> JudgedLimit | None:
    """The limit that binds: of those evaluated the one with the smallest margin relative to itself; ``None`` without any."""
    judged = [one for one in limits if one.evaluated]
    return _narrowest(judged) if judged else None


def _refusals(run: RunSummary, wanted: Collection[str] = ()) -> list[str]:
    """Orders that the controller refused, in words: what was to be rehearsed was then not flown."""
    refused = [event for event in run.events if event.what == "refused" and (not event.word or event.word not in wanted)]
    return [f"{event.text} ({number(event.t_s)} s)" for event in refused]


def _guards(run: RunSummary, wanted: Collection[str]) -> list[str]:
    """Reasons of guards that acted and that nobody expects, the one that the controller ended with left out."""
    told = [event for event in run.events if event.what == "reason" and event.word not in wanted and event.word != run.controller.reason]
    return [f"a guard acted: {event.word} ({number(event.t_s)} s)" for event in told]


def _gaps(limits: tuple[JudgedLimit, ...], run: RunSummary, wanted: Collection[str]) -> tuple[str, ...]:
    """Why a rehearsal whose limits are all kept is no pass all the same; reasons that are ``wanted`` are none."""
    judged = any(one.evaluated for one in limits)
    missing = [one for one in limits if not one.evaluated and (one.own or not judged)]
    gaps = ["not judged: " + "; ".join(f"{one.name} ({one.reason})" for one in missing)] if missing else []
    if run.diverged is not None:
        gaps.append("the model stopped before the end")
    if run.controller.reason is not None and run.controller.reason not in wanted:
        gaps.append(f"the controller ended {run.controller.mode}")
    gaps += _guards(run, wanted)
    if _refusals(run, wanted):
        gaps.append("an order was refused")
    if run.absent:
        gaps.append("a fault never came")
    return tuple(gaps)


def _sentence(word: str, limits: tuple[JudgedLimit, ...], gaps: tuple[str, ...]) -> str:
    judged = [one for one in limits if one.evaluated]
    broken = [one for one in judged if not one.ok]
    if word == FAIL:
        count = f"{len(broken)} of {len(judged)} evaluated limits broken" if len(judged) > 1 else "the one evaluated limit is broken"
        return f"Fail: {count}; {_finding(_narrowest(broken))}."
    if word == INCOMPLETE:
        return f"Incomplete: {gaps[0]}."
    kept = f"all {len(judged)} evaluated limits kept" if len(judged) > 1 else "the one evaluated limit is kept"
    return f"Pass: {kept}; nearest: {_finding(_narrowest(judged))}."


def _notes(run: RunSummary) -> tuple[str, ...]:
    notes: list[str] = []
    if run.diverged is not None:
        leg = run.diverged.leg or "a leg"
        notes.append(
            f"The model stopped at {number(run.diverged.at_s)} s: a number of leg {leg} was no longer finite. "
            "Look for a stiffness or friction far outside the usual range."
        )
    if run.controller.reason is not None:
        notes.append(f"The controller ended {run.controller.mode}: {run.controller.reason_text} {run.controller.remedy}".strip())
    notes += _refusals(run)
    notes += [f"A fault never came: {text}. Its condition was not met before the end." for text in run.absent]
    if run.events_dropped:
        notes.append(f"{run.events_dropped} later events did not fit into the log and are not listed; the scores are complete.")
    return tuple(notes)


def judge(run: RunSummary, entries: Iterable[LimitEntry], where: str) -> Verdict:
    """Hold the limits of ``entries`` against ``run``.

    Parameters
    ----------
    run
        Summary of the rehearsal.
    entries
        Limits of the scenario and its lift, merged.
    where
        Name of the scenario file, for the message.

    Raises
    ------
    InputError
        When no limit at all could be judged although the model ran to its end.
    """
    stated = list(entries)
    require_limits(stated, where)
    limits = tuple(_judge_one(entry, run) for entry in stated)
    if run.diverged is None and not any(one.evaluated for one in limits):
        told = "; ".join(f"{one.name}: {one.reason}" for one in limits)
        raise InputError(
            [f"{where}: limits: none could be judged ({told}): add a limit that this rehearsal can break, or a move that it applies to"]
        )
    wanted = {word for entry in stated for word in entry.wanted}
    gaps = _gaps(limits, run, wanted)
    word = FAIL if any(one.ok is False for one in limits) else INCOMPLETE if gaps else PASS
    return Verdict(word, _sentence(word, limits, gaps), limits, _notes(run), gaps)
