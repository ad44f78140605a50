"""One module per command; each holds a click command object named ``command``."""

from __future__ import annotations

__all__: list[str] = []
