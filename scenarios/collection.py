"""Which scenario files a call means: those named, and those found in the folders named, to their depth.

A folder is walked in the order of names, without following links to folders and without looking into hidden ones.  TOML files
of other kinds in it are counted, not flown.  A file found twice is flown once.
"""

from __future__ import annotations

import os
from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from pathlib import Path

from scenarios.errors import InputError
from scenarios.files.reading import kind_of

__all__ = ["Collection", "Found", "collect"]


@dataclass(frozen=True)
class Found:
    """One scenario file."""

    file: str
    """Path as it is shown: as it was named, or below the folder that was named."""
    label: str
    """Short and different for each: the path from the folder named; the whole path where more than one thing was named."""
    folder: str
    """Folder of the file, for the groups of a list."""
    named: bool
    """True: named itself.  False: found in a folder."""
    run: int = 0
    """Number of the run of a campaign whose chances it has."""


@dataclass(frozen=True)
class Collection:
    """What was found, in the order of paths where a folder was named, else in the order given."""

    found: tuple[Found, ...]
    skipped: tuple[tuple[str, int], ...]
    """Kinds of TOML files that are no scenarios, and how many of each."""
    bad: tuple[str, ...]
    """Files in the folders of which nobody can tell the kind."""
    folders: bool
    """Whether a folder was named."""


def _toml_files(folder: Path) -> Iterator[Path]:
    for here, below, names in os.walk(folder):
        below[:] = sorted(name for name in below if not name.startswith("."))
        yield from (Path(here) / name for name in sorted(names) if name.endswith(".toml") and not name.startswith("."))


def _in_folder(folder: Path, kinds: Counter[str], bad: list[str]) -> Iterator[Found]:
    for path in _toml_files(folder):
        try:
            kind = kind_of(path)
        except InputError as error:
            bad += error.messages
            continue
        if kind == "scenario":
            yield Found(str(path), path.relative_to(folder).as_posix(), path.parent.as_posix(), False)
        else:
            kinds[kind] += 1


def collect(names: Iterable[str]) -> Collection:
    """Find the scenario files that ``names`` mean.

    Parameters
    ----------
    names
        Files and folders.

    Raises
    ------
    InputError
        If a folder holds no scenario file.
    """
    found: dict[Path, Found] = {}
    kinds: Counter[str] = Counter()
    bad: list[str] = []
    empty: list[str] = []
    given = list(names)
    folders = [name for name in given if Path(name).is_dir()]
    for name in given:
        path = Path(name)
        more = list(_in_folder(path, kinds, bad)) if name in folders else [Found(name, path.name, path.parent.as_posix(), True)]
        if not more:
            empty.append(f'{name}: holds no scenario file (kind = "scenario"), in no folder below it either; name another folder')
        for one in more:
            key = Path(one.file).resolve() if folders else Path(f"{len(found)}")
            found.setdefault(key, one)
    if empty:
        raise InputError([*empty, *bad])
    if len(given) > 1:
        found = {key: replace(one, label=one.file) for key, one in found.items()}
    ordered = tuple(sorted(found.values(), key=lambda one: one.file) if folders else found.values())
    return Collection(ordered, tuple(sorted(kinds.items())), tuple(bad), bool(folders))
