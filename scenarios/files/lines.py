"""In which line of a TOML file a key stands."""

from __future__ import annotations

import re

__all__ = ["Path", "line_numbers", "line_of"]

Path = tuple[str | int, ...]
"""Way to a key: names of tables and keys, and indices of array tables counted from 0."""

_KEY = r"""(?:[A-Za-z0-9_-]+|"(?:[^"\\]|\\.)*"|'[^']*')"""
_HEADER = re.compile(rf"^\s*(\[\[?)\s*({_KEY}(?:\s*\.\s*{_KEY})*)\s*\]\]?")
_PAIR = re.compile(rf"^\s*({_KEY}(?:\s*\.\s*{_KEY})*)\s*=(.*)$")
_PIECE = re.compile(_KEY)
_STRING = re.compile(r'"(?:[^"\\]|\\.)*"|\'[^\']*\'|#.*$')


def _pieces(dotted: str) -> list[str]:
    return [piece[1:-1] if piece[0] in "\"'" else piece for piece in _PIECE.findall(dotted)]


class _Rest:
    """Whether the lines after a key still belong to its value: an open array or a multi-line string."""

    def __init__(self) -> None:
        self.depth = 0
        self.quote = ""

    def take(self, text: str) -> None:
        while True:
            if self.quote:
                _, found, text = text.partition(self.quote)
                if not found:
                    return
                self.quote = ""
            marks = [(text.find(mark), mark) for mark in ('"""', "'''") if mark in text]
            head, self.quote = (text[: min(marks)[0]], min(marks)[1]) if marks else (text, "")
            bare = _STRING.sub("", head)
            self.depth += sum(map(bare.count, "[{")) - sum(map(bare.count, "]}"))
            if not marks:
                return
            text = text[min(marks)[0] + 3 :]

    @property
    def is_open(self) -> bool:
        return bool(self.quote) or self.depth > 0


def _enter(header: re.Match[str], counts: dict[Path, int], latest: dict[Path, int]) -> Path:
    """Path of a table header, with the index of each array table in it."""
    path: Path = ()
    pieces = _pieces(header[2])
    for i, piece in enumerate(pieces):
        path = (*path, piece)
        if i == len(pieces) - 1 and header[1] == "[[":
            counts[path] = counts.get(path, 0) + 1
            latest[path] = counts[path] - 1
        if path in latest:
            path = (*path, latest[path])
    return path


def line_numbers(text: str) -> dict[Path, int]:
    """Line of every table header and key of a TOML text, counted from 1.

    Keys inside inline tables and arrays have the line of the key that holds them (see :func:`line_of`).
    """
    lines: dict[Path, int] = {}
    counts: dict[Path, int] = {}
    latest: dict[Path, int] = {}
    table: Path = ()
    rest = _Rest()
    for number, line in enumerate(text.splitlines(), start=1):
        if rest.is_open:
            rest.take(line)
            continue
        if header := _HEADER.match(line):
            table = _enter(header, counts, latest)
            lines.setdefault(table, number)
        elif pair := _PAIR.match(line):
            lines.setdefault((*table, *_pieces(pair[1])), number)
            rest = _Rest()
            rest.take(pair[2])
    return lines


def line_of(lines: dict[Path, int], path: Path) -> int | None:
    """Line of a key, or of the nearest table that holds it."""
    while path:
        if path in lines:
            return lines[path]
        path = path[:-1]
    return None
