"""The figures by which drives are chosen, one number each for a whole lift: the worst of its legs."""

from __future__ import annotations

from dataclasses import dataclass
from math import isnan, nan

from scenarios.sheet import Row, Sheet
from scenarios.sheet_cases import GROUP

__all__ = ["KEY_FIGURES", "KeyFigure", "Reading", "read_figures"]

FULL_UP, FULL_DOWN, LIGHT_DOWN = "raising, full", "lowering, full", "lowering, light"


@dataclass(frozen=True)
class KeyFigure:
    """A row of the sheet that decides: its name and case there, a short head of up to three words, and which end is the worse one."""

    row: str
    case: str
    head: tuple[str, ...]
    unit: str
    worst: str
    """"low" or "high": which leg's value stands for the lift."""

    @property
    def name(self) -> str:
        """Name with the case, for JSON and plots."""
        return f"{self.row}, {self.case}" if self.case else self.row


KEY_FIGURES: tuple[KeyFigure, ...] = (
    KeyFigure("counts per mm", "", ("counts",), "1/mm", "low"),
    KeyFigure("speed", FULL_UP, ("speed", "up full"), "mm/s", "low"),
    KeyFigure("speed", FULL_DOWN, ("speed", "down full"), "mm/s", "low"),
    KeyFigure("current", FULL_UP, ("current", "up full"), "A", "high"),
    KeyFigure("efficiency", FULL_UP, ("eff.", "up full"), "%", "low"),
    KeyFigure("coast", FULL_UP, ("coast", "up full"), "mm", "high"),
    KeyFigure("coast", LIGHT_DOWN, ("coast", "dn light"), "mm", "high"),
    KeyFigure("self-locking margin at rest", "", ("locking", "at rest"), "deg", "low"),
    KeyFigure("margin in motion", "", ("locking", "moving"), "deg", "low"),
    KeyFigure("thrust at the current limit", "", ("thrust", "at limit"), "N", "low"),
    KeyFigure("steady pinch force, raising", "", ("pinch", "steady"), "N", "high"),
    KeyFigure("winding at the stated duty", "", ("winding", "at duty"), "C", "high"),
)
"""Counting, speed, heat and current, coast, self-locking, force: what a motor and a spindle are chosen by."""


@dataclass(frozen=True)
class Reading:
    """A key figure of one sheet; nan where the sheet has no such row; ``warned`` if the sheet warns of it."""

    figure: KeyFigure
    value: float
    warned: bool


def _row(sheet: Sheet, figure: KeyFigure) -> Row | None:
    group = GROUP if figure.case else ""
    return next((row for row in sheet.rows if row.name == figure.row and row.case == figure.case and row.group.startswith(group)), None)


def read_figures(sheet: Sheet) -> list[Reading]:
    """Key figures of a sheet, in their order."""
    readings = []
    for figure in KEY_FIGURES:
        row = _row(sheet, figure)
        values = [value for value in row.values if not isnan(value)] if row else []
        pick = min if figure.worst == "low" else max
        readings.append(Reading(figure, pick(values) if values else nan, bool(row and row.warning)))
    return readings
