"""Lift, settings and scenario files: what they may hold, and how they are read.

``load_lift``, ``load_settings`` and ``load_scenario`` are loaded when first asked for, so that importing this package is cheap.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from scenarios.files.lift import Lift
    from scenarios.files.loading import load_lift, load_scenario, load_settings
    from scenarios.files.scenario import Scenario, ScenarioFile
    from scenarios.files.settings import Settings

__all__ = ["Lift", "Scenario", "ScenarioFile", "Settings", "load_lift", "load_scenario", "load_settings"]

_HOMES = {
    "Lift": "lift",
    "Scenario": "scenario",
    "ScenarioFile": "scenario",
    "Settings": "settings",
    "load_lift": "loading",
    "load_scenario": "loading",
    "load_settings": "loading",
}


def __getattr__(name: str) -> Any:
    if name not in _HOMES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    from importlib import import_module

    return getattr(import_module(f"{__name__}.{_HOMES[name]}"), name)
