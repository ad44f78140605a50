"""The drive sheet as text for a terminal: cases as a matrix, other figures beside their formula, warnings last."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from math import ceil, isinf, isnan

from scenarios.sheet import CAUTION, Row, Sheet

__all__ = ["WIDTH", "figure", "sheet_lines"]

WIDTH = 110
MOST_COLUMNS = 5
MOST_BESIDE = 2
"""Columns beside which the formulas still have room."""
NAME_WIDTH = 45
UNIT_WIDTH = 5
LEFT = NAME_WIDTH + UNIT_WIDTH + 3

MATRIX: tuple[tuple[str, str, int], ...] = (
    ("nut force", "N", 6),
    ("current", "A", 6),
    ("motor speed", "rpm", 6),
    ("speed", "mm/s", 6),
    ("count frequency", "Hz", 6),
    ("efficiency", "eff %", 6),
    ("coast time", "s", 7),
    ("coast", "mm", 6),
    ("coast counts", "counts", 7),
    ("braked time", "s", 7),
    ("braked", "mm", 6),
    ("braked counts", "counts", 7),
)
"""Row name, heading and width of each column of the case matrix."""


def figure(value: float, digits: int = 4) -> str:
    """Value with ``digits`` significant digits; a dash where it does not apply, "never" where it is infinite."""
    if isnan(value):
        return "-"
    if isinf(value):
        return "never"
    if abs(value) >= 10.0 ** (digits - 1):
        return f"{value:.0f}"
    return f"{value:.{digits}g}"


def sheet_lines(sheets: Sequence[Sheet]) -> list[str]:
    """Lines of one or several sheets, side by side, at most ``WIDTH`` wide as long as names are of ordinary length."""
    sources = list(dict.fromkeys(row.source for sheet in sheets for row in sheet.rows))
    lines = [f"drive sheet: {', '.join(sheet.lift for sheet in sheets)}"]
    for group in dict.fromkeys(row.group for sheet in sheets for row in sheet.rows):
        lines += ["", group.upper()]
        if any(row.case for sheet in sheets for row in sheet.rows if row.group == group):
            lines += _matrix(sheets, group, sources)
        else:
            blocks = _blocks(sheets)
            for block in blocks:
                body = _block(block, group, sources, block is blocks[-1])
                heads = _heads(block, len(sheets) == 1) if body and (len(block) > 1 or len(blocks) > 1) else []
                lines += [*heads, *body]
    lines += ["", *_wrapped("  ".join(f"[{k + 1}] {source}" for k, source in enumerate(sources)), "sources  ", " " * 9)]
    lines += [line for sheet in sheets for text in sheet.left_out for line in _wrapped(f"{sheet.lift}: {text}", "left out  ", " " * 10)]
    return [*lines, *_warnings(sheets), "", *_wrapped(CAUTION, "", "")]


def _wrapped(text: str, first: str, later: str, width: int = WIDTH) -> list[str]:
    return textwrap.wrap(text, width, initial_indent=first, subsequent_indent=later, break_long_words=False) or [first]


def _label(sheet: Sheet, column: int, alone: bool) -> str:
    """Heading of a column: the lift where its legs are alike, the legs where there is one lift, else both."""
    if len(sheet.columns) == 1:
        return sheet.lift
    return sheet.columns[column] if alone else f"{sheet.lift}: {sheet.columns[column]}"


def _blocks(sheets: Sequence[Sheet]) -> list[list[tuple[Sheet, int]]]:
    """Columns (sheet, index) in portions that fit beside each other."""
    every = [(sheet, column) for sheet in sheets for column in range(len(sheet.columns))]
    size = ceil(len(every) / ceil(len(every) / MOST_COLUMNS))
    return [every[k : k + size] for k in range(0, len(every), size)]


def _found(sheet: Sheet, group: str, name: str, case: str = "") -> Row | None:
    return next((row for row in sheet.rows if (row.group, row.name, row.case) == (group, name, case)), None)


def _at(row: Row | None, column: int) -> tuple[float | None, bool]:
    """Value of a row in a column of its sheet (None: no such row there, or said once in the first column), and its warning."""
    if row is None or (len(row.values) == 1 and column > 0):
        return None, False
    return row.values[column], bool(row.warning)


def _block(block: Sequence[tuple[Sheet, int]], group: str, sources: Sequence[str], last: bool) -> list[str]:
    """Rows of one group, values side by side; formula and source beside them, or below the last block where columns fill the line."""
    beside, width = len(block) <= MOST_BESIDE, _width(block)
    left = LEFT + width * len(block) + 2
    lines: list[str] = []
    notes: dict[str, list[str]] = {}
    before = ""
    for name in dict.fromkeys(row.name for sheet, _ in block for row in sheet.rows if row.group == group):
        rows = [_found(sheet, group, name) for sheet, _ in block]
        first = next(row for row in rows if row is not None)
        cells = "".join(_cell(row, column).rjust(width) for row, (_, column) in zip(rows, block, strict=True))
        if not cells.strip():
            continue
        start = f"  {name.ljust(NAME_WIDTH)} {('' if first.unit == '1' else first.unit).ljust(UNIT_WIDTH)}{cells}"
        origin = f"{first.formula} [{sources.index(first.source) + 1}]"
        notes.setdefault(origin, []).append(name)
        lines += _wrapped(origin, f"{start}  ", " " * left) if beside and origin != before else [start.rstrip()]
        before = origin
    if last and not beside:
        lines += [line for origin, names in notes.items() for line in _wrapped(f"{', '.join(names)}: {origin}", "  ", "    ")]
    return lines


def _width(block: Sequence[tuple[Sheet, int]]) -> int:
    return 10 if len(block) <= MOST_BESIDE else (WIDTH - LEFT) // len(block)


def _heads(block: Sequence[tuple[Sheet, int]], alone: bool) -> list[str]:
    width = _width(block)
    heads = [textwrap.wrap(_label(sheet, column, alone), width - 2) or [""] for sheet, column in block]
    lines = []
    for k in range(max(len(head) for head in heads)):
        cells = "".join(f"{head[k] if k < len(head) else ''} ".rjust(width) for head in heads)
        lines.append((" " * LEFT + cells).rstrip())
    return lines


def _cell(row: Row | None, column: int) -> str:
    value, bad = _at(row, column)
    return "" if value is None else figure(value) + ("!" if bad else " ")


def _matrix(sheets: Sequence[Sheet], group: str, sources: Sequence[str]) -> list[str]:
    """Cases as lines, quantities as columns; the lines of all lifts of a case stand together."""
    labels = [_label(sheet, k, len(sheets) == 1) for sheet in sheets for k in range(len(sheet.columns))]
    several = len(labels) > 1
    cases = dict.fromkeys(row.case for sheet in sheets for row in sheet.rows if row.group == group)
    indent = 4 if several else 2
    first = min(max(len(text) for text in [*cases, *(labels if several else [])]) + indent, WIDTH - sum(width for _, _, width in MATRIX))
    six = sum(width for _, _, width in MATRIX[:6])
    lines = [
        " " * (first + six) + "coast".rjust(14) + "braked".rjust(20),
        " " * first + "".join(head.rjust(width) for _, head, width in MATRIX),
    ]
    for case in cases:
        if several:
            lines.append(f"  {case}")
        for sheet in sheets:
            for column in range(len(sheet.columns)):
                start = f"{' ' * indent}{_label(sheet, column, len(sheets) == 1) if several else case}"
                lines.append(start[:first].ljust(first) + _line(sheet, group, case, column))
    notes: dict[tuple[str, str], list[str]] = {}
    for row in sheets[0].rows:
        if row.group == group and row.name not in notes.setdefault((row.formula, row.source), []):
            notes[(row.formula, row.source)].append(row.name)
    for (formula, source), names in notes.items():
        lines += _wrapped(f"{', '.join(names)}: {formula} [{sources.index(source) + 1}]", "  ", "    ")
    return lines


def _line(sheet: Sheet, group: str, case: str, column: int) -> str:
    cells = []
    for name, _, width in MATRIX:
        value, _ = _at(_found(sheet, group, name, case), column)
        cells.append(("" if value is None else figure(value, 3)).rjust(width))
    return "".join(cells)


def _warnings(sheets: Sequence[Sheet]) -> list[str]:
    """Warnings with their values and remedies, each thing once."""
    lines: list[str] = []
    for sheet in sheets:
        alike: dict[tuple[str, str], list[str]] = {}
        for row in sheet.warnings:
            values = ", ".join(dict.fromkeys(figure(value) for value in row.values))
            told = f"{row.name}{f' ({row.case})' if row.case else ''} {values}{'' if row.unit == '1' else ' ' + row.unit}"
            alike.setdefault((row.warning, row.remedy), []).append(told)
        for (warning, remedy), told_rows in alike.items():
            lines += _wrapped(f"{sheet.lift}: {'; '.join(told_rows)}: {warning}", "! ", "  ")
            lines += _wrapped(remedy, "  -> ", "     ")
    head = "WARNINGS (thresholds are planning values; a thin margin is a question, not a verdict)"
    return ["", head, *lines] if lines else []
