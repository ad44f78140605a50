"""JSON of a run: a list of rehearsals where files were named, an object with the requirements too where a folder was named."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import asdict
from typing import TYPE_CHECKING, Any

from scenarios.result import as_json

if TYPE_CHECKING:
    from scenarios.requirements import Requirement
    from scenarios.suite import Told

__all__ = ["folder_json", "list_json", "told_json"]


def told_json(told: Told) -> dict[str, Any]:
    """JSON object of one rehearsal: its result, and how it stands against what its file expects."""
    if told.result is None or told.outcome is None:
        return {"file": told.file, "verdict": "wrong input", "messages": list(told.bad)}
    twin = None if told.twin is None else {**asdict(told.twin), "as_expected": told.twin.as_expected}
    outcome = asdict(told.outcome)
    return {**as_json(told.result), "outcome": outcome, "twin": twin, "shrunk": [asdict(one) for one in told.shrunk]}


def _text(value: object) -> str:
    return json.dumps(value, indent=1, allow_nan=False) + "\n"


def list_json(tolds: Sequence[Told]) -> str:
    """JSON text of rehearsals named one by one."""
    return _text([told_json(told) for told in tolds])


def folder_json(tolds: Sequence[Told], required: Sequence[Requirement], skipped: Sequence[tuple[str, int]], stray: Sequence[str]) -> str:
    """JSON text of a folder run: ``rehearsals``, ``requirements``, ``skipped`` (files by kind) and ``unreadable``."""
    return _text(
        {
            "rehearsals": [told_json(told) for told in tolds],
            "requirements": [{**asdict(one), "stands": one.word} for one in required],
            "skipped": dict(skipped),
            "unreadable": list(stray),
        }
    )
