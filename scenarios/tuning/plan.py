"""What is tuned: a tuning file, or a scenario alone, with every rehearsal at every corner read and checked."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path
from typing import Any

from scenarios.errors import InputError
from scenarios.files.fields import Table
from scenarios.files.loading import load_scenario, validated
from scenarios.files.overrides import Change, collected, flattened
from scenarios.files.reading import kind_of, read
from scenarios.files.scenario import Scenario
from scenarios.files.settings import Settings
from scenarios.files.slips import did_you_mean
from scenarios.files.tuning import DEFAULT_SEARCH, PERFECT_COUNTS, Choices, Corners, Search, Span, Targets, TuningFile
from scenarios.tuning.corners import Corner, corner_list

__all__ = ["Plan", "as_held", "load_plan", "setting_keys", "with_settings", "without_perfect_counts"]

FIXED = ("timing.guard_tick_ms", "timing.compute_delay_us")
"""They set the grid of the integration and the instants of the guards: chosen with the controller, not tuned."""


@dataclass(frozen=True)
class Plan:
    """A checked tuning: rehearsals at the machine of their files, what to change, where to look, what to reach.

    ``changes`` are the overrides that every rehearsal got, so that a worker can read the files again.
    """

    path: Path
    name: str
    rehearsals: tuple[Scenario, ...]
    changes: tuple[Change, ...]
    search: Search
    spans: Corners
    targets: Targets
    seed: int

    @cached_property
    def corners(self) -> tuple[Corner, ...]:
        """Corners to fly at, without the machine as in its files."""
        return corner_list(self.rehearsals[0].lift, self.spans)

    @property
    def settings(self) -> Settings:
        """The settings as they stand."""
        return self.rehearsals[0].settings

    @property
    def settings_path(self) -> Path:
        """The settings file that all rehearsals share."""
        return self.rehearsals[0].settings_path

    def start(self) -> dict[str, float]:
        """The searched keys with their values as they stand."""
        return {key: float(setting_keys(self.settings)[key]) for key in self.search}


def setting_keys(settings: Table, before: str = "") -> dict[str, float]:
    """Dotted key and value of every number of the settings; one that is left out has none."""
    found: dict[str, float] = {}
    for name in type(settings).model_fields:
        value = getattr(settings, name)
        if isinstance(value, Table):
            found.update(setting_keys(value, f"{before}{name}."))
        elif isinstance(value, int | float) and not isinstance(value, bool):
            found[before + name] = value
    return found


def as_held(scenario: Scenario, settings: Settings) -> Settings:
    """The settings with what the ``[set]`` of a rehearsal holds: it flies so whatever is tuned."""
    own = {key.removeprefix("settings."): value for key, value in scenario.file.set.items() if key.startswith("settings.")}
    return with_settings(settings, own) if own else settings


def with_settings(settings: Settings, values: dict[str, Any]) -> Settings:
    """The settings with some numbers changed, checked.

    Raises
    ------
    ValueError
        If they contradict each other (pydantic's ValidationError is one).
    """
    table = settings.model_dump()
    for key, value in values.items():
        place = table
        *tables, name = key.split(".")
        for piece in tables:
            if place[piece] is None:
                place[piece] = {}
            place = place[piece]
        place[name] = round(value) if isinstance(place.get(name), int) else value
    return Settings.model_validate(table)


def load_plan(path: Path, sets: Iterable[str | Change] = (), seed: int | None = None) -> Plan:
    """Read a tuning file with its rehearsals, or a scenario file, which is then the only rehearsal.

    Parameters
    ----------
    path
        The file.
    sets
        Changes for every rehearsal, after those of the tuning file.
    seed
        Of the search and of the rehearsals' draws; None: 1, and each rehearsal's own.

    Raises
    ------
    InputError
        With all that is wrong in any of the files.
    """
    given = collected(sets)
    if kind_of(path) == "scenario":
        scenario = load_scenario(path, given)
        plan = Plan(path, scenario.name, (scenario,), tuple(given), _default_search(scenario), Corners(), Targets(), seed or 1)
        return _checked(plan, seed)
    source = read(path, "tuning")
    file, bad = validated(source, TuningFile, source.table)
    if file is None or bad:
        raise InputError(bad)
    changes = [*(PERFECT_COUNTS if file.perfect_counts else ()), *flattened(file.set).items(), *given]
    rehearsals = _rehearsals(path, file.rehearsals, changes)
    return _checked(Plan(path, file.name, rehearsals, tuple(changes), file.search, file.corners, file.targets, seed or 1), seed)


def without_perfect_counts(plan: Plan) -> Plan:
    """The plan with the detectors of its lift file."""
    perfect = {key for key, _ in PERFECT_COUNTS}
    changes = [change for change in plan.changes if change[0] not in perfect]
    rehearsals = tuple(load_scenario(scenario.path, changes) for scenario in plan.rehearsals)
    return replace(plan, rehearsals=rehearsals, changes=tuple(changes))


def _default_search(scenario: Scenario) -> Search:
    """The default search without what the scenario's own ``[set]`` holds, and without levelling where there is one leg."""
    level = len(scenario.lift.leg) > 1
    return {
        key: span
        for key, span in DEFAULT_SEARCH.items()
        if f"settings.{key}" not in scenario.file.set and (level or not key.startswith("levelling."))
    }


def _rehearsals(path: Path, names: Sequence[str], changes: Sequence[Change]) -> tuple[Scenario, ...]:
    found, bad = [], []
    for name in names:
        try:
            found.append(load_scenario(path.parent / name, changes))
        except InputError as error:
            bad += error.messages
    if bad:
        raise InputError(dict.fromkeys(bad))
    return tuple(found)


def _checked(plan: Plan, seed: int | None) -> Plan:
    """Refuse what cannot be tuned; returns the plan with the seed in its rehearsals."""
    bad = [*_unlike(plan), *(text for key, span in plan.search.items() for text in _unsearchable(plan, key, span))]
    if bad:
        raise InputError(dict.fromkeys(bad))
    if seed is None:
        return plan
    seeded = tuple(replace(scenario, file=scenario.file.model_copy(update={"seed": seed})) for scenario in plan.rehearsals)
    return replace(plan, rehearsals=seeded)


def _unlike(plan: Plan) -> Iterator[str]:
    """Rehearsals that do not share lift and settings with the first."""
    one = plan.rehearsals[0]
    for other in plan.rehearsals[1:]:
        if other.settings_path.resolve() != one.settings_path.resolve():
            yield f'{other.path}: settings = "{other.file.settings}": all rehearsals of a tuning share one settings file'
        if other.lift_path.resolve() != one.lift_path.resolve():
            yield f'{other.path}: lift = "{other.file.lift}": all rehearsals of a tuning share one lift file'


def _unsearchable(plan: Plan, key: str, span: Span | Choices) -> Iterator[str]:
    """Why a key cannot be searched: no number, fixed, out of its range, or held by a rehearsal's own ``[set]``."""
    known = {name: value for name, value in setting_keys(plan.settings).items() if name not in FIXED}
    label = f'{plan.path}: search."{key}"'
    if key not in known:
        yield f"{label}: is no number of the settings file that can be tuned{did_you_mean(key, known)}"
        return
    if len(plan.rehearsals[0].lift.leg) < 2 and key.startswith("levelling."):
        yield f"{label}: a lift with one leg has nothing to level"
    for end in span.of if isinstance(span, Choices) else span:
        yield from _refusal(plan, key, end)
    for scenario in plan.rehearsals:
        if f"settings.{key}" in scenario.file.set:
            yield f'{scenario.path}: [set] "settings.{key}": is searched by {plan.path.name}; take it out of one of the two'


def _refusal(plan: Plan, key: str, value: float) -> list[str]:
    """Complaint if the settings file would not take ``value`` at its range."""
    from pydantic import ValidationError

    try:
        with_settings(plan.settings, {key: value})
    except ValidationError as error:
        first: Any = error.errors(include_url=False)[0]
        if first["type"] != "value_error":
            return [f'{plan.path}: search."{key}": {value:g}: {str(first["msg"]).replace("Input should", "must")}']
    return []
