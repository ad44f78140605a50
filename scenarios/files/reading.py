"""A file as it was read: its table, its lines, and which of its keys were changed afterwards."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass, field
from pathlib import Path as FilePath
from typing import Any

from scenarios.errors import InputError
from scenarios.files.lines import Path, line_numbers, line_of
from scenarios.files.slips import did_you_mean

__all__ = ["KINDS", "MOST_BYTES", "Source", "frozen", "kind_of", "read", "source_of", "text_of"]

MOST_BYTES = 1_000_000
MOST_TABLES = 20
KINDS = ("lift", "settings", "scenario", "tuning", "rates")


@dataclass
class Source:
    """One file."""

    path: FilePath
    table: dict[str, Any]
    lines: dict[Path, int] = field(default_factory=dict)
    changed: dict[Path, str] = field(default_factory=dict)
    """What was put afterwards, and by which option."""

    def where(self, path: Path, below: bool = False) -> str:
        """Beginning of a message: ``worktop.toml:14: ``, or the option that put the key (``below``: or a key under it)."""
        for length in range(len(path), 0, -1):
            if path[:length] in self.changed:
                return f"{self.changed[path[:length]]}: "
        if below and path not in self.lines:
            for changed, option in self.changed.items():
                if changed[: len(path)] == path:
                    return f"{option}: "
        line = line_of(self.lines, path)
        return f"{self.path}:{line}: " if line else f"{self.path}: "


def frozen(value: Any) -> Any:
    """The same with tuples for lists, as the strict models want it."""
    if isinstance(value, list):
        return tuple(frozen(item) for item in value)
    if isinstance(value, dict):
        return {key: frozen(item) for key, item in value.items()}
    return value


def text_of(path: FilePath) -> str:
    """Text of a file; raises InputError if it cannot be read."""
    try:
        if path.is_dir():
            raise InputError([f"{path}: is a folder; name the file in it"])
        if path.exists() and not path.is_file():
            raise InputError([f"{path}: is not a file"])
        if path.exists() and path.stat().st_size > MOST_BYTES:
            raise InputError([f"{path}: is larger than {MOST_BYTES // 1000} kB; is this the right file?"])
        return path.read_bytes().decode("utf-8")
    except FileNotFoundError:
        near = sorted(other.name for other in path.parent.glob("*.toml")) if path.parent.is_dir() else []
        raise InputError([f"{path}: no such file{did_you_mean(path.name, near)}"]) from None
    except UnicodeDecodeError:
        raise InputError([f"{path}: is not a text file in UTF-8"]) from None
    except (OSError, ValueError) as error:
        raise InputError([f"{path!s}: cannot be read ({getattr(error, 'strerror', None) or error})"]) from None


def _depth(table: dict[str, Any]) -> int:
    """Levels of tables and arrays in each other, counted without recursion."""
    depth = 0
    level: list[Any] = [table]
    while level:
        depth += 1
        held = [item for holder in level for item in (holder.values() if isinstance(holder, dict) else holder)]
        level = [item for item in held if isinstance(item, dict | list)]
        if depth > MOST_TABLES:
            break
    return depth


def _table(path: FilePath, text: str) -> dict[str, Any]:
    try:
        return tomllib.loads(text)
    except (tomllib.TOMLDecodeError, ValueError) as error:
        raise InputError([f"{path}: is not valid TOML: {error}"]) from None
    except RecursionError:
        raise InputError([f"{path}: is not valid TOML: nested too deeply"]) from None


def kind_of(path: FilePath) -> str:
    """Kind of a TOML file: ``lift``, ``settings``, ``scenario``, or ``other`` for one that is none of ours.

    Raises
    ------
    InputError
        If it cannot be read or is no TOML.
    """
    kind = _table(path, text_of(path)).get("kind")
    return kind if kind in KINDS else "other"


def read(path: FilePath, kind: str) -> Source:
    """Read a TOML file and see that it is of the kind it should be.

    Parameters
    ----------
    path
        The file.
    kind
        ``lift``, ``settings`` or ``scenario``.

    Returns
    -------
    Source
        Not validated yet.

    Raises
    ------
    InputError
        If it cannot be read, is no TOML, or is of another kind.
    """
    return source_of(path, text_of(path), kind)


def source_of(path: FilePath, text: str, kind: str) -> Source:
    """The same of a file whose text is known already."""
    table = _table(path, text)
    if _depth(table) > MOST_TABLES:
        raise InputError([f"{path}: tables are nested more than {MOST_TABLES} deep"])
    lines = line_numbers(text)
    given = table.get("kind")
    if given != kind:
        shown = f"{line_of(lines, ('kind',)) or 1}: kind" + ("" if given is None else f" = {given!r}".replace("'", '"')[:60])
        tail = ": is missing" if given is None else f": this is a {given} file" if given in KINDS else ""
        raise InputError([f'{path}:{shown}: must be "{kind}"{tail}'])
    return Source(path, table, lines)
