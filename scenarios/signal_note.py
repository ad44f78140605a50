"""Sentences of a study: what the detectors are told apart by, in numbers measured here."""

from __future__ import annotations

from collections.abc import Sequence

from scenarios.signal_score import PhaseScore, Score, add
from scenarios.signal_study import Study

__all__ = ["notes_of"]


def _of(study: Study, condition: str, detector: str) -> Score:
    return add([case.scores[detector] for case in study.cases if case.condition == condition])


def _wrong(part: PhaseScore) -> int:
    return part.missed + part.doubled + part.false


def _shape_note(study: Study) -> str:
    """Whether the shape check beats the plain trigger on a worn motor, and by what factor."""
    plain, shape = (_of(study, "worn", name).whole for name in ("spikes", "shape"))
    extra = (plain.doubled + plain.false, shape.doubled + shape.false)
    counts = f"{plain.missed} missed and {extra[0]} extra become {shape.missed} and {extra[1]}"
    if _wrong(shape) < _wrong(plain):
        factor = _wrong(plain) / max(_wrong(shape), 1)
        return f"Shape check on the worn motor: {counts}, fewer wrong counts by a factor of {factor:.2g}."
    return f"Shape check on the worn motor: {counts}; it does not beat the plain trigger here."


def _ripple_note(study: Study) -> str:
    ripple = _of(study, "new", "ripple")
    coasted = [part for phase, part in ripple.phases.items() if phase.word in ("coast", "tail")]
    true, missed = sum(part.true for part in coasted), sum(part.missed for part in coasted)
    return f"Ripple detector on the new motor: {missed} of {true} commutations of the coast missed, since no current flows."


def _tail_note(study: Study) -> str:
    whole = _of(study, "new", "spikes")
    tail = next((part for phase, part in whole.phases.items() if phase.word == "tail"), PhaseScore())
    wrong = _wrong(whole.whole)
    return f"Spike detector on the new motor: {_wrong(tail)} of {wrong} wrong counts fall into the tail of the coast."


def notes_of(study: Study) -> Sequence[str]:
    """Sentences, shape check first."""
    return (_shape_note(study), _ripple_note(study), _tail_note(study))
