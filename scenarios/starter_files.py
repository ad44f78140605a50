"""The starter files that ``levelrig new`` writes: a choice of the shipped examples."""

from __future__ import annotations

import os
from pathlib import Path

from scenarios.errors import InputError

__all__ = ["KINDS", "starter_folder", "write_starter"]

KINDS: dict[str, dict[str, str]] = {
    # kind: name of the example file, name in the new folder
    "worktop": {"raise-uneven.toml": "raise.toml", "lower.toml": "lower.toml", "open-loop.toml": "open-loop.toml"},
    "roof": {"raise.toml": "raise.toml", "lower-uneven.toml": "lower.toml", "open-loop.toml": "open-loop.toml"},
    "showcase": {"raise.toml": "raise.toml", "lower.toml": "lower.toml", "open-loop.toml": "open-loop.toml"},
}
"""The three rehearsals of each kind of starter; the last of them fails on purpose."""


def starter_folder(kind: str) -> Path:
    """Folder of the example of a kind: in an installed package ``scenarios/starters``, in a checkout ``examples``."""
    here = Path(__file__).resolve().parent
    for place in (here / "starters", here.parent / "examples"):
        if (place / kind / f"{kind}.toml").is_file():
            return place / kind
    raise InputError([f"the starter files of {kind} are missing from the installation ({here / 'starters' / kind})"])


def write_starter(folder: Path, kind: str) -> list[Path]:
    """Write a starter into a new or empty folder.

    Parameters
    ----------
    folder
        Where to; is made.
    kind
        One of ``KINDS``.

    Returns
    -------
    list of Path
        Lift file, settings file, three rehearsals.

    Raises
    ------
    InputError
        If the folder is not empty, or cannot be written.
    """
    home = starter_folder(kind)
    names = {f"{kind}.toml": f"{kind}.toml", "settings.toml": "settings.toml", **KINDS[kind]}
    texts = {new: (home / old).read_text(encoding="utf-8") for old, new in names.items()}
    try:
        if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
            raise InputError([f"{folder}: is not an empty folder; nothing was written, choose another name"])
        folder.mkdir(parents=True, exist_ok=True)
        written = []
        for name, text in texts.items():
            temporary = folder / (name + ".part")
            temporary.write_text(text, encoding="utf-8")
            os.replace(temporary, folder / name)
            written.append(folder / name)
    except OSError as error:
        raise InputError([f"{folder}: cannot be written ({error.strerror})"]) from None
    return written
