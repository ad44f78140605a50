"""The catalogue of limits a rehearsal can be judged by, by name.

To add one: write its function and its row in the module of its kind, name it in ``scenarios/files/limits.py`` and in the tests.
"""

from __future__ import annotations

from scenarios.limit_kinds import Finding, LimitEntry, LimitKind
from scenarios.limits_conduct import CONDUCT
from scenarios.limits_motion import MOTION
from scenarios.limits_pinch import PINCH

__all__ = ["LIMITS", "Finding", "LimitEntry", "LimitKind"]

LIMITS: dict[str, LimitKind] = {row.name: row for row in (*MOTION, *CONDUCT, *PINCH)}
"""Every limit there is, by name."""
