"""How kernels of this package are compiled: IEEE arithmetic as written, no fast-math, nothing that raises.

The on-disk cache is used only where ``NUMBA_CACHE_DIR`` names a folder: numba does not notice a change of an inlined
function in another module, so whoever sets the folder must key it by the kernel sources (``scenarios.cache`` does).
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeVar

import numba

__all__ = ["kernel"]

F = TypeVar("F", bound=Callable[..., Any])


def kernel(function: F) -> F:
    """Compile ``function`` (records, arrays and numbers only) with numba; plain Python under NUMBA_DISABLE_JIT=1."""
    compiled: F = numba.njit(cache=bool(numba.config.CACHE_DIR), error_model="numpy")(function)  # type: ignore[attr-defined,call-overload]
    return compiled
