"""What a limit is: its entry in a file, its row in the catalogue, and what its function finds.

A limit stands in ``[limits]`` of a lift or scenario file under its name; the name ends in its unit.  Each function looks at
a :class:`~scenarios.summary.RunSummary` and answers with the value, when it was met and on which leg, or says why it cannot.
Values are those of the true machine, not of the controller's counting.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass

from scenarios.summary import Extreme, RunSummary

__all__ = ["Finding", "LimitEntry", "LimitKind", "of_extreme", "worst"]


@dataclass(frozen=True)
class LimitEntry:
    """One limit as a file states it; ``limit`` is in ``unit``, the unit of its key."""

    name: str
    limit: float
    unit: str
    id: str = ""
    source: str = ""
    own: bool = True
    """True: written in the scenario file.  False: inherited from the lift file."""
    wanted: tuple[str, ...] = ()
    """What must be reported, where the limit is no number; ``limit`` is then how many may be missing: none."""


@dataclass(frozen=True)
class Finding:
    """What a limit function found: the worst value, and a reason where some of it could not be judged."""

    value: float | None = None
    at_s: float | None = None
    leg: str | None = None
    reason: str = ""
    told: str = ""
    """The value in words, where it is no number."""


@dataclass(frozen=True)
class LimitKind:
    """One row of the catalogue."""

    name: str
    unit: str
    sentence: str
    """What is judged, as a noun phrase."""
    source: str
    """Where a usual value comes from, shown when the file states no source."""
    find: Callable[[RunSummary], Finding]
    upper: bool = True
    """True: the value must not exceed the limit.  False: it must not fall below."""
    find_wanted: Callable[[RunSummary, tuple[str, ...]], Finding] | None = None
    """Instead of ``find`` where the limit is a list of words."""

    def look(self, run: RunSummary, entry: LimitEntry) -> Finding:
        """What ``run`` shows for the limit as ``entry`` states it."""
        return self.find(run) if self.find_wanted is None else self.find_wanted(run, entry.wanted)


def worst(findings: Iterable[Finding], nothing: str, lowest: bool = False) -> Finding:
    """Worst of several findings; keeps the first reason, ``nothing`` is the reason when there is none at all."""
    found = list(findings)
    if not found:
        return Finding(reason=nothing)
    reason = next((one.reason for one in found if one.reason), "")
    valued = [(one.value, one) for one in found if one.value is not None]
    if not valued:
        return Finding(reason=reason or nothing)
    pick = min if lowest else max
    chosen = pick(valued, key=lambda pair: pair[0])[1]
    return Finding(chosen.value, chosen.at_s, chosen.leg, reason)


def of_extreme(extreme: Extreme | None, nothing: str) -> Finding:
    """Finding of a recorded extreme; ``nothing`` is the reason where there is none."""
    return Finding(reason=nothing) if extreme is None else Finding(extreme.value, extreme.at_s, extreme.leg)
