"""A campaign from start to end: what is not in the folder yet is flown and kept; then the table is written."""

from __future__ import annotations

import csv
import io
import os
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from scenarios.campaign.engine import Engine
from scenarios.campaign.folder import Folder
from scenarios.campaign.rows import Outcome, column_names
from scenarios.errors import InputError
from scenarios.outputs import write_whole

__all__ = ["fly_campaign", "write_table"]

WHOLE = ("run", "outcome")


def fly_campaign(folder: Folder, engine: Engine, tick: Callable[[NDArray[np.float64]], None] = lambda _: None) -> None:
    """Fly every batch that the folder does not hold yet.

    Parameters
    ----------
    folder
        Of the campaign.
    engine
        Who flies.
    tick
        Called with the table of each batch that was flown.

    Raises
    ------
    InputError
        When a batch cannot be written; what is in the folder stays, and the campaign goes on from it.
    """
    left = [batch for batch in folder.batches if batch.number not in folder.done]
    for batch, rows in engine.fly(left):
        folder.keep(batch, rows)
        tick(rows.table)
    folder.finish()


def _cells(row: NDArray[np.float64], names: tuple[str, ...], note: str) -> Iterator[str]:
    for name, value in zip(names, row, strict=True):
        if name == "outcome":
            yield Outcome(int(value)).name.lower()
        elif np.isnan(value):
            yield ""
        else:
            yield str(int(value)) if name in WHOLE or name.endswith((".ok", ".move")) else repr(float(value))
    yield note


def write_table(folder: Folder) -> list[Path]:
    """Write all rows as CSV, and as Parquet where pyarrow is installed, a batch at a time; returns the files."""
    names = column_names(folder.plan)
    path = folder.path / "table.csv"
    part = path.with_name(f".{path.name}.{os.getpid()}.part")
    try:
        with part.open("w", encoding="utf-8", newline="") as file:
            for batch in folder.batches:
                rows = folder.rows(batch)
                text = io.StringIO()
                writer = csv.writer(text, lineterminator="\n")
                if batch.number == 0:
                    writer.writerow([*names, "note"])
                writer.writerows(list(_cells(row, names, note)) for row, note in zip(rows.table, rows.notes, strict=True))
                file.write(text.getvalue())
        os.replace(part, path)
    except OSError as error:
        raise InputError([f"{path}: cannot be written ({error.strerror or error})"]) from None
    finally:
        part.unlink(missing_ok=True)
    return [path, *_write_parquet(folder, names)]


def _write_parquet(folder: Folder, names: tuple[str, ...]) -> list[Path]:
    try:
        import pyarrow as pa
        from pyarrow import parquet
    except ImportError:
        return []
    made = io.BytesIO()
    fields = [(name, pa.string() if name == "outcome" else pa.int64() if name == "run" else pa.float64()) for name in names]
    schema = pa.schema([*fields, ("note", pa.string())])
    with parquet.ParquetWriter(made, schema, use_dictionary=False) as writer:
        for batch in folder.batches:
            rows = folder.rows(batch)
            arrays = [_typed(rows.table[:, k], name) for k, name in enumerate(names)]
            writer.write_table(pa.table([*(pa.array(one, from_pandas=True) for one in arrays), pa.array(rows.notes)], schema=schema))
    path = folder.path / "table.parquet"
    write_whole(path, made.getvalue())
    return [path]


def _typed(values: NDArray[np.float64], name: str) -> object:
    """A column as the file holds it; not a number stands for empty."""
    if name == "outcome":
        return [Outcome(int(value)).name.lower() for value in values]
    return values.astype(np.int64) if name == "run" else values
