"""JSON Schemas of the kinds of file, for completion and checks in an editor."""

from __future__ import annotations

import json
import os
from copy import deepcopy
from pathlib import Path
from typing import Any

from pydantic import BaseModel

from scenarios.files.campaign import CampaignFile
from scenarios.files.leg import PARTS
from scenarios.files.lift import Lift
from scenarios.files.scenario import ScenarioFile
from scenarios.files.settings import Settings
from scenarios.files.tuning import TuningFile

__all__ = ["schema", "write_schemas"]

KINDS: dict[str, type[BaseModel]] = {
    "lift": Lift,
    "settings": Settings,
    "scenario": ScenarioFile,
    "tuning": TuningFile,
    "campaign": CampaignFile,
}


def schema(kind: str) -> dict[str, Any]:
    """JSON Schema of a file as it is written.

    Parameters
    ----------
    kind
        ``lift``, ``settings``, ``scenario``, ``tuning`` or ``campaign``.

    Returns
    -------
    dict
        JSON Schema, draft 2020-12.  In a lift file no key of a leg is required, since ``[every_leg]`` may hold it.
    """
    made = KINDS[kind].model_json_schema()
    made["$schema"] = "https://json-schema.org/draft/2020-12/schema"
    return _with_every_leg(made) if kind == "lift" else made


def _with_every_leg(made: dict[str, Any]) -> dict[str, Any]:
    tables = made["$defs"]
    leg = tables["Leg"]
    leg["required"] = ["name", "at_mm"]
    for part in PARTS:
        reference = leg["properties"][part]
        for name in _references(reference):
            tables[name].pop("required", None)
        reference.pop("default", None)
    every = deepcopy(leg)
    every["description"] = "What all legs share; a leg may change single keys."
    every["title"] = "EveryLeg"
    every.pop("required")
    for own in ("name", "at_mm"):
        every["properties"].pop(own)
    tables["EveryLeg"] = every
    made["properties"]["every_leg"] = {"$ref": "#/$defs/EveryLeg"}
    return made


def _references(node: Any) -> list[str]:
    """Names of the tables a node refers to."""
    if isinstance(node, dict):
        own = [str(node["$ref"]).rsplit("/", 1)[-1]] if "$ref" in node else []
        return own + [name for value in node.values() for name in _references(value)]
    if isinstance(node, list):
        return [name for value in node for name in _references(value)]
    return []


def write_schemas(folder: Path) -> list[Path]:
    """Write ``lift.schema.json`` and so on, one for each kind of file; returns their paths."""
    folder.mkdir(parents=True, exist_ok=True)
    written = []
    for kind in KINDS:
        path = folder / f"{kind}.schema.json"
        temporary = path.with_name(path.name + ".part")
        temporary.write_text(json.dumps(schema(kind), indent=2, ensure_ascii=False) + "\n", encoding="utf-8")
        os.replace(temporary, path)
        written.append(path)
    return written
