"""From files to a checked lift or scenario; everything that is wrong in any of them is told at once."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from copy import deepcopy
from pathlib import Path
from typing import Any, TypeVar

from pydantic import BaseModel, ValidationError

from scenarios.errors import InputError
from scenarios.files.agreement import lift_complaints, scenario_complaints
from scenarios.files.complaints import complaint, tagless
from scenarios.files.lift import Lift
from scenarios.files.limits import limit_entries
from scenarios.files.lines import Path as KeyPath
from scenarios.files.overrides import Change, apply, collected, flattened, split_key
from scenarios.files.rate_files import fetch_rates
from scenarios.files.reading import Source, frozen, read
from scenarios.files.scenario import Scenario, ScenarioFile
from scenarios.files.settings import Settings
from scenarios.files.twin import expectation_complaints, twin_changes, twin_complaints

__all__ = ["load_lift", "load_scenario", "load_settings", "validated"]

M = TypeVar("M", bound=BaseModel)
Reader = Callable[[Path, str], Source]
Known = Mapping[str, tuple[Path, Any]]


def load_lift(path: str | Path, sets: Iterable[str | Change] = ()) -> Lift:
    """Read and check a lift file.

    Parameters
    ----------
    path
        The file.
    sets
        Changes, ``"KEY=VALUE"`` or (key, value); a key may begin with ``lift.``.

    Returns
    -------
    Lift
        With ``[every_leg]`` merged into each leg.

    Raises
    ------
    InputError
        With every fault found.
    """
    source = read(Path(path), "lift")
    bad = _change(source, [(f"--set {key}", _in_file("lift", key), value) for key, value in collected(sets)])
    lift, found = _lift(source)
    bad += found
    if lift is None or bad:
        raise InputError(bad)
    return lift


def load_settings(path: str | Path, sets: Iterable[str | Change] = ()) -> Settings:
    """Read and check a settings file; a key in ``sets`` may begin with ``settings.``; raises InputError."""
    source = read(Path(path), "settings")
    bad = _change(source, [(f"--set {key}", _in_file("settings", key), value) for key, value in collected(sets)])
    settings, found = validated(source, Settings, source.table)
    bad += found
    if settings is None or bad:
        raise InputError(bad)
    return settings


def load_scenario(path: str | Path, sets: Iterable[str | Change] = (), reader: Reader = read, known: Known | None = None) -> Scenario:
    """Read a scenario file with the lift and the settings it names, and check all three.

    Parameters
    ----------
    path
        The scenario file.
    sets
        Changes, ``"KEY=VALUE"`` or (key, value), made after those of the file's own ``[set]`` table.
    reader
        What reads a file of a kind; the tables it gives are changed.
    known
        By kind, ``lift`` or ``settings``: path and checked content of a file that no change touches, which is not read again.

    Returns
    -------
    Scenario
        Checked.

    Raises
    ------
    InputError
        With every fault found in the three files and in the changes.
    """
    source = reader(Path(path), "scenario")
    given = collected(sets)
    own = source.table.get("set", {})
    own_changes = list(flattened(own).items()) if isinstance(own, dict) else []
    if isinstance(own, dict):
        source.table["set"] = dict(own_changes)
    changes = [(f'{source.path}: [set] "{key}"', key, value) for key, value in own_changes]
    changes += [(f"--set {key}", key, value) for key, value in given]
    bad = _change(source, _of("scenario", changes))
    file, found = validated(source, ScenarioFile, source.table)
    bad += found
    known = known or {}
    lift_path, lift = known["lift"] if "lift" in known else _named(source, ("lift", reader), _lift, changes, bad)
    settings_path, settings = known["settings"] if "settings" in known else _named(source, ("settings", reader), _settings, changes, bad)
    spoiled = None
    if file is not None and lift is not None and settings is not None and not bad:
        bad += [source.where(key) + text for key, text in scenario_complaints(file, lift, settings)]
        limits = limit_entries(lift.limits, file.limits)
        bad += [source.where(key) + text for key, text in expectation_complaints(file, [one.name for one in limits])]
        spoiled = _spoiled((source, reader), file, settings, changes, bad)
        if spoiled is not None and spoiled == settings and not given:
            bad.append(f"{source.where(('twin', 'set'))}twin.set: the settings say so already; a twin must differ")
    if file is None or lift is None or settings is None or bad:
        raise InputError(list(dict.fromkeys(bad)))
    return Scenario(source.path, file, lift, lift_path, settings, settings_path, limits, tuple(given), spoiled)


def _spoiled(
    origin: tuple[Source, Reader], file: ScenarioFile, settings: Settings, changes: list[tuple[str, str, Any]], bad: list[str]
) -> Settings | None:
    """Settings of the twin, checked like any other; complaints go to ``bad``."""
    source, reader = origin
    if file.twin is None:
        return None
    found = [source.where(key) + text for key, text in twin_complaints(file.twin)]
    bad += found
    if found:
        return None
    ((key, value),) = twin_changes(file.twin)
    label = f'{source.where(("twin", "set"))}twin.set "{key}"'
    _, spoiled = _named(source, ("settings", reader), _settings, [*changes, (label, key, value)], bad)
    return spoiled


def _settings(source: Source) -> tuple[Settings | None, list[str]]:
    return validated(source, Settings, source.table)


def _in_file(kind: str, key: str) -> list[str]:
    """Pieces of a key where only one file is meant."""
    where, pieces = split_key(key)
    return pieces if where in (kind, "scenario") else [where, *pieces]


def _of(kind: str, changes: list[tuple[str, str, Any]]) -> list[tuple[str, list[str], Any]]:
    """Changes that mean one of the three files."""
    split = [(label, split_key(key), value) for label, key, value in changes]
    return [(label, pieces, value) for label, (where, pieces), value in split if where == kind]


def _change(source: Source, changes: list[tuple[str, list[str], Any]]) -> list[str]:
    """Make the changes; returns complaints."""
    kind = str(source.table["kind"])
    bad = []
    for option, pieces, value in changes:
        if not pieces or pieces == ["kind"] or (kind == "scenario" and pieces[0] == "set"):
            bad.append(f"{option}: cannot be changed")
            continue
        try:
            for path in apply(source.table, kind, pieces, deepcopy(value)):
                source.changed[path] = option
        except KeyError as error:
            bad.append(f"{option}: {error.args[0]}")
    return bad


def _named(
    source: Source,
    means: tuple[str, Reader],
    check: Callable[[Source], tuple[M | None, list[str]]],
    changes: list[tuple[str, str, Any]],
    bad: list[str],
) -> tuple[Path, M | None]:
    """Read and check the file that a scenario names; complaints go to ``bad``."""
    kind, reader = means
    name = source.table.get(kind)
    if not isinstance(name, str) or not name:
        return source.path, None  # the scenario's own check says so
    if not name.isprintable():
        bad.append(f"{source.where((kind,))}{kind} = {name!r}: is not the name of a file")
        return source.path, None
    path = source.path.parent / name
    try:
        other = reader(path, kind)
    except InputError as error:
        bad += [f"{source.where((kind,))}{kind} = {name!r}: {message}".replace("'", '"') for message in error.messages]
        return path, None
    bad += _change(other, _of(kind, changes))
    found, complaints = check(other)
    bad += complaints
    return path, found


def validated(source: Source, model: type[M], table: dict[str, Any]) -> tuple[M | None, list[str]]:
    """Check a table against a model; where a leg's value was written in ``[every_leg]``, the complaint says so."""
    try:
        return model.model_validate(frozen(table)), []
    except ValidationError as error:
        lines = []
        findings = error.errors(include_url=False)
        deep = {finding["loc"][:length] for finding in findings for length in range(len(finding["loc"]))}
        for finding in findings:
            if finding["type"] == "too_short" and finding["loc"] in deep:
                continue  # an array whose every entry is refused is reported as short, too
            path, tag = tagless(finding["loc"])
            written = _shared(source.table, path) or path
            unknown = finding["type"] == "extra_forbidden"
            lines.append(source.where(written, unknown) + complaint(model, finding, path, tag, written))
        return None, list(dict.fromkeys(lines))


