"""The drive sheet: what follows from a lift file before anything moves, with formula, source and warnings."""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import inf, isnan
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Callable

    from scenarios.files.lift import Lift

__all__ = ["CAUTION", "Row", "Sheet", "derive", "warned"]

CAUTION = (
    "These are figures of formulas, not of a machine: no safety case. Force limits come from your own standard and risk assessment; "
    "limiting the drive current alone is not a recognised safeguard. Verify forces on the real machine with a calibrated gauge, and "
    "defer to local codes and licensed practice."
)


@dataclass(frozen=True)
class Row:
    """One figure of the sheet.

    ``values`` has one value per column of the sheet, or a single one that holds for the whole lift; ``case`` names the load
    case, or is empty; infinite means never, nan means not applicable.  ``warning`` and ``remedy`` are empty where all is well.
    """

    group: str
    name: str
    unit: str
    values: tuple[float, ...]
    formula: str
    source: str
    case: str = ""
    warning: str = ""
    remedy: str = ""


@dataclass(frozen=True)
class Sheet:
    """Figures of one lift; ``columns`` names the legs (legs that are alike share a column), ``left_out`` says what could not be given."""

    lift: str
    columns: tuple[str, ...]
    rows: tuple[Row, ...]
    left_out: tuple[str, ...] = ()

    @property
    def warnings(self) -> tuple[Row, ...]:
        """Rows that carry a warning."""
        return tuple(row for row in self.rows if row.warning)

    def value(self, name: str, case: str = "", column: int = 0) -> float:
        """Value of the row called ``name`` in ``case``; raises KeyError if there is none."""
        for row in self.rows:
            if row.name == name and row.case == case:
                return row.values[column if len(row.values) > 1 else 0]
        raise KeyError(f"the sheet has no row {name!r} in case {case!r}")

    def as_dict(self) -> dict[str, Any]:
        """Plain data for JSON; a value that is infinite or not applicable becomes None."""
        rows = [
            {
                "group": row.group,
                "case": row.case,
                "name": row.name,
                "unit": row.unit,
                "values": [value if abs(value) < inf else None for value in row.values],
                "formula": row.formula,
                "source": row.source,
                "warning": row.warning,
                "remedy": row.remedy,
            }
            for row in self.rows
        ]
        return {"lift": self.lift, "columns": list(self.columns), "rows": rows, "left_out": list(self.left_out), "caution": CAUTION}


def warned(row: Row, bad: Callable[[float], bool], warning: str, remedy: str) -> Row:
    """The row with ``warning`` and ``remedy`` if any value is ``bad`` (nan is not applicable and never bad)."""
    if row.warning or not any(bad(value) for value in row.values if not isnan(value)):
        return row
    return replace(row, warning=warning, remedy=remedy)


def derive(lift: Lift) -> Sheet:
    """Derive the sheet of a lift.

    Loads are the deck with its light and its rated payload, both centred where the deck's own mass is; motors and windings
    are at 20 C except where heat is the subject; bridges are at full duty.

    Parameters
    ----------
    lift
        A checked lift file.

    Returns
    -------
    Sheet
        Its rows in the order counting, spindle, running and stopping, thrust, dynamics, supply, heat, strength, hold-up.
    """
    from scenarios.sheet_cases import case_rows
    from scenarios.sheet_legs import leg_columns
    from scenarios.sheet_rows import counting_rows, spindle_rows
    from scenarios.sheet_strength import strength_rows
    from scenarios.sheet_thrust import dynamics_rows, thrust_rows
    from scenarios.sheet_whole import heat_rows, hold_up_rows, supply_rows

    columns = leg_columns(lift)
    rows = [
        *counting_rows(columns),
        *spindle_rows(columns),
        *case_rows(columns),
        *thrust_rows(columns),
        *dynamics_rows(columns),
        *supply_rows(lift, columns),
        *heat_rows(lift, columns),
        *strength_rows(lift, columns),
        *hold_up_rows(lift, columns),
    ]
    left_out = () if lift.structure else ("buckling and nut pressure: the lift file has no [structure] table",)
    return Sheet(lift.name, tuple(column.label for column in columns), tuple(rows), left_out)
