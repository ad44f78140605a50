"""Margins of a run against those of an earlier one, read from the JSON that it wrote.

A margin is compared as a share of the limit, so that millimetres and degrees may be held to one tolerance.  A limit that was
judged then and is not judged now has lost all its margin.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path, PurePath
from typing import TYPE_CHECKING, Any

from scenarios.errors import InputError

if TYPE_CHECKING:
    from scenarios.result import Result
    from scenarios.verdict import JudgedLimit

__all__ = ["LEAST", "Earlier", "Shrunk", "read_earlier"]

LEAST = 5e-4
"""Share of the limit below which a smaller margin is not told: it would not show in the printed digits."""


@dataclass(frozen=True)
class Shrunk:
    """One margin that is smaller than it was; values in the unit of the limit."""

    limit: str
    unit: str
    before: float
    now: float | None
    """``None``: no longer judged."""
    share: float
    """By how much, as a share of the limit."""
    beyond: bool
    """Whether that is more than the tolerance."""


@dataclass(frozen=True)
class Earlier:
    """Results of an earlier run."""

    path: str
    rehearsals: tuple[dict[str, Any], ...]

    def of(self, result: Result) -> dict[str, Any] | None:
        """The earlier result of the same file; of one of the same name and scenario where it was flown from another folder."""
        same = [one for one in self.rehearsals if one["file"] == result.file]
        if not same:
            name = PurePath(result.file).name
            same = [one for one in self.rehearsals if PurePath(one["file"]).name == name and one["scenario"] == result.scenario]
        return same[0] if len(same) == 1 else None

    def shrunk(self, result: Result, tolerance: float) -> tuple[Shrunk, ...]:
        """Margins of ``result`` that are smaller than before; nothing where it is not in the earlier run.

        Parameters
        ----------
        result
            A result of now.
        tolerance
            Share of the limit by which a margin may shrink.
        """
        before = self.of(result)
        if before is None:
            return ()
        now = {one.name: one for one in result.verdict.limits}
        found = [_compared(one, now.get(one["name"]), tolerance) for one in before["limits"] if one["margin"] is not None]
        return tuple(sorted((one for one in found if one is not None), key=lambda one: -one.share))

    def missing(self, results: Iterable[Result]) -> list[str]:
        """Files of the earlier run that this one has not flown."""
        met = [id(one) for result in results if (one := self.of(result)) is not None]
        return [one["file"] for one in self.rehearsals if id(one) not in met]


def _compared(before: dict[str, Any], now: JudgedLimit | None, tolerance: float) -> Shrunk | None:
    was = float(before["margin"])
    if now is None or now.margin is None:
        return Shrunk(before["name"], before["unit"], was, None, 1.0, True)
    lost = was - now.margin
    share = lost / abs(now.limit) if now.limit else (0.0 if lost <= 0.0 else 1.0)
    if share <= LEAST:
        return None
    return Shrunk(now.name, now.unit, was, now.margin, share, share > tolerance)


def _is_result(one: Any) -> bool:
    return isinstance(one, dict) and isinstance(one.get("file"), str) and isinstance(one.get("limits"), list) and "scenario" in one


def read_earlier(path: Path) -> Earlier:
    """Read what ``--json`` of an earlier run wrote.

    Raises
    ------
    InputError
        If it cannot be read or is no such file.
    """
    try:
        whole = json.loads(path.read_text(encoding="utf-8"))
    except OSError as error:
        raise InputError([f"--against {path}: cannot be read ({error.strerror or error})"]) from None
    except (UnicodeDecodeError, ValueError):
        raise InputError([f"--against {path}: is no JSON; name a file that --json has written"]) from None
    listed: Sequence[Any] = whole.get("rehearsals", ()) if isinstance(whole, dict) else whole if isinstance(whole, list) else ()
    good = tuple(one for one in listed if _is_result(one))
    if not good:
        raise InputError([f"--against {path}: holds no rehearsal; name a file that levelrig rehearse --json has written"])
    return Earlier(str(path), good)
