"""Choosing a drive, in text: several lifts compared by their key figures, or one lift over a swept key."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from math import isfinite
from typing import Any

from scenarios.sheet import CAUTION, Sheet
from scenarios.sheet_figures import KEY_FIGURES, Reading, read_figures
from scenarios.sheet_sweep import Sweep
from scenarios.sheet_table import WIDTH, figure

__all__ = ["compare_lines", "comparison", "sweep_lines"]

_NAME = 46
_WIDTH = 11
_CELL = 9
_MARK = "!: the drive sheet warns of this figure; `levelrig sheet` says why and what helps."


def _told(reading: Reading, digits: int = 4) -> str:
    return figure(reading.value, digits) + ("!" if reading.warned else " ")


def _change(first: float, other: float) -> str:
    """Change from ``first`` to ``other`` in percent; a dash where it has no meaning."""
    if not (isfinite(first) and isfinite(other)) or first == 0.0 or first * other < 0.0:
        return "-"
    return f"{100.0 * (other / first - 1.0):+.0f} %"


def comparison(sheets: Sequence[Sheet]) -> dict[str, Any]:
    """Key figures of several lifts as plain data for JSON."""
    read = [read_figures(sheet) for sheet in sheets]
    rows = [
        {
            "name": one.name,
            "unit": one.unit,
            "worst": one.worst,
            "values": [readings[k].value if isfinite(readings[k].value) else None for readings in read],
            "warned": [readings[k].warned for readings in read],
        }
        for k, one in enumerate(KEY_FIGURES)
    ]
    return {"lifts": [sheet.lift for sheet in sheets], "figures": rows}


def compare_lines(sheets: Sequence[Sheet]) -> list[str]:
    """Key figures of several lifts side by side, and each one's change against the first."""
    read = [read_figures(sheet) for sheet in sheets]
    heads = [sheets[0].lift, *(name for sheet in sheets[1:] for name in (sheet.lift, "change"))]
    lines = ["drives compared: " + ", ".join(sheet.lift for sheet in sheets), ""]
    lines.append(f"  {'worst leg of each lift':<{_NAME}}{'':<6}" + "".join(head[: _WIDTH - 1].rjust(_WIDTH) for head in heads))
    for k, one in enumerate(KEY_FIGURES):
        cells = [_told(read[0][k])]
        for readings in read[1:]:
            cells += [_told(readings[k]), _change(read[0][k].value, readings[k].value)]
        unit = "" if one.unit == "1" else one.unit
        lines.append(f"  {one.name:<{_NAME}}{unit:<6}" + "".join(cell.rjust(_WIDTH) for cell in cells))
    return [line.rstrip() for line in [*lines, "", _MARK, *textwrap.wrap(CAUTION, WIDTH)]]


def sweep_lines(sweep: Sweep) -> list[str]:
    """A line per swept value, a column per key figure."""
    key = sweep.order.key
    lines = [f"{sweep.lift}: drive sheet over {key}, worst leg", ""]
    first = max(len(key.rsplit(".", 1)[-1]), 8) + 2
    for level in range(3):
        words = [(*one.head, "", "")[level] if level < 2 else one.unit for one in KEY_FIGURES]
        lines.append(("" if level < 2 else key.rsplit(".", 1)[-1]).ljust(first) + "".join(word.rjust(_CELL - 1) + " " for word in words))
    for value, readings in zip(sweep.order.values, sweep.readings, strict=True):
        lines.append(f"{value:g}".ljust(first) + "".join(_told(reading, 4).rjust(_CELL) for reading in readings))
    return [line.rstrip() for line in [*lines, "", _MARK, *textwrap.wrap(CAUTION, WIDTH)]]
