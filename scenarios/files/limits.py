"""``[limits]`` of a lift or scenario file: a number, or a table with value, id and source."""

from __future__ import annotations

from typing import Annotated, Any

from pydantic import BeforeValidator, Field

from scenarios.files.fields import Table
from scenarios.limits import LIMITS, LimitEntry

__all__ = ["LimitValue", "Limits", "limit_entries"]


class LimitValue(Table):
    """A limit with what it answers to."""

    value: float = Field(ge=0, le=1e4, description="The limit, in the unit of the key.")
    id: str = Field(default="", max_length=200, description="Number of the requirement.")
    source: str = Field(default="", max_length=500, description="Where the limit comes from: standard and clause, or risk assessment.")


def _wrapped(given: Any) -> Any:
    if isinstance(given, int | float) and not isinstance(given, bool):
        return {"value": given}
    return given


Limit = Annotated[LimitValue | None, BeforeValidator(_wrapped, json_schema_input_type=float | LimitValue)]


class Limits(Table):
    """Limits on the true machine; upper limits, except that the supply must not fall below its own."""

    level_moving_mm: Limit = None
    level_after_coast_mm: Limit = None
    target_error_mm: Limit = None
    peak_current_a: Limit = None
    move_time_s: Limit = None
    position_error_mm: Limit = None
    winding_c: Limit = None
    supply_min_v: Limit = None
    tilt_deg: Limit = None
    warp_mm: Limit = None
    energy_residual: Limit = None
    homing_level_mm: Limit = None


def limit_entries(inherited: Limits, own: Limits) -> tuple[LimitEntry, ...]:
    """Limits of a rehearsal: those of the scenario file, and those of the lift file that it does not replace.

    Parameters
    ----------
    inherited
        Of the lift file.
    own
        Of the scenario file.

    Returns
    -------
    tuple of LimitEntry
        In the order of ``Limits``.
    """
    entries = []
    for name in Limits.model_fields:
        value: LimitValue | None = getattr(own, name)
        is_own = value is not None
        value = value if value is not None else getattr(inherited, name)
        if value is not None:
            entries.append(LimitEntry(name, value.value, LIMITS[name].unit, value.id, value.source, is_own))
    return tuple(entries)
