"""Findings of a search on disk: a search that was broken off goes on from them.

One JSON file, written whole after every generation.  It belongs to one plan: another file, change, seed or version of the
kernels has another fingerprint, and its findings are not taken.
"""

from __future__ import annotations

import hashlib
import json
from dataclasses import asdict
from pathlib import Path
from typing import Any

from scenarios import cache
from scenarios.outputs import write_whole
from scenarios.tuning.corners import Corner
from scenarios.tuning.flight import Outcome
from scenarios.tuning.judging import Cell
from scenarios.tuning.linear import CornerFigures
from scenarios.tuning.plan import Plan
from scenarios.tuning.workers import Finding

__all__ = ["Archive", "fingerprint"]


def fingerprint(plan: Plan) -> str:
    """Digest of everything that the findings of a plan depend on."""
    digest = hashlib.blake2b(digest_size=16)
    parts = [cache.key(), plan.spans, sorted(plan.search.items()), plan.seed]
    parts += [(one.name, one.file, one.lift, one.settings) for one in plan.rehearsals]
    for part in parts:
        digest.update(repr(part).encode())
    return digest.hexdigest()


def _key(values: dict[str, float], corners: tuple[Corner, ...], full: bool) -> str:
    return json.dumps([sorted(values.items()), [corner.name for corner in corners], full])


class Archive:
    """Findings by candidate and corners.

    Parameters
    ----------
    path
        The file; None: nothing is kept on disk.
    mark
        Fingerprint of the plan.
    """

    def __init__(self, path: Path | None, mark: str) -> None:
        self.path, self.mark = path, mark
        self._found: dict[str, Finding] = {}
        self._fresh = False
        self.resumed = 0
        if path is not None and path.is_file():
            self._read(path)

    def _read(self, path: Path) -> None:
        """Take what is there if it is of this plan; anything else is left to be replaced."""
        try:
            table: dict[str, Any] = json.loads(path.read_text(encoding="utf-8"))
            if table["fingerprint"] != self.mark:
                return
            self._found = {key: _finding(plain) for key, plain in table["findings"].items()}
        except (OSError, ValueError, KeyError, TypeError):
            self._found = {}
        self.resumed = len(self._found)

    def get(self, values: dict[str, float], corners: tuple[Corner, ...], full: bool) -> Finding | None:
        """What was found for a candidate, or None."""
        return self._found.get(_key(values, corners, full))

    def put(self, values: dict[str, float], corners: tuple[Corner, ...], full: bool, finding: Finding) -> None:
        """Keep a finding."""
        self._found[_key(values, corners, full)] = finding
        self._fresh = True

    def save(self) -> None:
        """Write the file, whole, if there is anything new."""
        if self.path is None or not self._fresh:
            return
        table = {"about": "findings of levelrig tune, so that it can go on", "fingerprint": self.mark}
        findings = {key: asdict(finding) for key, finding in self._found.items()}
        write_whole(self.path, json.dumps(table | {"findings": findings}).encode())
        self._fresh = False

    def forget(self) -> None:
        """Remove the file: the search has come to its end."""
        if self.path is not None:
            self.path.unlink(missing_ok=True)


def _outcome(plain: dict[str, Any]) -> Outcome:
    return Outcome(**(plain | {"broken": tuple(plain["broken"])}))


def _finding(plain: dict[str, Any]) -> Finding:
    cells = tuple(Cell(cell["rehearsal"], cell["corner"], _outcome(cell["outcome"])) for cell in plain["cells"])
    return Finding(cells, CornerFigures(**plain["margins"]), plain["refused"])
