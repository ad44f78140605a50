"""The suite uses the cache that is keyed by the kernel sources, so that no test ever runs stale code."""

from __future__ import annotations

import os

from hypothesis import settings

from scenarios import cache

if not os.environ.get("NUMBA_DISABLE_JIT"):
    cache.prepare()

# A first call compiles, so no deadline; derandomised, so that two runs of the suite test the same cases.
settings.register_profile("levelrig", deadline=None, derandomize=True)
# For the state machine test (tests/scenarios/test_state_machine.py): many other cases, every time.
settings.register_profile("thorough", deadline=None, derandomize=False, database=None, max_examples=7000)
settings.load_profile("levelrig")
