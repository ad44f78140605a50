"""The folder of a report: files are written whole, and only files that an earlier report wrote are ever replaced.

A list of what was written, with checksums, stands in ``.levelrig-report``.  A file that is not on it, or that was changed
since, belongs to somebody: it is left alone and the report is refused.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Mapping
from pathlib import Path

from scenarios.errors import InputError
from scenarios.outputs import write_whole

__all__ = ["MANIFEST", "ReportFolder"]

MANIFEST = ".levelrig-report"


def _digest(content: bytes) -> str:
    return hashlib.sha256(content).hexdigest()


class ReportFolder:
    """A folder that a report is written into.

    Parameters
    ----------
    path
        The folder; made when the first file is written.

    Raises
    ------
    InputError
        When ``path`` exists and is no folder.
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        if path.exists() and not path.is_dir():
            raise InputError([f"{path}: is a file; --report needs a folder"])
        self._written = self._read()

    def _read(self) -> dict[str, list[str]]:
        """Checksums a file of each name may have; nothing where the list is missing or is not ours."""
        try:
            listed = json.loads((self.path / MANIFEST).read_text(encoding="utf-8"))["files"]
            return {str(name): [str(one) for one in digests] for name, digests in listed.items()}
        except (OSError, ValueError, KeyError, TypeError, AttributeError):
            return {}

    def check(self, names: Iterable[str]) -> None:
        """Refuse when one of ``names`` is in the folder and is not as a report wrote it.

        Raises
        ------
        InputError
            One message for each such file.
        """
        bad = []
        for name in names:
            target = self.path / name
            if target.is_dir():
                bad.append(f"{target}: is a folder, the report wants a file there; choose another folder")
            elif target.exists() and name not in self._written:
                bad.append(f"{target}: exists and was not written by levelrig; move it away or choose another folder")
            elif target.exists() and _digest(target.read_bytes()) not in self._written[name]:
                bad.append(f"{target}: was changed since levelrig wrote it; move it away or choose another folder")
        if bad:
            raise InputError(bad)

    def write(self, files: Mapping[str, bytes]) -> None:
        """Write ``files`` by name.

        The list goes first with old and new checksums, so that a report broken off half way can be written again.

        Raises
        ------
        InputError
            When a file must not be replaced or cannot be written.
        """
        self.check(files)
        try:
            self.path.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise InputError([f"{self.path}: cannot be made ({error.strerror or error})"]) from None
        fresh = {name: [_digest(content)] for name, content in files.items()}
        self._list({name: self._written.get(name, []) + fresh.get(name, []) for name in {**self._written, **fresh}})
        for name, content in files.items():
            write_whole(self.path / name, content)
        self._written = {**self._written, **fresh}
        self._list(self._written)

    def _list(self, written: Mapping[str, list[str]]) -> None:
        text = json.dumps({"about": "files that levelrig wrote here and may replace", "files": dict(sorted(written.items()))}, indent=1)
        write_whole(self.path / MANIFEST, text.encode("utf-8"))
