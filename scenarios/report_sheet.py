"""The drive sheet laid out for a page: rows without a load case in a list, rows with one as a table of cases side by side."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import groupby
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Sequence

    from scenarios.sheet import Row, Sheet

__all__ = ["Block", "Line", "sheet_blocks"]


@dataclass(frozen=True)
class Line:
    """One line: a figure with its values under the heads of its block."""

    name: str
    unit: str
    values: tuple[float | None, ...]
    origin: str
    warnings: tuple[str, ...]


@dataclass(frozen=True)
class Block:
    """One table: ``heads`` name the columns of values, legs or load cases."""

    title: str
    heads: tuple[str, ...]
    lines: tuple[Line, ...]


def _warnings(rows: Sequence[Row]) -> tuple[str, ...]:
    """Each different warning once, with the load cases it holds for."""
    cases: dict[str, list[str]] = {}
    for row in rows:
        if row.warning:
            cases.setdefault(f"{row.warning.removeprefix(row.case + ': ')}. {row.remedy}", []).append(row.case)
    return tuple(f"{'; '.join(names)}: {text}" if any(names) else text for text, names in cases.items())


def _origin(row: Row) -> str:
    return f"{row.formula}; {row.source}" if row.source else row.formula


def _plain(group: str, heads: tuple[str, ...], rows: Sequence[Row]) -> Block:
    lines = tuple(Line(row.name, row.unit, row.values, _origin(row), _warnings([row])) for row in rows)
    return Block(group, heads, lines)


def _cases(group: str, leg: str, column: int, rows: Sequence[Row]) -> Block:
    """Cases as columns, for the legs of one column of the sheet."""
    heads = tuple(dict.fromkeys(row.case for row in rows))
    lines = []
    for name in dict.fromkeys(row.name for row in rows):
        mine = [row for row in rows if row.name == name]
        by_case = {row.case: row.values[column if len(row.values) > 1 else 0] for row in mine}
        lines.append(Line(name, mine[0].unit, tuple(by_case.get(case) for case in heads), _origin(mine[0]), _warnings(mine)))
    return Block(f"{group}, {leg}", heads, tuple(lines))


def sheet_blocks(sheet: Sheet) -> list[Block]:
    """Blocks of the sheet in its order.

    Parameters
    ----------
    sheet
        The sheet of one lift.
    """
    blocks: list[Block] = []
    for (group, cased), members in groupby(sheet.rows, key=lambda row: (row.group, bool(row.case))):
        rows = list(members)
        if cased:
            wide = any(len(row.values) > 1 for row in rows)
            legs = sheet.columns if wide else ("whole lift",) if len(sheet.columns) > 1 else sheet.columns
            blocks += [_cases(group, leg, column, rows) for column, leg in enumerate(legs)]
        else:
            blocks.append(_plain(group, sheet.columns, rows))
    return blocks
