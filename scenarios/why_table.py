"""The why table of a broken limit: causes with what is left of the value without each, as data and as lines for a terminal."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

__all__ = ["Why", "WhyRow"]

SMALL = 0.01
"""Share of the limit below which a move of the value is not worth a line."""


@dataclass(frozen=True)
class WhyRow:
    """One cause left out: the limit's value then, how far it has moved, and whether the limit is kept."""

    cause: str
    value: float | None
    moved: float | None
    kept: bool | None
    reason: str = ""
    """Why there is no value."""


@dataclass(frozen=True)
class Why:
    """One broken limit; rows with the largest move first."""

    name: str
    value: float | None
    limit: float
    unit: str
    rows: tuple[WhyRow, ...]
    untried: int = 0
    """Causes that were not tried, there being too many."""

    @property
    def telling(self) -> Sequence[WhyRow]:
        """Rows that move the value by more than a hundredth of the limit, or have no value."""
        least = SMALL * abs(self.limit)
        return [row for row in self.rows if row.moved is None or abs(row.moved) > least]

    @property
    def quiet(self) -> Sequence[str]:
        """Causes without which the value is as it was."""
        telling = {row.cause for row in self.telling}
        return sorted(row.cause for row in self.rows if row.cause not in telling)
