"""What a rehearsal prints: the verdict in a sentence and the table of limits, in plain text."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from scenarios.result import Result
from scenarios.verdict import JudgedLimit, number, pinch_cautions
from scenarios.why_table import Why

__all__ = ["CAUTION_LINE", "caution_lines", "verdict_lines"]

CAUTION_LINE = "A simulation, not a safety case: take limits from your own standard and risk assessment, and measure on the real machine."

_HEADS = ("limit", "value", "limit", "margin", "when", "leg", "")


def _with_unit(value: float | None, unit: str) -> str:
    return number(value) if value is None or not unit else f"{number(value)} {unit}"


def _status(one: JudgedLimit) -> str:
    if one.evaluated:
        return "ok" if one.ok else "BROKEN"
    return f"not evaluated: {one.reason}" + ("" if one.own else " (inherited)")


def _row(one: JudgedLimit) -> tuple[str, ...]:
    return (
        f"{one.name} [{one.id}]" if one.id else one.name,
        one.told or _with_unit(one.value, one.unit),
        one.wanted or ("" if one.upper else ">= ") + _with_unit(one.limit, one.unit),
        "-" if one.wanted else _with_unit(one.margin, one.unit),
        "-" if one.at_s is None else f"{one.at_s:.2f} s",
        one.leg or "-",
        _status(one),
    )


def _table(rows: Sequence[tuple[str, ...]]) -> list[str]:
    """Rows in aligned columns: first, leg and status to the left, numbers to the right."""
    widths = [max(len(row[k]) for row in rows) for k in range(len(_HEADS) - 1)]
    lines = []
    for row in rows:
        cells = [
            cell.ljust(width) if k in (0, 5) else cell.rjust(width) for k, (cell, width) in enumerate(zip(row[:-1], widths, strict=True))
        ]
        lines.append("  " + "  ".join([*cells, row[-1]]).rstrip())
    return lines


def _why_lines(why: Why) -> list[str]:
    """One broken limit and its value without each cause, largest move first."""
    head = f"  why {why.name} = {_with_unit(why.value, why.unit)} (limit {_with_unit(why.limit, why.unit)}); left out one at a time:"
    rows: list[tuple[str, ...]] = []
    for row in why.telling:
        if row.moved is None:
            rows.append((f"  {row.cause}", "-", "", row.reason))
        else:
            rows.append((f"  {row.cause}", _with_unit(row.value, why.unit), f"{row.moved:+.4g}", "kept" if row.kept else ""))
    widths = [max((len(row[k]) for row in rows), default=0) for k in range(3)]
    lines = [f"  {row[0].ljust(widths[0])}  {row[1].rjust(widths[1])}  {row[2].rjust(widths[2])}  {row[3]}".rstrip() for row in rows]
    quiet = [f"    no difference: {', '.join(why.quiet)}"] if why.quiet else []
    untried = [f"    {why.untried} more causes were not tried"] if why.untried else []
    return [head, *lines, *quiet, *untried]


def verdict_lines(result: Result) -> list[str]:
    """Lines for the terminal: heading, sentence, notes, table."""
    run = result.summary
    heading = f"{result.scenario} ({result.file}), seed {result.seed}, {result.clock} clock, {run.simulated_s:.2f} s simulated"
    sets = [f"  set {key} = {value}" for key, value in result.sets]
    notes = [f"  {note}" for note in result.verdict.notes]
    table = _table([_HEADS, *(_row(one) for one in result.verdict.limits)])
    return [heading, *sets, f"  {result.verdict.sentence}", *notes, *table, *(line for why in result.why for line in _why_lines(why))]


def caution_lines(results: Iterable[Result | None]) -> list[str]:
    """The caution under every verdict, and those on forces where any rehearsal judges or records one."""
    cautions = dict.fromkeys(
        line for result in results if result is not None for line in pinch_cautions(result.verdict.limits, result.summary)
    )
    return [CAUTION_LINE, *cautions]
