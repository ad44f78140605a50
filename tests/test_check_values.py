"""Published figures against the shipped formulas; the data stand in checks.toml with their sources."""

from __future__ import annotations

import importlib
import tomllib
from collections.abc import Callable
from dataclasses import is_dataclass
from pathlib import Path
from typing import Any, get_type_hints

import numpy as np
import pytest

from plant.closed_form.counts import counts_per_revolution

CHECKS: list[dict[str, Any]] = tomllib.loads(Path(__file__).with_name("checks.toml").read_text(encoding="utf-8"))["check"]
TAGS = {"seen", "seen-part", "memory", "derived"}


def shipped(name: str) -> Callable[..., Any]:
    module, _, function = name.rpartition(".")
    places = {"threads": "plant.threads"} | ({module: module} if module.startswith(("sync.", "scenarios.")) else {})
    found: Callable[..., Any] = getattr(importlib.import_module(places.get(module, f"plant.closed_form.{module}")), function)
    return found


def called(check: dict[str, Any]) -> Any:
    function = shipped(check["function"])
    hints = get_type_hints(function)
    inputs = {key: hints[key](**value) if is_dataclass(hints[key]) else value for key, value in check["inputs"].items()}
    value = function(**inputs)
    pick = check.get("result")
    if isinstance(pick, int):
        value = value[pick]
    elif pick:
        value = getattr(value, pick)
    return [value.real, value.imag] if isinstance(value, complex) and isinstance(check["expected"], list) else value


@pytest.mark.parametrize("check", CHECKS, ids=[check["id"] for check in CHECKS])
def test_a_shipped_formula_gives_the_published_figure(check: dict[str, Any]) -> None:
    value = called(check)

    if "rel" in check or "abs" in check:
        expected = np.asarray(check["expected"], dtype=float)
        np.testing.assert_allclose(np.asarray(value), expected, rtol=check.get("rel", 0.0), atol=check.get("abs", 0.0))
    else:
        assert np.array_equal(value, check["expected"])


def test_every_check_has_a_source_a_known_tag_and_its_own_name() -> None:
    assert all(len(check["source"]) > 10 and check["tag"] in TAGS for check in CHECKS)
    assert all("from memory" in check["source"] for check in CHECKS if check["tag"] == "memory")
    assert len({check["id"] for check in CHECKS}) == len(CHECKS)


def openings_by_geometry(segments: int, poles: int) -> int:
    """Distinct instants of a revolution at which some segment edge passes some brush, found by turning the commutator."""
    edges = np.arange(segments) / segments
    brushes = np.arange(poles) / poles
    instants = np.sort(np.mod(brushes[:, None] - edges[None, :], 1.0).ravel())
    gaps = np.diff(np.append(instants, instants[0] + 1.0))
    return int(np.count_nonzero(gaps > 1e-9))


@pytest.mark.parametrize("poles", [2, 4, 6])
def test_the_commutation_rule_follows_from_turning_segments_past_brushes(poles: int) -> None:
    counted = [openings_by_geometry(segments, poles) for segments in range(3, 31)]

    assert counted == [counts_per_revolution(segments, poles) for segments in range(3, 31)]
