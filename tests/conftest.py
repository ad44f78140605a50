"""The suite uses the cache that is keyed by the kernel sources, so that no test ever runs stale code."""

from __future__ import annotations

import os

from scenarios import cache

if not os.environ.get("NUMBA_DISABLE_JIT"):
    cache.prepare()
