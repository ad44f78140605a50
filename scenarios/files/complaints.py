"""From what validation found to the lines an engineer reads: key, value, limit, likely slip."""

from __future__ import annotations

import re
import types
import typing
from typing import Any

from pydantic import BaseModel
from pydantic.fields import FieldInfo

from scenarios.files.faults import KINDS
from scenarios.files.lines import Path
from scenarios.files.slips import did_you_mean, unit_of, unit_slip

__all__ = ["complaint", "key_path", "tagless"]

_WANTED = {
    "float_type": "must be a number",
    "int_type": "must be a whole number",
    "int_from_float": "must be a whole number",
    "bool_type": "must be true or false",
    "string_type": "must be a text in quotes",
    "tuple_type": "must be an array",
    "dict_type": "must be a table",
    "model_type": "must be a table",
    "model_attributes_type": "must be a table",
    "finite_number": "must be a finite number",
    "string_too_short": "must not be empty",
}


_BARE = re.compile(r"^[A-Za-z0-9_-]+$")


def key_path(path: Path) -> str:
    """``leg[1].spindle.lead_mm``; the first of several is [1]."""
    text = ""
    for piece in path:
        bare = f"[{piece + 1}]" if isinstance(piece, int) else f".{piece}"
        text += bare if isinstance(piece, int) or _BARE.match(piece) else f'."{piece}"'
    return text.lstrip(".")


def _members(annotation: Any) -> list[Any]:
    """What an annotation may hold: members of a union, without None; anything else is its only member."""
    while typing.get_origin(annotation) is typing.Annotated:
        annotation = typing.get_args(annotation)[0]
    if typing.get_origin(annotation) in (typing.Union, types.UnionType):
        return [member for arg in typing.get_args(annotation) if arg is not type(None) for member in _members(arg)]
    return [annotation]


def _step(annotation: Any, piece: str | int) -> Any:
    """Annotation of what stands under ``piece``."""
    for member in _members(annotation):
        origin, args = typing.get_origin(member), typing.get_args(member)
        if isinstance(piece, int) and origin is tuple and args:
            return args[0] if args[-1] is Ellipsis else args[min(piece, len(args) - 1)]
        if origin is dict:
            return args[1]
        if isinstance(member, type) and issubclass(member, BaseModel) and piece in member.model_fields:
            return member.model_fields[str(piece)].annotation
    return None


def _tables(model: type[BaseModel], path: Path, tag: str = "") -> list[type[BaseModel]]:
    """Table models that may stand at ``path``; of several kinds of fault the one that ``tag`` names."""
    annotation: Any = model
    for piece in path:
        annotation = _step(annotation, piece)
    tables = [member for member in _members(annotation) if isinstance(member, type) and issubclass(member, BaseModel)]
    tagged = [table for table in tables if tag and tag in typing.get_args(table.model_fields["what"].annotation)]
    return tagged or tables


def _field(model: type[BaseModel], path: Path, tag: str) -> FieldInfo | None:
    for table in _tables(model, path[:-1], tag):
        if path[-1] in table.model_fields:
            return table.model_fields[str(path[-1])]
    return None


def _entry(model: type[BaseModel], path: Path) -> FieldInfo | None:
    """Field of an entry of an array or of a table with free keys."""
    annotation: Any = model
    for piece in path:
        annotation = _step(annotation, piece)
    marks = typing.get_args(annotation)[1:] if typing.get_origin(annotation) is typing.Annotated else ()
    return next((mark for mark in marks if isinstance(mark, FieldInfo)), None)


def _bounds(field: FieldInfo | None) -> tuple[float, float] | None:
    low = high = None
    for mark in field.metadata if field else ():
        low = getattr(mark, "ge", low)
        high = getattr(mark, "le", high)
    return None if low is None or high is None else (float(low), float(high))


def _shown(value: object) -> str:
    text = f'"{value}"' if isinstance(value, str) else {True: "true", False: "false"}.get(value, "") if isinstance(value, bool) else ""
    text = text or ("a table" if isinstance(value, dict) else repr(value))
    return text if len(text) <= 60 else text[:57] + "..."


def tagless(loc: Path) -> tuple[Path, str]:
    """Path without the mark that validation puts behind the index of a fault, and that mark."""
    if len(loc) >= 3 and loc[0] == "fault" and isinstance(loc[2], str):
        return (*loc[:2], *loc[3:]), loc[2]
    return loc, ""


def _range(path: Path, value: object, bounds: tuple[float, float]) -> str:
    key = next((piece for piece in reversed(path) if isinstance(piece, str)), "")
    unit = unit_of(key)
    return f"must be {bounds[0]:g} to {bounds[1]:g}{' ' + unit if unit else ''}{unit_slip(key, value, *bounds)}"


def _choices(error: Any, word: object) -> str:
    expected = str(error["ctx"].get("expected", error["ctx"].get("expected_tags", "")))
    names = [name.strip().strip("'") for name in expected.replace(" or ", ", ").split(",")]
    text = "must be " + expected.replace("'", '"')
    return text + (did_you_mean(word, names) if isinstance(word, str) and "?" in did_you_mean(word, names) else "")


def complaint(model: type[BaseModel], error: Any, path: Path, tag: str = "", shown: Path = ()) -> str:
    """One line about one finding of the validation.

    Parameters
    ----------
    model
        Model of the whole file.
    error
        Element of ``ValidationError.errors()``.
    path
        Its location, without tags of unions.
    tag
        Kind of fault, if it lies in one.
    shown
        Where the value was written, if that is another place than ``path``.

    Returns
    -------
    str
        ``key = value: what is wrong``, without file and line.
    """
    kind, key = str(error["type"]), key_path(shown or path)
    field = _field(model, path, tag) if path else None
    if kind == "missing":
        about = (field.description or "") if field else ""
        return f"{key}: is missing{' (' + about.rstrip('.') + ')' if about else ''}"
    if kind == "extra_forbidden":
        known = [name for table in _tables(model, path[:-1], tag) for name in table.model_fields]
        known += ["every_leg"] if len(path) == 1 and "leg" in known else []
        return f"{key}: unknown key{did_you_mean(str(path[-1]), dict.fromkeys(known))}"
    if kind == "value_error":
        return f"{key}: {error['ctx']['error']}" if key else str(error["ctx"]["error"])
    return _about_value(error, path, key, _bounds(field or _entry(model, path)))


def _about_value(error: Any, path: Path, key: str, bounds: tuple[float, float] | None) -> str:
    """A value of the wrong type, or out of its range, or none of the choices."""
    kind, value = str(error["type"]), error["input"]
    if kind in ("literal_error", "union_tag_invalid"):
        word = value.get("what") if isinstance(value, dict) else value
        return f"{key + '.what' if isinstance(value, dict) else key} = {_shown(word)}: {_choices(error, word)}"
    if kind == "union_tag_not_found":
        return f"{key}.what: is missing ({', '.join(KINDS[:-1])} or {KINDS[-1]})"
    if bounds is not None and kind in ("greater_than_equal", "less_than_equal", "finite_number"):
        return f"{key} = {_shown(value)}: {_range(path, value, bounds)}"
    wanted = _WANTED.get(kind)
    if wanted is None:
        wanted = str(error["msg"]).replace("Input should", "must").replace("Value should", "must").replace("Tuple", "an array")
    if kind in ("float_type", "int_type") and isinstance(value, str):
        wanted += " (without quotes)"
    return f"{key} = {_shown(value)}: {wanted}"
