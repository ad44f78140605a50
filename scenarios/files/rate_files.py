"""Fetching the tables of rates that the detectors of a lift name."""

from __future__ import annotations

from typing import Any

from pydantic import ValidationError

from scenarios.errors import InputError
from scenarios.files.complaints import complaint, tagless
from scenarios.files.rates import Rates
from scenarios.files.reading import Source, frozen, read

__all__ = ["fetch_rates"]


def fetch_rates(source: Source, legs: list[Any]) -> list[str]:
    """Put the table in the place of the file name in the detector of every leg; returns complaints.

    Parameters
    ----------
    source
        The lift file; names are relative to its folder.
    legs
        Raw tables of the legs, changed in place.
    """
    known: dict[str, Rates | None] = {}
    bad: list[str] = []
    for k, leg in enumerate(legs):
        detector = leg.get("detector") if isinstance(leg, dict) else None
        if not isinstance(detector, dict) or "rates" not in detector:
            continue
        name = detector["rates"]
        where = source.where(("leg", k, "detector", "rates")) or f"{source.path}: "
        if not isinstance(name, str) or not name or not name.isprintable():
            bad.append(f"{where}detector.rates: must be the name of a file that levelrig signal --rates has written")
            continue
        if name not in known:
            known[name], found = _table(source, name, where)
            bad += found
        leg["detector"] = {**detector, "rates": known[name]}
    return list(dict.fromkeys(bad))


def _table(source: Source, name: str, where: str) -> tuple[Rates | None, list[str]]:
    try:
        file = read(source.path.parent / name, "rates")
    except InputError as error:
        return None, [f'{where}detector.rates = "{name}": {message}' for message in error.messages]
    try:
        return Rates.model_validate(frozen(file.table)), []
    except ValidationError as error:
        lines = []
        for finding in error.errors(include_url=False):
            path, tag = tagless(finding["loc"])
            lines.append(file.where(path, finding["type"] == "extra_forbidden") + complaint(Rates, finding, path, tag, path))
        return None, lines
