"""The tuning file: which rehearsals the settings are tuned on, what may be changed, at which corners, and what must be reached."""

from __future__ import annotations

from typing import Annotated, Any, Literal, Self

from pydantic import Field, model_validator

from scenarios.files.fields import Table, quantity

__all__ = ["DEFAULT_SEARCH", "PERFECT_COUNTS", "Choices", "Corners", "Search", "Span", "Targets", "TuningFile"]

Share = Annotated[float, Field(ge=0.2, le=3)]
Degrees = Annotated[float, Field(ge=-40, le=200)]
Bound = Annotated[float, Field(ge=-1e5, le=1e5)]
Span = tuple[Bound, Bound]


class Choices(Table):
    """Values of which one is taken."""

    of: tuple[Bound, ...] = Field(min_length=1, max_length=40, description="The values.")


Search = dict[str, Span | Choices]

DEFAULT_SEARCH: Search = {
    "levelling.kc_per_mm": (0.02, 0.6),
    "levelling.ki_per_mm_s": (0.0, 4.0),
    "timing.tick_ms": Choices(of=(2.0, 5.0, 10.0)),
    "speed.soft_start_ms": (50.0, 500.0),
    "speed.slow_down_mm": (4.0, 30.0),
    "speed.slow_ramp_ms": (0.0, 500.0),
    "stopping.learn_gain": (0.1, 1.0),
}
"""What is searched where the file is silent (planning values)."""

PERFECT_COUNTS: tuple[tuple[str, object], ...] = tuple(
    (f"lift.leg.detector.{key}", 0)
    for key in (
        "edge_false_on",
        "edge_false_off",
        "start_miss_mean",
        "start_miss_sd",
        "run_miss",
        "run_false",
        "run_double",
        "tail_rpm",
        "flyback_us",
    )
)
"""Every commutation is heard, and nothing else."""


class Corners(Table):
    """Deviations of the machine from its file; the defaults are planning values, common practice without a source."""

    supply: tuple[Share, ...] = Field(default=(0.9, 1.1), max_length=9, description="Shares of the open-circuit voltage.")
    winding_c: tuple[Degrees, ...] = Field(default=(5.0, 90.0), max_length=9, description="Windings and cases at the start, cold and hot.")
    friction: tuple[Share, ...] = Field(default=(0.85, 1.2), max_length=9, description="Factors on the thread friction of every leg.")
    friction_spread: tuple[Share, ...] = Field(default=(0.9, 1.1), max_length=9, description="Factors on that of the first leg alone.")
    constant_spread: tuple[Share, ...] = Field(
        default=(0.95, 1.05), max_length=9, description="Factors on the first leg's torque constant."
    )
    payload: tuple[Share, ...] = Field(default=(), max_length=9, description="Factors on the payload.")
    combine: Literal["each", "all"] = Field(
        default="each", description='"each": one deviation at a time; "all": every combination of those that have two ends.'
    )


class Targets(Table):
    """What the tuned settings must reach."""

    peak_mm: float = quantity(0.001, 100, "True level error while moving, machine as in its file.", 0.5)
    corner_peak_mm: float = quantity(0.001, 100, "The same at every corner.", 1.0)
    after_coast_mm: float = quantity(0.001, 100, "True level error at rest after a move, machine as in its file.", 0.5)
    gain_margin: float = quantity(1, 100, "Least gain margin at every corner.", 3.0)
    sensitivity: float = quantity(1, 10, "Largest peak of the sensitivity at every corner.", 1.5)
    time_factor: float = quantity(0.5, 3, "Longest travel time against the settings as they stand.", 1.05)
    headroom: float = quantity(0, 0.5, "Least duty left to the slowest leg, machine as in its file.", 0.03)


class TuningFile(Table):
    """What ``levelrig tune`` works on."""

    kind: Literal["tuning"] = Field(description='"tuning"')
    name: str = Field(min_length=1, max_length=80, description="Name of the tuning.")
    about: str = Field(default="", max_length=2000, description="What it is for.")
    rehearsals: tuple[str, ...] = Field(
        min_length=1, max_length=20, description="Scenario files, from this file's folder; one settings file."
    )
    perfect_counts: bool = Field(
        default=False, description="True: every commutation is heard and nothing else, so that the loop alone is judged."
    )
    set: dict[str, Any] = Field(default={}, description='Changes for every rehearsal: "lift.deck.mass_kg" = 0.')
    search: Search = Field(default=DEFAULT_SEARCH, description="Key of the settings file = [low, high], or { of = [values] }.")
    corners: Corners = Corners()
    targets: Targets = Targets()

    @model_validator(mode="after")
    def _spans_are_ordered(self) -> Self:
        for key, span in self.search.items():
            if not isinstance(span, Choices) and span[0] >= span[1]:
                raise ValueError(f'search."{key}" = [{span[0]:g}, {span[1]:g}]: the first must be below the second')
        if len(set(self.rehearsals)) != len(self.rehearsals):
            raise ValueError("rehearsals: a file is named twice")
        return self
