"""Requirement ids against rehearsals: where each is held, where it is broken, and which are judged by none.

An id is what a limit of a lift or scenario file states beside its value.  One that no rehearsal can judge is listed all the
same: a claim that nothing tests is worth knowing of.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from scenarios.suite import Told

__all__ = ["Requirement", "requirements"]


@dataclass(frozen=True)
class Requirement:
    """One id; the rehearsals are named by their labels."""

    id: str
    limits: tuple[str, ...]
    """Names of the limits that carry it."""
    held: tuple[str, ...]
    broken: tuple[str, ...]
    on_purpose: tuple[str, ...]
    """Broken where the file says that it must be."""
    unjudged: tuple[str, ...]

    @property
    def word(self) -> str:
        """``held``, ``broken``, ``broken on purpose only`` or ``judged by none``."""
        if self.broken:
            return "broken"
        if self.held:
            return "held"
        return "broken on purpose only" if self.on_purpose else "judged by none"

    def standing(self, label: str) -> str:
        """How it stands in one rehearsal; empty where that does not state it."""
        for word in ("held", "broken", "on_purpose", "unjudged"):
            if label in getattr(self, word):
                return {"on_purpose": "broken on purpose", "unjudged": "not judged"}.get(word, word)
        return ""


def _standing(ones: list[tuple[bool | None, bool]]) -> str:
    """Of several limits with the same id in one rehearsal: the worst."""
    if any(ok is False and not meant for ok, meant in ones):
        return "broken"
    if any(ok is False for ok, _ in ones):
        return "on_purpose"
    return "held" if any(ok for ok, _ in ones) else "unjudged"


def requirements(tolds: Iterable[Told]) -> tuple[Requirement, ...]:
    """Requirements of all rehearsals that were flown, in the order of their ids."""
    names: dict[str, dict[str, None]] = {}
    standings: dict[str, dict[str, list[tuple[bool | None, bool]]]] = {}
    for told in tolds:
        for id_ in told.ids:
            names.setdefault(id_, {})
            standings.setdefault(id_, {})
        if told.result is None or told.outcome is None:
            continue
        for one in told.result.verdict.limits:
            if one.id:
                names[one.id][one.name] = None
                meant = told.outcome.word == "fails as expected"
                standings[one.id].setdefault(told.label, []).append((one.ok, meant))
    return tuple(_requirement(id_, tuple(names[id_]), standings[id_]) for id_ in sorted(names))


def _requirement(id_: str, limits: tuple[str, ...], found: dict[str, list[tuple[bool | None, bool]]]) -> Requirement:
    words = {label: _standing(ones) for label, ones in found.items()}

    def of(word: str) -> tuple[str, ...]:
        return tuple(label for label, one in words.items() if one == word)

    return Requirement(id_, limits, of("held"), of("broken"), of("on_purpose"), of("unjudged"))
