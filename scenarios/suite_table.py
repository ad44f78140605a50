"""What a folder run prints: a line a rehearsal, what was not as expected, what was skipped, and the requirements."""

from __future__ import annotations

from collections.abc import Sequence

from scenarios.against import Earlier
from scenarios.requirements import Requirement
from scenarios.suite import Told
from scenarios.verdict import JudgedLimit, nearest, number

__all__ = ["against_lines", "aligned", "requirement_lines", "suite_lines", "summary_line"]

_HEADS = ("rehearsal", "outcome", "nearest limit", "value", "limit", "margin", "of it", "time")
_RIGHT = (3, 4, 5, 6, 7)
_MANY = 4


def aligned(rows: Sequence[tuple[str, ...]], right: Sequence[int]) -> list[str]:
    """Rows in aligned columns, those of ``right`` to the right."""
    widths = [max(len(row[k]) for row in rows) for k in range(len(rows[0]))]
    return [
        "  "
        + "  ".join(
            cell.rjust(width) if k in right else cell.ljust(width) for k, (cell, width) in enumerate(zip(row, widths, strict=True))
        ).rstrip()
        for row in rows
    ]


def _quantity(value: float | None, unit: str) -> str:
    return number(value) if value is None or not unit else f"{number(value)} {unit}"


def _limit_cells(one: JudgedLimit | None) -> tuple[str, ...]:
    if one is None:
        return ("-",) * 5
    if one.wanted:
        return (one.name, one.told, one.wanted, "-", "-")
    sign = "" if one.upper else ">= "
    share = f"{100.0 * (one.margin or 0.0) / one.limit:.0f} %" if one.limit else "-"
    return (one.name, _quantity(one.value, one.unit), sign + _quantity(one.limit, one.unit), _quantity(one.margin, one.unit), share)


def _rows(told: Told) -> list[tuple[str, ...]]:
    if told.result is None or told.outcome is None:
        return [(told.label, "WRONG INPUT", *_limit_cells(None), "-")]
    run = told.result.summary
    rows = [(told.label, told.outcome.word, *_limit_cells(nearest(told.result.verdict.limits)), f"{run.simulated_s:.2f} s")]
    if told.twin is not None:
        word = "twin fails as it must" if told.twin.as_expected else "TWIN PASSES" if not told.twin.broken else "TWIN DIFFERS"
        rows.append((f"  {told.twin.key} = {told.twin.value}", word, ", ".join(told.twin.broken) or "-", "", "", "", "", ""))
    return rows


def _complaints(told: Told) -> list[str]:
    lines = [f"{message}" for message in told.bad]
    if told.outcome is not None and not told.outcome.as_expected:
        lines.append(f"{told.label}: {told.outcome.text}")
        if told.result is not None:
            lines += [f"  {note}" for note in told.result.verdict.notes]
    if told.twin is not None:
        lines += [f"{told.label}: twin {told.twin.key} = {told.twin.value}: {defect}" for defect in told.twin.defects]
    return lines


def suite_lines(tolds: Sequence[Told]) -> list[str]:
    """Lines of the table, and of everything that is not as the files say."""
    lines = aligned([_HEADS, *(row for told in tolds for row in _rows(told))], _RIGHT)
    told_off = [line for told in tolds for line in _complaints(told)]
    return [*lines, *(["", "Not as expected:", *(f"  {line}" for line in told_off)] if told_off else [])]


def _counted(number_of: int, one: str, several: str) -> str:
    return f"{number_of} {one if number_of == 1 else several}"


def summary_line(tolds: Sequence[Told], skipped: Sequence[tuple[str, int]]) -> str:
    """How many rehearsals ended how, and what else lay in the folders."""
    words: dict[str, int] = {}
    for told in tolds:
        word = told.outcome.word.replace("fails", "fail") if told.outcome is not None else "WRONG INPUT"
        words[word] = words.get(word, 0) + 1
    text = f"{_counted(len(tolds), 'rehearsal', 'rehearsals')}: " + ", ".join(f"{count} {word}" for word, count in words.items())
    twins = [told.twin for told in tolds if told.twin is not None]
    if twins:
        good = sum(1 for twin in twins if twin.as_expected)
        text += f"; {good} of {_counted(len(twins), 'twin', 'twins')} {'breaks what it' if len(twins) == 1 else 'break what they'} must"
    if skipped:
        text += "; skipped: " + ", ".join(_counted(count, f"{kind} file", f"{kind} files") for kind, count in skipped)
    return text + "."


def _some(labels: Sequence[str]) -> str:
    shown = ", ".join(labels[:_MANY])
    return shown + (f" and {len(labels) - _MANY} more" if len(labels) > _MANY else "")


def requirement_lines(found: Sequence[Requirement]) -> list[str]:
    """Table of requirements: id, how it stands, by how many rehearsals, and where it is broken."""
    if not found:
        return ['No limit carries a requirement id; state one with level_moving_mm = { value = 2.0, id = "R-1" }.']
    rows: list[tuple[str, ...]] = [("requirement", "stands", "held", "broken", "not judged", "limits")]
    for one in found:
        broken = len(one.broken) + len(one.on_purpose)
        rows.append(
            (one.id, one.word, str(len(one.held)), str(broken), str(len(one.unjudged)), ", ".join(one.limits) or "replaced everywhere")
        )
    lines = aligned(rows, (2, 3, 4))
    lines += [f"  {one.id}: broken in {_some(one.broken)}" for one in found if one.broken]
    lines += [f"  {one.id}: broken on purpose in {_some(one.on_purpose)}" for one in found if one.on_purpose]
    return lines


def against_lines(tolds: Sequence[Told], earlier: Earlier, tolerance: float) -> list[str]:
    """Margins that shrank against an earlier run, and what was flown only then or only now."""
    rows: list[tuple[str, ...]] = [("rehearsal", "limit", "margin then", "margin now", "of it", "")]
    for told in tolds:
        for one in told.shrunk:
            now = "not judged" if one.now is None else _quantity(one.now, one.unit)
            share = "-" if one.now is None else f"-{100.0 * one.share:.1f} %"
            rows.append((told.label, one.limit, _quantity(one.before, one.unit), now, share, "BEYOND" if one.beyond else ""))
    results = [told.result for told in tolds if told.result is not None]
    new = [result.file for result in results if earlier.of(result) is None]
    gone = earlier.missing(results)
    told_so = f"against {earlier.path}, tolerance {100.0 * tolerance:g} % of the limit"
    lines = [f"Margins that shrank {told_so}:", *aligned(rows, (2, 3, 4))] if len(rows) > 1 else [f"No margin shrank {told_so}."]
    lines += [f"  not in the earlier run: {_some(new)}"] if new else []
    return [*lines, *([f"  only in the earlier run: {_some(gone)}"] if gone else [])]
