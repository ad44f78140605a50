"""The folder of a campaign: what it is made of, one file a batch, a ledger, and at the end the table.

    campaign.json     files as texts, changes, seed, levelrig's own sources: what every number in the folder depends on
    batches/*.npz     rows of a batch, written under another name and renamed: whole or not there
    ledger.jsonl      a line for each finished batch with the digest of its file
    table.csv         all rows in the order of the runs, and table.parquet where pyarrow is installed

Nothing in it tells a time or a machine.  A campaign that was killed goes on from the batches that are whole.
"""

from __future__ import annotations

import difflib
import io
import json
from collections.abc import Iterator
from dataclasses import asdict
from hashlib import blake2b
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from scenarios import cache
from scenarios.campaign.engine import Batch
from scenarios.campaign.plan import Plan, Ticket
from scenarios.campaign.rows import Rows, column_names
from scenarios.errors import InputError
from scenarios.outputs import write_whole

__all__ = ["Folder", "read_ticket", "row_of"]

IDENTITY, LEDGER = "campaign.json", "ledger.jsonl"


def _identity(plan: Plan, batch: int) -> dict[str, Any]:
    ticket = json.loads(json.dumps(asdict(plan.ticket)))
    del ticket["path"]  # where the file lies changes no number
    return {
        "about": "a campaign of levelrig; levelrig campaign FILE goes on from it",
        "file": plan.path.name,
        "sources": cache.sources_key(),
        "batch": batch,
        **ticket,
    }


def read_ticket(folder: Path) -> Ticket:
    """What the campaign in a folder is made of.

    Raises
    ------
    InputError
        If it is no folder of a campaign.
    """
    try:
        table = json.loads((folder / IDENTITY).read_text(encoding="utf-8"))
        changes = tuple((str(key), value) for key, value in table["changes"])
        return Ticket(str(folder / table["file"]), dict(table["texts"]), changes, table["lifts"], table["seed"])
    except (OSError, ValueError, KeyError, TypeError, AttributeError):
        raise InputError([f"{folder}: is no folder of a campaign: it holds no {IDENTITY} that can be read"]) from None


def row_of(folder: Path, run: int) -> NDArray[np.float64] | None:
    """Row of a run in the folder of a campaign; None where it has not been flown."""
    for path in (folder / "batches").glob("*.npz"):
        first, _, last = path.stem.partition("-")
        if first.isdigit() and last.isdigit() and int(first) <= run <= int(last):
            with np.load(path, allow_pickle=False) as held:
                return np.asarray(held["table"][run - int(first)])
    return None


def _differences(old: dict[str, Any], new: dict[str, Any]) -> Iterator[str]:
    """What is not as it was, in words."""
    for name in dict.fromkeys((*old["texts"], *new["texts"])):
        before, after = old["texts"].get(name, ""), new["texts"].get(name, "")
        if before != after:
            lines = [line for line in difflib.ndiff(before.splitlines(), after.splitlines()) if line[:2] in ("- ", "+ ")]
            told = "; ".join(f"{'was' if line[0] == '-' else 'is'}: {line[2:].strip()}" for line in lines[:4])
            yield f"{name} has changed: {told or 'line ends'}{' ...' if len(lines) > 4 else ''}"
    words = {"changes": "--set", "lifts": "--lifts", "seed": "--seed", "batch": "the size of a batch"}
    for key, word in words.items():
        if old[key] != new[key]:
            yield f"{word} was {json.dumps(old[key])}, is {json.dumps(new[key])}"
    if old["sources"] != new["sources"]:
        yield "levelrig itself has changed since the first lifts were flown"


