"""Changes to what the files say: ``--set KEY=VALUE`` and the ``[set]`` table of a scenario.

A key starts with ``lift.`` or ``settings.``, or is a key of the scenario file itself.  ``lift.leg.NAME.spindle.friction`` means
one leg, ``lift.leg.spindle.friction`` every leg, ``lift.every_leg.spindle.friction`` what the legs share.  Entries of arrays
are counted from 1: ``move.2.to_mm``.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterable
from functools import lru_cache
from typing import Any

from scenarios.errors import InputError
from scenarios.files.leg import PARTS
from scenarios.files.lines import Path
from scenarios.files.slips import did_you_mean

__all__ = ["Change", "apply", "collected", "flattened", "parsed", "split_key"]

Change = tuple[str, object]

_WORD = re.compile(r"^[A-Za-z][A-Za-z0-9_.+-]*$")


def parsed(given: str | Change) -> Change:
    """Key and value of ``KEY=VALUE``; the value is TOML, a bare word is a text.

    Raises
    ------
    InputError
        If there is no ``=`` or the value is not TOML.
    """
    if not isinstance(given, str):
        return given
    key, equals, text = given.partition("=")
    key, text = key.strip(), text.strip()
    if not equals or not key or not text:
        raise InputError([f'--set {given}: must be KEY=VALUE, for example "settings.levelling.kc_per_mm=0.1"'])
    try:
        value: object = tomllib.loads(f"value = {text}\n")["value"]
    except (tomllib.TOMLDecodeError, RecursionError, ValueError):
        if not _WORD.match(text):
            raise InputError([f"--set {given}: {text} is not a TOML value (a text with spaces needs quotes)"]) from None
        value = text
    return key, value


def flattened(table: dict[str, Any], before: str = "") -> dict[str, Any]:
    """``[set]`` with dotted keys, whether they were written in quotes or not."""
    flat: dict[str, Any] = {}
    for key, value in table.items():
        if isinstance(value, dict):
            flat.update(flattened(value, f"{before}{key}."))
        else:
            flat[before + key] = value
    return flat


def split_key(key: str) -> tuple[str, list[str]]:
    """File that a key means (``lift``, ``settings`` or ``scenario``), and its pieces there."""
    where, pieces = _split(key)
    return where, list(pieces)


@lru_cache(maxsize=1024)
def _split(key: str) -> tuple[str, tuple[str, ...]]:
    """``split_key``, kept: a campaign asks for the same keys at every lift."""
    pieces = tuple(piece for piece in re.split(r"[.\[\]]+", key) if piece)
    if len(pieces) > 1 and pieces[0] in ("lift", "settings", "scenario"):
        return pieces[0], pieces[1:]
    if pieces and pieces[0] in ("every_leg", "leg"):
        return "lift", pieces
    return "scenario", pieces


def _index(items: list[Any], piece: str, so_far: str) -> int:
    if piece.isdigit() and 1 <= int(piece) <= len(items):
        return int(piece) - 1
    names = [str(item.get("name")) for item in items if isinstance(item, dict) and "name" in item]
    if piece in names:
        return names.index(piece)
    what = did_you_mean(piece, names) if names else f": must be 1 to {len(items)}"
    raise KeyError(f'there is no {so_far} "{piece}"{what}')


def _put(raw: Any, pieces: list[str], value: object) -> Path:
    """Put ``value`` at ``pieces`` of a table; returns the path of what was put."""
    path: Path = ()
    for i, piece in enumerate(pieces):
        last = i == len(pieces) - 1
        if isinstance(raw, list):
            place: str | int = _index(raw, piece, ".".join(pieces[:i]))
        elif isinstance(raw, dict):
            place = piece
            if not last:
                raw.setdefault(piece, {})
        else:
            raise KeyError(f"{'.'.join(pieces[:i])} is a value, not a table")
        path = (*path, place)
        if last:
            raw[place] = value
        else:
            raw = raw[place]
    return path


def _every_leg(raw: dict[str, Any], pieces: list[str], value: object) -> list[Path]:
    """Put ``value`` into ``[every_leg]`` and into each leg that has a table of its own for it."""
    paths = [_put(raw, ["every_leg", *pieces], value)]
    legs = raw.get("leg")
    for i, leg in enumerate(legs if isinstance(legs, list) else []):
        table = leg
        for piece in pieces:
            table = table.get(piece) if isinstance(table, dict) else None
        if table is not None:
            paths.append(_put(raw, ["leg", str(i + 1), *pieces], value))
    return paths


def apply(raw: dict[str, Any], kind: str, pieces: list[str], value: object) -> list[Path]:
    """Make one change to the table of a file.

    Parameters
    ----------
    raw
        The file, changed in place.
    kind
        ``lift``, ``settings`` or ``scenario``.
    pieces
        Key within the file.
    value
        What to put there.

    Returns
    -------
    list
        Paths of what was put.

    Raises
    ------
    KeyError
        If an array has no such entry or a leg no such name; the text says so.
    """
    if kind == "lift" and len(pieces) > 1 and pieces[0] == "leg" and pieces[1] in PARTS:
        return _every_leg(raw, pieces[1:], value)
    return [_put(raw, pieces, value)]


def collected(sets: Iterable[str | Change]) -> list[Change]:
    """All changes parsed; every bad one is told."""
    changes: list[Change] = []
    bad: list[str] = []
    for given in sets:
        try:
            changes.append(parsed(given))
        except InputError as error:
            bad += error.messages
    if bad:
        raise InputError(bad)
    return changes
