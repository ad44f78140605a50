"""The spoiled twin of a rehearsal: the same file with one controller setting spoiled, which must break the limits named.

A rehearsal that passes proves little until something is known to make it fail.  A twin differs in exactly one key, and that
key is one of the settings: a changed fault, load or machine would be another rehearsal, and a changed limit proves nothing.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING, Any

from pydantic import Field

from scenarios.files.fields import Table
from scenarios.files.lines import Path
from scenarios.files.overrides import flattened, split_key
from scenarios.files.slips import did_you_mean

if TYPE_CHECKING:
    from scenarios.files.scenario import ScenarioFile

__all__ = ["Twin", "expectation_complaints", "twin_changes", "twin_complaints"]


class Twin(Table):
    """``set`` holds the one key that is spoiled, ``breaks`` the limits that must break then, all others staying as they are."""

    set: dict[str, Any] = Field(description='The one setting that is spoiled: { "settings.guards.tilt_limit_mm" = 100.0 }.')
    breaks: tuple[str, ...] = Field(min_length=1, max_length=12, description="Names of the limits that must break, and no other.")


def twin_changes(twin: Twin) -> list[tuple[str, object]]:
    """Key and value of what the twin changes, keys dotted whether they were written in quotes or not."""
    return list(flattened(twin.set).items())


def twin_complaints(twin: Twin) -> Iterator[tuple[Path, str]]:
    """What is wrong with the change of a twin: path of the key in the scenario file and the text."""
    changes = twin_changes(twin)
    if len(changes) != 1:
        yield (
            ("twin", "set"),
            f"twin.set: holds {len(changes)} keys, must hold exactly one: with more, nobody knows which of them broke the limit",
        )
    for key, _ in changes:
        where, pieces = split_key(key)
        if where != "settings" or not pieces:
            yield (
                ("twin", "set"),
                f'twin.set "{key}": must be a key of the settings ("settings.guards.tilt_limit_mm"): another lift, load, fault or '
                "limit is another rehearsal, not a spoiled controller",
            )


def _unknown(where: str, names: Sequence[str], stated: Sequence[str]) -> Iterator[tuple[Path, str]]:
    path = tuple(where.split("."))
    for name in dict.fromkeys(names):
        if name not in stated:
            yield path, f'{where}: "{name}": is no limit of this rehearsal or its lift{did_you_mean(name, stated)}'
    if len(set(names)) < len(names):
        yield path, f"{where}: names a limit twice"


def expectation_complaints(file: ScenarioFile, stated: Sequence[str]) -> Iterator[tuple[Path, str]]:
    """Limits named in ``expect_broken`` and ``twin.breaks`` that the rehearsal does not have.

    Parameters
    ----------
    file
        The scenario file.
    stated
        Names of the limits of the rehearsal, those of the lift file included.
    """
    yield from _unknown("expect_broken", file.expect_broken, stated)
    if file.twin is not None:
        yield from _unknown("twin.breaks", file.twin.breaks, stated)
        for name in file.twin.breaks:
            if name in file.expect_broken:
                yield ("twin", "breaks"), f'twin.breaks: "{name}": is expected to be broken without the twin already'
