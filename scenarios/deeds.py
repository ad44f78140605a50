"""How a kind of fault becomes a row of the script: the function that turns its keys into an action and SI values."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from scenarios.files.when import Timed
from scenarios.rig import Action

__all__ = ["Deed", "Deeds", "Names"]

Names = tuple[str, ...]
"""Names of the legs, in order."""
Deed = tuple[Action, tuple[float, ...]]
"""What the row does, and up to six values [SI]."""
Deeds = dict[type[Timed], Callable[[Any, Names], Deed]]
