"""A trace as a file for other programs: CSV, or Parquet where pyarrow is installed.  Units stand in the column names."""

from __future__ import annotations

import io
from pathlib import Path

import numpy as np

from scenarios.errors import InputError
from scenarios.outputs import write_whole
from scenarios.tracks import Tracks

__all__ = ["check_trace_path", "write_trace"]

WHOLE_NUMBERS = ("mode", "bridge_mode", "commuted", "counts", "heard", "missed", "extra", "hall")


def check_trace_path(path: Path) -> None:
    """Refuse a trace file of a kind that cannot be written, before anything is flown.

    Raises
    ------
    InputError
        Unknown ending, or Parquet without pyarrow.
    """
    ending = path.suffix.lower()
    if ending == ".parquet":
        try:
            import pyarrow.parquet  # noqa: F401
        except ImportError:
            raise InputError([f"{path}: Parquet needs pyarrow: pip install 'levelrig[parquet]', or name a .csv file"]) from None
    elif ending != ".csv":
        raise InputError([f"{path}: --trace writes .csv or .parquet, not {ending or 'a name without ending'}"])


def _is_whole(column: str) -> bool:
    return column.rsplit(".", 1)[-1] in WHOLE_NUMBERS


def _csv(tracks: Tracks) -> bytes:
    text = io.StringIO()
    text.write(",".join(tracks.columns) + "\n")
    formats = ["%d" if _is_whole(column) else "%.9g" for column in tracks.columns]
    np.savetxt(text, tracks.values, fmt=formats, delimiter=",")
    return text.getvalue().encode("utf-8")


def _parquet(tracks: Tracks) -> bytes:
    import pyarrow as pa
    from pyarrow import parquet

    columns = {
        column: tracks.values[:, k].astype(np.int64) if _is_whole(column) else tracks.values[:, k]
        for k, column in enumerate(tracks.columns)
    }
    raw = io.BytesIO()
    parquet.write_table(pa.table(columns), raw, use_dictionary=False)
    return raw.getvalue()


def write_trace(path: Path, tracks: Tracks) -> None:
    """Write a trace, whole or not at all; the ending chooses the kind.

    Raises
    ------
    InputError
        When the kind is unknown or the file cannot be written.
    """
    check_trace_path(path)
    write_whole(path, _parquet(tracks) if path.suffix.lower() == ".parquet" else _csv(tracks))