class Folder:
    """The folder of one campaign.

    Parameters
    ----------
    path
        Where it is; made if need be.
    plan
        What is flown.
    batch
        Lifts a file; None: as the campaign file says.

    Raises
    ------
    InputError
        If it holds another campaign, or files that are none of a campaign's, or cannot be written.
    """

    def __init__(self, path: Path, plan: Plan, batch: int | None = None) -> None:
        self.path, self.plan = path, plan
        lifts = plan.file.lifts
        size = batch or plan.file.batch or (1 if plan.file.service else min(max(lifts // 40, 10), 1000))
        self.batches = tuple(Batch(k, first, min(first + size, lifts)) for k, first in enumerate(range(0, lifts, size)))
        self._digits = len(str(lifts - 1))
        identity = _identity(plan, size)
        try:
            if (path / IDENTITY).exists():
                self._same(identity)
            elif path.is_dir() and any(path.iterdir()):
                raise InputError([f"{path}: is not empty and holds no campaign; name another folder with --folder"])
            (path / "batches").mkdir(parents=True, exist_ok=True)
            for rest in [*path.glob(".*.part"), *(path / "batches").glob(".*.part")]:
                rest.unlink(missing_ok=True)
        except OSError as error:
            raise InputError([f"{path}: cannot be made ({error.strerror or error})"]) from None
        write_whole(path / IDENTITY, (json.dumps(identity, indent=1, ensure_ascii=False) + "\n").encode())
        self.done = self._whole()

    def _same(self, identity: dict[str, Any]) -> None:
        try:
            old = json.loads((self.path / IDENTITY).read_text(encoding="utf-8"))
            told = list(_differences(old, identity))
        except (ValueError, KeyError, TypeError, AttributeError):
            raise InputError([f"{self.path / IDENTITY}: cannot be read; name another folder with --folder"]) from None
        if told:
            first = f"{self.path}: holds a campaign of other files; undo the change, or name another folder with --folder"
            raise InputError([first, *(f"  {line}" for line in told)])

    def file(self, batch: Batch) -> Path:
        """File of a batch."""
        return self.path / "batches" / f"{batch.first:0{self._digits}d}-{batch.last - 1:0{self._digits}d}.npz"

    def _ledger(self) -> dict[str, str]:
        """Digest of each finished batch, by the name of its file; a line that was cut short does not count."""
        found = {}
        path = self.path / LEDGER
        for line in path.read_text(encoding="utf-8", errors="replace").splitlines() if path.exists() else ():
            try:
                entry = json.loads(line)
                found[str(entry["file"])] = str(entry["digest"])
            except (ValueError, KeyError, TypeError):
                continue
        return found

    def _whole(self) -> set[int]:
        """Numbers of the batches whose file is whole; any other file is removed and its lifts flown again."""
        ledger = self._ledger()
        found: dict[int, str] = {}
        for batch in self.batches:
            path = self.file(batch)
            if not path.exists():
                continue
            digest = blake2b(path.read_bytes(), digest_size=16).hexdigest()
            if ledger.get(path.name) in (digest, None) and self._readable(batch):
                found[batch.number] = digest
            else:
                path.unlink()
        self._digests = found
        self._write_ledger()
        return set(found)

    def _readable(self, batch: Batch) -> bool:
        try:
            rows = self.rows(batch)
        except (OSError, ValueError, KeyError, EOFError, IndexError):
            return False
        return bool(np.array_equal(rows.table[:, 0], np.arange(batch.first, batch.last)))

    def _line(self, batch: Batch) -> str:
        entry = {"file": self.file(batch).name, "first": batch.first, "last": batch.last - 1, "digest": self._digests[batch.number]}
        return json.dumps(entry) + "\n"

    def _write_ledger(self) -> None:
        write_whole(self.path / LEDGER, "".join(self._line(batch) for batch in self.batches if batch.number in self._digests).encode())

    def keep(self, batch: Batch, rows: Rows) -> None:
        """Write the rows of a batch, and a line into the ledger.

        Raises
        ------
        InputError
            When they cannot be written; what is in the folder stays good.
        """
        made = io.BytesIO()
        np.savez(made, table=rows.table, notes=np.array(rows.notes, dtype=np.str_))
        content = made.getvalue()
        write_whole(self.file(batch), content)
        self._digests[batch.number] = blake2b(content, digest_size=16).hexdigest()
        self.done.add(batch.number)
        try:
            with (self.path / LEDGER).open("a", encoding="utf-8") as ledger:
                ledger.write(self._line(batch))
        except OSError as error:
            raise InputError([f"{self.path / LEDGER}: cannot be written ({error.strerror or error})"]) from None

    def rows(self, batch: Batch) -> Rows:
        """Rows of a finished batch."""
        with np.load(self.file(batch), allow_pickle=False) as held:
            return Rows(held["table"], tuple(str(note) for note in held["notes"]))

    def table(self) -> NDArray[np.float64]:
        """Rows of all batches in the order of the runs, shape (lifts, columns)."""
        made = np.empty((self.plan.file.lifts, len(column_names(self.plan))))
        for batch in self.batches:
            made[batch.first : batch.last] = self.rows(batch).table
        return made

    def finish(self) -> None:
        """Put the ledger in order, so that it is the same whoever flew first."""
        self._write_ledger()
