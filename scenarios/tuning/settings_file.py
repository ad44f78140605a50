"""The new settings file: the old one with the tuned values, and behind each line what bound it."""

from __future__ import annotations

import json
import tomllib
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from scenarios.files.loading import load_settings
from scenarios.files.settings import Settings
from scenarios.files.slips import unit_of
from scenarios.tuning.binding import Bound

__all__ = ["free_path", "number", "settings_text"]

WIDTH = 40


def number(value: float) -> str:
    """A float as TOML writes it, always with a point or an exponent."""
    text = f"{value:.10g}"
    return text if any(sign in text for sign in ".en") else text + ".0"


def _value(value: Any) -> str:
    """A TOML value."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int):
        return str(value)
    if isinstance(value, float):
        return number(value)
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False)
    if isinstance(value, list | tuple):
        return "[" + ", ".join(_value(one) for one in value) + "]"
    return "{ " + ", ".join(f"{_key(key)} = {_value(one)}" for key, one in value.items()) + " }"


def _key(key: str) -> str:
    bare = key.isascii() and key.replace("_", "").replace("-", "").isalnum()
    return key if bare else json.dumps(key, ensure_ascii=False)


def _line(name: str, value: Any, comment: str) -> str:
    line = f"{_key(name)} = {_value(value)}"
    return f"{line.ljust(WIDTH)} # {comment}" if comment else line


def free_path(settings: Path) -> Path:
    """Name beside the old file that nothing has yet: ``settings-tuned.toml``, then ``settings-tuned-2.toml`` and so on."""
    number_ = 1
    while True:
        tail = "-tuned" if number_ == 1 else f"-tuned-{number_}"
        path = settings.with_name(f"{settings.stem}{tail}.toml")
        if not path.exists():
            return path
        number_ += 1


def _put(table: dict[str, Any], key: str, value: float, settings: Settings) -> None:
    """Put a tuned value into the table as it will be written; whole numbers stay whole."""
    *tables, name = key.split(".")
    model: Any = settings
    for piece in tables:
        table = table.setdefault(piece, {})
        model = getattr(model, piece)
    table[name] = round(value) if isinstance(getattr(model, name), int) else float(value)


def settings_text(old: Path, changes: dict[str, float], bounds: Sequence[Bound], heading: Sequence[str], source: str) -> str:
    """Text of the new settings file.

    Parameters
    ----------
    old
        The settings file as it stands.
    changes
        Every value that differs from the file: what was tuned, and what the command line set.
    bounds
        What binds the tuned ones.
    heading
        Lines of comment at the top.
    source
        Where the tuned values come from, for ``[sources]``.
    """
    table: dict[str, Any] = tomllib.loads(old.read_text(encoding="utf-8"))
    settings = load_settings(old)
    why = {bound.key: bound for bound in bounds}
    for key, value in changes.items():
        _put(table, key, value, settings)
    sources = table.setdefault("sources", {})
    for key in why:
        sources[key] = source
    lines = [*(f"# {line}" for line in heading), _line("kind", "settings", "")]
    for name, part in table.items():
        if isinstance(part, dict):
            lines += _table_lines(name, part, why, sources)
    return "\n".join(lines) + "\n"


def _table_lines(name: str, part: dict[str, Any], why: dict[str, Bound], sources: dict[str, str]) -> list[str]:
    """One table with a blank line before it; what was learnt has a table for each leg."""
    deep = {key: one for key, one in part.items() if isinstance(one, dict) and name == "learnt"}
    plain = {key: one for key, one in part.items() if key not in deep}
    lines = ["", f"[{_key(name)}]"] if plain or not part else []
    for key, one in plain.items():
        lines.append(_line(key, one, "" if name == "sources" else _comment(f"{name}.{key}", why, sources)))
    for key, one in deep.items():
        lines += ["", f"[{_key(name)}.{_key(key)}]", *(_line(inner, value, "not searched") for inner, value in one.items())]
    return lines


def _comment(key: str, why: dict[str, Bound], sources: dict[str, str]) -> str:
    bound = why.get(key)
    if bound is None:
        told = next((text for place, text in sources.items() if key == place or key.startswith(f"{place}.")), "")
        return f"not searched{': ' + told if told else ''}"
    unit = unit_of(key)
    was = f"was {bound.before:g}{' ' + unit if unit else ''}; " if bound.before != bound.value else "unchanged; "
    return was + bound.text
