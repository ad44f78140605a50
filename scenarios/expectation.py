"""Whether rehearsals ended as their files say they must: broken on purpose or not, and the spoiled twin broken as named."""

from __future__ import annotations

from dataclasses import dataclass

from scenarios.verdict import Verdict

__all__ = ["Outcome", "TwinOutcome", "outcome_of", "twin_outcome"]


@dataclass(frozen=True)
class Outcome:
    """How a rehearsal ended against what its file expects."""

    as_expected: bool
    word: str
    """``pass``, ``fails as expected``, ``FAIL``, ``INCOMPLETE`` or ``UNEXPECTED``."""
    text: str
    """Why it is not as expected; empty where it is."""


@dataclass(frozen=True)
class TwinOutcome:
    """How the spoiled twin ended."""

    key: str
    value: str
    breaks: tuple[str, ...]
    broken: tuple[str, ...]
    """Limits that the twin broke and the rehearsal did not."""
    defects: tuple[str, ...]
    """What is not as the file says; empty: the twin fails exactly as it must."""

    @property
    def as_expected(self) -> bool:
        """Whether the twin breaks what it must, and nothing else changes."""
        return not self.defects


def _broken(verdict: Verdict) -> list[str]:
    return [one.name for one in verdict.limits if one.ok is False]


def outcome_of(verdict: Verdict, expect_broken: tuple[str, ...]) -> Outcome:
    """Outcome of one rehearsal.

    Parameters
    ----------
    verdict
        Its verdict.
    expect_broken
        Limits that must be broken, exactly these; nothing: none may be.

    Notes
    -----
    A rehearsal that is meant to break a limit must be complete all the same: a model that stopped, or a guard that nobody
    expected, would break it for another reason.
    """
    if not expect_broken:
        return Outcome(verdict.word == "pass", verdict.word if verdict.word == "pass" else verdict.word.upper(), _told(verdict))
    broken = _broken(verdict)
    missing = [name for name in expect_broken if name not in broken]
    more = [name for name in broken if name not in expect_broken]
    texts = []
    if missing:
        texts.append(f"must break {', '.join(missing)} and does not")
    if more:
        texts.append(f"breaks {', '.join(more)} too")
    if not missing and verdict.gaps:
        texts.append(f"breaks what it must, but {'; '.join(verdict.gaps)}")
    return Outcome(not texts, "UNEXPECTED" if texts else "fails as expected", "; ".join(texts))


def _told(verdict: Verdict) -> str:
    return "" if verdict.word == "pass" else verdict.sentence.split(": ", 1)[1]


def twin_outcome(verdict: Verdict, spoiled: Verdict, change: tuple[str, object], breaks: tuple[str, ...]) -> TwinOutcome:
    """Outcome of a spoiled twin against its rehearsal.

    Parameters
    ----------
    verdict, spoiled
        Verdicts of the rehearsal and of the twin, of the same limits.
    change
        Key and value that the twin spoils.
    breaks
        Limits that it must break.

    Notes
    -----
    A limit is unchanged when it stands as before: kept, broken or not evaluated.  Its value may move; only what
    the verdict says of it may not.
    """
    before = {one.name: one.ok for one in verdict.limits}
    after = {one.name: one.ok for one in spoiled.limits}
    broken = tuple(name for name, ok in after.items() if ok is False and before[name] is not False)
    defects = []
    for name in breaks:
        if before[name] is not True:
            defects.append(f"{name} is not kept without the twin, so the twin proves nothing")
        elif after[name] is not False:
            defects.append(f"{name} must break and {'is kept' if after[name] else 'is not evaluated'}")
    changed = [name for name, ok in after.items() if name not in breaks and ok is not before[name]]
    if changed:
        defects.append(f"changes {', '.join(changed)} too")
    return TwinOutcome(change[0], str(change[1]), breaks, broken, tuple(defects))
