"""Where compiled kernels are kept: a folder keyed by the kernel sources, so that no stale code is ever served.

numba's own cache looks only at the file of the outermost function.  Import this module before any kernel.
"""

from __future__ import annotations

import hashlib
import os
import tempfile
from pathlib import Path

__all__ = ["is_warm", "key", "prepare", "sources_key"]

_ROOMS = ("plant", "sync", "scenarios")


def key() -> str:
    """Hash of every kernel source and its place, of numba's version and of Python's."""
    import sys
    from importlib.metadata import version

    digest = hashlib.blake2b(digest_size=10)
    digest.update(f"{version('numba')} {version('numpy')} {sys.version_info[:3]}".encode())
    base = Path(__file__).resolve().parent.parent
    digest.update(str(base).encode())  # numba keeps kernels by path as well: another copy's are of no use here
    for room in _ROOMS:
        for source in sorted((base / room).rglob("*.py")):
            text = source.read_bytes()
            if b"@kernel" in text or source.name.endswith(("records.py", "rig.py", "kernel.py")):
                digest.update(source.name.encode())
                digest.update(text)
    return digest.hexdigest()


def sources_key() -> str:
    """Hash of every source of the three rooms and of the versions that a number may depend on, wherever they lie."""
    from importlib.metadata import version

    digest = hashlib.blake2b(digest_size=10)
    digest.update(f"{version('numba')} {version('numpy')} {version('scipy')}".encode())
    base = Path(__file__).resolve().parent.parent
    for room in _ROOMS:
        for source in sorted((base / room).rglob("*.py")):
            digest.update(source.relative_to(base).as_posix().encode())
            digest.update(source.read_bytes())
    return digest.hexdigest()


def _candidates() -> list[Path]:
    home = os.environ.get("XDG_CACHE_HOME") or str(Path.home() / ".cache")
    return [Path(home) / "levelrig", Path(tempfile.gettempdir()) / f"levelrig-{os.getuid() if hasattr(os, 'getuid') else 0}"]


def _usable(folder: Path) -> bool:
    try:
        folder.mkdir(parents=True, exist_ok=True, mode=0o700)
        with tempfile.TemporaryFile(dir=folder):
            pass
    except OSError:
        return False
    # a cache holds code that will run: never from a folder that someone else owns
    return not hasattr(os, "getuid") or folder.stat().st_uid == os.getuid()


def prepare() -> Path | None:
    """Point numba at the first folder that can be written, home cache before temporary folder; None: no cache at all."""
    if os.environ.get("NUMBA_CACHE_DIR"):
        return Path(os.environ["NUMBA_CACHE_DIR"])
    name = key()
    for base in _candidates():
        if _usable(base / name):
            os.environ["NUMBA_CACHE_DIR"] = str(base / name)
            return base / name
    return None


def is_warm() -> bool:
    """Whether the kernels of the flat clock have been compiled on this machine before."""
    folder = prepare()
    return folder is not None and any(folder.rglob("flat.fly_flat*.nbi"))
