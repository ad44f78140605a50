"""Writing files so that nobody ever sees half of one: a temporary name beside the target, then one rename."""

from __future__ import annotations

import os
from collections.abc import Iterable
from pathlib import Path

from scenarios.errors import InputError

__all__ = ["check_target", "write_whole"]


def check_target(path: Path, inputs: Iterable[str]) -> None:
    """Refuse an output file that could not be written, or that is one of the ``inputs``, before any work is done.

    Raises
    ------
    InputError
        Names the path and the remedy.
    """
    if path.is_dir():
        raise InputError([f"{path}: is a folder, a file name is needed"])
    if not path.parent.is_dir():
        raise InputError([f"{path}: the folder {path.parent} does not exist; make it first"])
    if any(path.resolve() == Path(one).resolve() for one in inputs):
        raise InputError([f"{path}: is an input file; choose another name for the output"])


def write_whole(path: Path, content: bytes) -> None:
    """Write ``content`` to ``path``, whole or not at all.

    Raises
    ------
    InputError
        When the file cannot be written.
    """
    part = path.with_name(f".{path.name}.{os.getpid()}.part")
    try:
        if path.is_dir():
            raise InputError([f"{path}: is a folder, a file name is needed"])
        part.write_bytes(content)
        os.replace(part, path)
    except OSError as error:
        raise InputError([f"{path}: cannot be written ({error.strerror or error})"]) from None
    finally:
        part.unlink(missing_ok=True)
