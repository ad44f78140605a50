"""A wake-up starts from nothing but what is kept without power."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from sync.forgetting import forget
from sync.kernel import kernel
from sync.records import memory_dtype

KEPT = {"saved", "factor", "learnt", "load_known", "levels", "form", "spread", "warmth", "emf", "resistance", "coast", "stop", "moves"}
"""What survives: the saved position, what was learnt of the drive, the temperatures, the sums of the drift tests."""


@kernel
def _forget(memory: Any) -> None:
    forget(memory[0])


def left(record: Any, kind: np.dtype[np.void]) -> list[str]:
    """Names of the fields that are not zero, those of the legs included."""
    names: list[str] = []
    for name in kind.names or ():
        inner = kind.fields[name][0] if kind.fields else kind
        if name not in KEPT and inner.base.names:
            names += [one for part in np.atleast_1d(record[name]) for one in left(part, inner.base)]
        elif np.any(np.frombuffer(record[name].tobytes(), np.int64) != 0):
            names.append(name)
    return names


def test_nothing_is_remembered_but_what_is_kept_on_purpose() -> None:
    kind = memory_dtype(2)
    memory: NDArray[np.void] = np.frombuffer(bytearray(b"\x01" * kind.itemsize), kind)
    _forget(memory.view(np.recarray) if not hasattr(_forget, "py_func") else memory)

    assert set(left(memory[0], kind)) == KEPT
