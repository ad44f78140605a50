"""What ``levelrig tune`` prints: the first guess with its reasons, the targets before and after, what bound each value."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from math import isfinite

from scenarios.terminal import CAUTION_LINE
from scenarios.tuning.judging import Check, Judgement
from scenarios.tuning.outcome import Tuned
from scenarios.tuning.rules import FirstGuess

__all__ = ["WIDTH", "guess_lines", "tuned_lines"]

WIDTH = 120


def _told(value: float, unit: str = "") -> str:
    text = "none" if not isfinite(value) else f"{value:.3g}"
    return f"{text} {unit}".rstrip()


def _columns(rows: Sequence[Sequence[str]]) -> list[str]:
    """Rows in aligned columns, the last one ragged."""
    widths = [max(len(row[k]) for row in rows) for k in range(len(rows[0]) - 1)]
    return [("  " + "  ".join(cell.ljust(width) for cell, width in zip(row, [*widths, 0], strict=True))).rstrip() for row in rows]


def guess_lines(guess: FirstGuess) -> list[str]:
    """The first guess: value, formula, what binds."""
    lines = ["First guess by rules"]
    for rule in guess.rules:
        lines += textwrap.wrap(
            f"{rule.key} = {rule.value:g}: {rule.formula}; binds: {rule.binds}", WIDTH, initial_indent="  ", subsequent_indent="      "
        )
    for note in guess.notes:
        lines += textwrap.wrap(note, WIDTH, initial_indent="  ", subsequent_indent="      ")
    return lines


def _target_rows(before: Judgement, guessed: Judgement | None, best: Judgement) -> list[tuple[str, ...]]:
    def of(judgement: Judgement | None, check: Check) -> str:
        found = next((one for one in judgement.checks if one.name == check.name), None) if judgement is not None else None
        return "-" if found is None else _told(found.value, found.unit) + ("" if found.ok else " !")

    rows: list[tuple[str, ...]] = [("target", "limit", "before", "first guess", "tuned", "worst of the tuned settings")]
    for check in best.checks:
        sign = "<=" if check.upper else ">="
        rows.append(
            (check.name, f"{sign} {_told(check.limit, check.unit)}", of(before, check), of(guessed, check), of(best, check), check.where)
        )
    return rows


def _verdict_rows(before: Judgement, best: Judgement) -> list[tuple[str, ...]]:
    rows: list[tuple[str, ...]] = [("rehearsal, as in its files", "peak mm", "rms", "at cut", "after coast", "time s", "ends")]
    for one, word in ((before, "before"), (best, "tuned")):
        for cell in one.cells:
            if cell.corner == one.cells[0].corner:
                found = cell.outcome
                figures = [f"{value:.3f}" for value in (found.peak, found.rms, found.at_cut, found.after)]
                rows.append((f"{word}: {cell.rehearsal}", *figures, _told(found.time), found.trouble or "ready"))
    return rows


def tuned_lines(tuned: Tuned) -> list[str]:
    """Everything about a tuning, for a terminal."""
    best = tuned.best
    lines = [f"{tuned.plan.name} ({tuned.plan.path}), seed {tuned.plan.seed}, {len(tuned.tried)} candidates judged", ""]
    lines += [*guess_lines(tuned.guess), "", "Targets (! not reached)", *_columns(_target_rows(tuned.before, tuned.guessed, best)), ""]
    lines += ["Before and after", *_columns(_verdict_rows(tuned.before, best)), "", "What bound each value"]
    for bound in tuned.bounds:
        text = f"{bound.key} = {bound.value:g} (was {bound.before:g}): {bound.text}"
        lines += textwrap.wrap(text, WIDTH, initial_indent="  ", subsequent_indent="      ")
    margins = best.margins
    if margins.why:
        lines += ["", f"No margins: {margins.why}"]
    else:
        lines += [
            "",
            f"Margins of {margins.corners} corners: gain {_told(margins.gain)}, phase {_told(margins.phase)} deg, "
            f"delay {_told(1e3 * margins.delay)} ms, sensitivity peak {_told(margins.sensitivity)}",
        ]
    word = "reach every target" if tuned.ok else "do NOT reach every target"
    lines += ["", f"The tuned settings {word}." + (f" Written to {tuned.written}" if tuned.written else "")]
    return [*lines, CAUTION_LINE]
