"""The scenario file, and the scenario: the file together with the lift and the settings it names."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import Annotated, Any, Literal, Self

from pydantic import Field, model_validator

from scenarios.files.faults import Fault
from scenarios.files.fields import Table, quantity
from scenarios.files.leg import Place
from scenarios.files.lift import Lift
from scenarios.files.limits import ScenarioLimits
from scenarios.files.moves import Move
from scenarios.files.settings import Settings
from scenarios.files.twin import Twin, twin_changes
from scenarios.limits import LimitEntry

__all__ = ["Load", "Scenario", "ScenarioFile", "Start"]


Height = Annotated[float, Field(ge=-50, le=10000)]


class Start(Table):
    """How the rehearsal begins."""

    height_mm: float | None = quantity(-50, 10000, "Height of every leg.", None)
    heights_mm: dict[str, Height] | None = Field(default=None, description="Height of each leg, by name.")
    referenced: bool = Field(default=True, description="True: the controller knows the true heights; false: it must be homed first.")
    ambient_c: float | None = quantity(-40, 85, "Air temperature; left out: the lift file's.", None)
    winding_c: float | None = quantity(-40, 200, "Winding temperature; left out: as the air.", None)
    case_c: float | None = quantity(-40, 150, "Case temperature; left out: as the air.", None)
    grease_factor: float = quantity(
        0.2, 50, "Viscous drag of every motor, gear and seal against that at 20 C; 2 to 5 at -10 C.", 1.0, "the drag of the lift file"
    )

    @model_validator(mode="after")
    def _stands_somewhere(self) -> Self:
        if (self.height_mm is None) == (self.heights_mm is None):
            raise ValueError("must hold either height_mm or heights_mm")
        return self


class Load(Table):
    """What lies on the deck."""

    mass_kg: float = quantity(0, 20000, "Mass.")
    at_mm: Place = (0.0, 0.0)


class ScenarioFile(Table):
    """A rehearsal: a lift, its settings, and what happens."""

    kind: Literal["scenario"] = Field(description='"scenario"')
    name: str = Field(min_length=1, max_length=80, description="Name of the rehearsal.")
    about: str = Field(default="", max_length=2000, description="What it is for.")
    lift: str = Field(min_length=1, max_length=400, description="Path of the lift file, from this file's folder.")
    settings: str = Field(min_length=1, max_length=400, description="Path of the settings file, from this file's folder.")
    seed: int = Field(default=1, ge=0, le=2**63 - 1, description="Seed of the random draws.")
    end_s: float | None = quantity(0.1, 36000, "End at the latest; left out: from the moves.", None)
    sub_step_us: Literal[5, 10, 20, 25, 50, 100] | None = Field(
        default=None, description="Sub-step of the plant; left out: the largest that is fine enough."
    )
    start: Start
    payload: Load = Load(mass_kg=0.0)
    move: tuple[Move, ...] = Field(min_length=1, max_length=40, description="The orders, in this order.")
    fault: tuple[Fault, ...] = Field(default=(), max_length=40, description="What goes wrong.")
    limits: ScenarioLimits = ScenarioLimits()
    expect_broken: tuple[str, ...] = Field(
        default=(), max_length=12, description="Limits that this rehearsal breaks on purpose; a folder run counts that as expected."
    )
    twin: Twin | None = Field(default=None, description="The same rehearsal with one setting spoiled, and the limits it must break.")
    set: dict[str, Any] = Field(default={}, description='Changes: "lift.deck.mass_kg" = 0, "settings.levelling.law" = "none".')


@dataclass(frozen=True)
class Scenario:
    """A scenario file with everything it names, checked."""

    path: Path
    file: ScenarioFile
    lift: Lift
    lift_path: Path
    settings: Settings
    settings_path: Path
    limits: tuple[LimitEntry, ...]
    """Of the scenario file, and of the lift file where the scenario does not replace them."""
    sets: tuple[tuple[str, object], ...] = ()
    """Changes given beside the files (``--set``), in order."""
    spoiled: Settings | None = None
    """Settings of the twin; ``None`` where there is none."""

    @property
    def name(self) -> str:
        """Name of the rehearsal."""
        return self.file.name

    @property
    def about(self) -> str:
        """What it is for."""
        return self.file.about

    @property
    def seed(self) -> int:
        """Seed of the file."""
        return self.file.seed

    @property
    def file_sets(self) -> tuple[tuple[str, object], ...]:
        """Changes in the scenario file's own ``[set]`` table."""
        return tuple(self.file.set.items())

    def spoiled_twin(self) -> Scenario:
        """The same scenario with the settings of its twin.

        Raises
        ------
        ValueError
            If the file has no ``[twin]``.
        """
        if self.file.twin is None or self.spoiled is None:
            raise ValueError(f"{self.path}: has no [twin]")
        return replace(self, settings=self.spoiled, sets=(*self.sets, *twin_changes(self.file.twin)), spoiled=None)
