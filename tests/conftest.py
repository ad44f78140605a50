"""The suite uses the cache that is keyed by the kernel sources, so that no test ever runs stale code."""

from __future__ import annotations

import os

from hypothesis import settings

from scenarios import cache

if not os.environ.get("NUMBA_DISABLE_JIT"):
    cache.prepare()

# A first call compiles, so no deadline; derandomised, so that two runs of the suite test the same cases.
settings.register_profile("levelrig", deadline=None, derandomize=True)
settings.load_profile("levelrig")
