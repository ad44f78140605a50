"""What the file models have in common: strict frozen tables, and quantities with a range, a default and where it comes from."""

from __future__ import annotations

from typing import Any

from pydantic import BaseModel, ConfigDict, Field

__all__ = ["PLANNING", "Table", "quantity"]

PLANNING = "planning value, no source"


class Table(BaseModel):
    """A table of a file: unknown keys are refused, numbers are finite, nothing is converted, nothing changes afterwards."""

    model_config = ConfigDict(extra="forbid", strict=True, frozen=True, allow_inf_nan=False)


_REQUIRED: Any = ...


def quantity(low: float, high: float, about: str, default: Any = _REQUIRED, source: str = PLANNING) -> Any:
    """Field of a number with its range.

    Parameters
    ----------
    low, high
        Smallest and largest value accepted, in the unit of the key.
    about
        What it is; becomes the description in the JSON Schema.
    default
        Value where the file is silent; left out: the key is required.
    source
        Where the default comes from; shown in the list of assumptions of a report.

    Returns
    -------
    Any
        A pydantic field.
    """
    return Field(default, ge=low, le=high, description=about, json_schema_extra={"default_source": source})