def _lift(source: Source) -> tuple[Lift | None, list[str]]:
    table = dict(source.table)
    every = table.pop("every_leg", {})
    if not isinstance(every, dict):
        return None, [f"{source.where(('every_leg',))}every_leg: must be a table"]
    legs = table.get("leg")
    if isinstance(legs, list):
        table["leg"] = [_merged(every, leg) if isinstance(leg, dict) else leg for leg in legs]
        unread = fetch_rates(source, table["leg"])
        if unread:
            return None, unread
    lift, bad = validated(source, Lift, table)
    if lift is not None:
        for path, text in lift_complaints(lift):
            shared = _shared(source.table, path)
            bad.append(source.where(shared or path) + text)
    return lift, list(dict.fromkeys(bad))


def _merged(base: dict[str, Any], over: dict[str, Any]) -> dict[str, Any]:
    """``over`` laid over ``base``, table by table."""
    merged = dict(base)
    for key, value in over.items():
        below = merged.get(key)
        merged[key] = _merged(below, value) if isinstance(below, dict) and isinstance(value, dict) else value
    return merged


def _shared(raw: dict[str, Any], path: KeyPath) -> KeyPath | None:
    """Path in ``[every_leg]`` of a leg's key that the leg itself does not hold; None if it stands in the leg."""
    if len(path) < 3 or path[0] != "leg" or not isinstance(path[1], int):
        return None
    every, legs = raw.get("every_leg"), raw.get("leg")
    own: Any = legs[path[1]] if isinstance(legs, list) and path[1] < len(legs) else None
    if not isinstance(every, dict) or path[2] not in every:
        return None
    for piece in path[2:]:
        if not isinstance(own, dict) or piece not in own:
            return ("every_leg", *path[2:])
        own = own[piece]
    return None
