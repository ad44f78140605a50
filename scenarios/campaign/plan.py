"""What a campaign flies: its file, the texts of every file it names, what varies, and the scenario of each run.

A plan is made of texts alone, which travel to workers and are kept in the campaign's folder: a file that changes while a
campaign runs changes nothing, and any run can be flown again from the folder.
"""

from __future__ import annotations

import os.path
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field, replace
from functools import cached_property
from pathlib import Path
from typing import Any

from scenarios.campaign.draws import RARE, ends_of
from scenarios.campaign.sampling import Sampler
from scenarios.campaign.targets import Variable, variables_of
from scenarios.errors import InputError
from scenarios.files.campaign import CampaignFile
from scenarios.files.faults_counting import CountRates
from scenarios.files.loading import load_scenario, validated
from scenarios.files.overrides import Change, collected, flattened, split_key
from scenarios.files.reading import Source, source_of, text_of
from scenarios.files.scenario import Scenario
from scenarios.files.spread import Spread

__all__ = ["Plan", "Ticket", "load_plan", "restored"]

CHANCES = ("run_miss", "run_double", "run_false")
MOST_CHANCE = 0.95


@dataclass(frozen=True)
class Ticket:
    """All that a plan is made of.

    ``texts`` are the files by their path from the campaign file's folder, ``changes`` what was given beside them.
    """

    path: str
    texts: dict[str, str]
    changes: tuple[Change, ...] = ()
    lifts: int | None = None
    seed: int | None = None


def _copied(held: Any) -> Any:
    """Tables and arrays copied, what is in them shared: a third of the time of copy.deepcopy, and once for every lift."""
    if isinstance(held, dict):
        return {key: _copied(value) for key, value in held.items()}
    return [_copied(value) for value in held] if isinstance(held, list) else held


@dataclass
class Shelf:
    """Files as texts; reads from disk what it does not hold, unless it is closed."""

    base: Path
    texts: dict[str, str] = field(default_factory=dict)
    closed: bool = False
    _parsed: dict[tuple[str, str], Source] = field(default_factory=dict)
    _names: dict[Path, str] = field(default_factory=dict)

    def read(self, path: Path, kind: str) -> Source:
        """A file of a kind, its table free to be changed."""
        if path not in self._names:
            self._names[path] = Path(os.path.normpath(os.path.relpath(path, self.base))).as_posix()
        name = self._names[path]
        if name not in self.texts:
            if self.closed:
                raise InputError([f"{path}: is not among the files of the campaign"])
            self.texts[name] = text_of(path)
        if (name, kind) not in self._parsed:
            self._parsed[name, kind] = source_of(path, self.texts[name], kind)
        kept = self._parsed[name, kind]
        return Source(path, _copied(kept.table), kept.lines)

    def read_bare(self, path: Path, kind: str) -> Source:
        """The same without the spoiled twin, which a campaign does not fly and need not check for every lift."""
        source = self.read(path, kind)
        source.table.pop("twin", None)
        return source


@dataclass(frozen=True)
class Plan:
    """A checked campaign."""

    path: Path
    file: CampaignFile
    shelf: Shelf
    changes: tuple[Change, ...]
    """For every lift: of the campaign file's ``[set]``, then of the command line."""
    nominal: Scenario
    """The rehearsal as in its files."""
    variables: tuple[Variable, ...]
    ticket: Ticket

    @cached_property
    def sampler(self) -> Sampler:
        """What chooses the values."""
        place = {variable.name: i for i, variable in enumerate(self.variables)}
        groups = [(tuple(place[key] for key in group.keys), group.coefficient) for group in self.file.correlated]
        propose = self.file.rare.propose if self.file.rare else {}
        proposals = [propose.get(variable.key, variable.spread) for variable in self.variables]
        return Sampler(self.file, list(place), [variable.spread for variable in self.variables], groups, proposals)

    @cached_property
    def _untouched(self) -> dict[str, tuple[Path, Any]]:
        """Files of which nothing varies, as checked once."""
        nominal = self.nominal
        kept = {"lift": (nominal.lift_path, nominal.lift), "settings": (nominal.settings_path, nominal.settings)}
        for variable in self.variables:
            for key, _ in variable.targets:
                kept.pop(split_key(key)[0], None)
        return kept

    @property
    def columns(self) -> tuple[str, ...]:
        """Names of what varies, as they head the columns of the table."""
        return tuple(variable.column for variable in self.variables)

    def sets(self, values: Iterable[float | str]) -> list[Change]:
        """Changes that give a lift these values of what varies."""
        return [change for variable, value in zip(self.variables, values, strict=True) for change in variable.changes(value)]

    def flown(self, run: int, values: Iterable[float | str]) -> Scenario:
        """The scenario of a run as it is flown: with importance sampling, the chances of its detectors tilted.

        Raises
        ------
        InputError
            If a value is out of its range, or contradicts another.
        """
        asked = self.scenario(values)
        rare = self.file.rare
        if rare is None or self.sampler.untilted(run):
            return asked
        legs = []
        for leg in asked.lift.leg:
            one = leg.detector
            tilted = {name: getattr(one, name) * factor for name, factor in zip(CHANCES, rare.factors, strict=True)}
            if sum(tilted.values()) > MOST_CHANCE:
                raise InputError(
                    [f"rare: leg {leg.name}: the tilted chances add up to {sum(tilted.values()):.3g}, more than {MOST_CHANCE}"]
                )
            legs.append(leg.model_copy(update={"detector": one.model_copy(update=tilted)}))
        return replace(asked, lift=asked.lift.model_copy(update={"leg": tuple(legs)}))

    def log_weight(self, values: Iterable[float | str], rig: Any) -> float:
        """Logarithm of the weight of a lift with these values, flown in ``rig``; see :mod:`scenarios.campaign.rare`."""
        from scenarios.campaign.rare import log_density, log_weight

        rare = self.file.rare
        assert rare is not None
        values = tuple(values)
        ratio = 0.0
        for variable, value in zip(self.variables, values, strict=True):
            if variable.key in rare.propose:
                ratio += log_density(variable.spread, value) - log_density(rare.propose[variable.key], value)
        asked = [leg.detector for leg in self.scenario(values).lift.leg]
        return log_weight(rig, asked, rare.factors, ratio, rare.nominal_share)

    def scenario(self, values: Iterable[float | str]) -> Scenario:
        """The rehearsal with these values of what varies.

        Raises
        ------
        InputError
            If a value is out of its range, or contradicts another.
        """
        sets = [*self.changes, *self.sets(values)]
        moved = load_scenario(self.path.parent / self.file.rehearsal, sets, self.shelf.read_bare, self._untouched)
        return replace(moved, file=moved.file.model_copy(update={"seed": self.file.seed}))


def load_plan(path: Path, sets: Iterable[str | Change] = (), lifts: int | None = None, seed: int | None = None) -> Plan:
    """Read a campaign file with the rehearsal it names, and check both.

    Parameters
    ----------
    path
        The file.
    sets
        Changes for every lift, after those of the campaign file.
    lifts, seed
        Instead of the file's.

    Raises
    ------
    InputError
        With all that is wrong in any of the files.
    """
    given = tuple(collected(sets))
    shelf = Shelf(path.parent)
    return _plan(shelf, Ticket(str(path), shelf.texts, given, lifts, seed))


def restored(ticket: Ticket) -> Plan:
    """The plan of a ticket, from its texts alone."""
    return _plan(Shelf(Path(ticket.path).parent, dict(ticket.texts), closed=True), ticket)


def _plan(shelf: Shelf, ticket: Ticket) -> Plan:
    path = Path(ticket.path)
    source = shelf.read(path, "campaign")
    for key in ("lifts", "seed"):
        if getattr(ticket, key) is not None:
            source.table[key] = getattr(ticket, key)
            source.changed[key,] = f"--{key}"
    _flatten_keys(source.table, "vary")
    if isinstance(source.table.get("rare"), dict):
        _flatten_keys(source.table["rare"], "propose")
    file, bad = validated(source, CampaignFile, source.table)
    if file is None or bad:
        raise InputError(bad)
    changes = (*flattened(file.set).items(), *ticket.changes)
    nominal = load_scenario(path.parent / file.rehearsal, changes, shelf.read)
    variables, found = variables_of(nominal, file)
    plan = Plan(path, file, shelf, changes, nominal, tuple(variables), ticket)
    bad = [f"{source.where(key)}{text}" for key, text in found] or list(_unflyable(plan, source))
    if bad:
        raise InputError(dict.fromkeys(bad))
    return plan


def _flatten_keys(table: dict[str, Any], name: str) -> None:
    """Join the keys of ``[vary]`` that were written without quotes: a table without ``distribution`` is a piece of a key."""
    vary = table.get(name)
    if not isinstance(vary, dict):
        return

    def joined(held: dict[str, Any], before: str) -> Iterator[tuple[str, Any]]:
        for key, value in held.items():
            if isinstance(value, dict) and "distribution" not in value and all(isinstance(one, dict) for one in value.values()) and value:
                yield from joined(value, f"{before}{key}.")
            else:
                yield before + key, value

    table[name] = dict(joined(vary, ""))


def _unserviceable(plan: Plan, source: Source) -> Iterator[str]:
    """Why the moves of the rehearsal cannot be repeated as a service run."""
    service, file = plan.file.service, plan.nominal.file
    if service is None:
        return
    if any(move.to_mm is None and not move.home for move in file.move) or file.move[-1].to_mm is None:
        yield f"{source.where(('service',))}service: {file.name}: every move of it must be to_mm or home, the last one to_mm"
    elif file.start.height_mm is None or file.move[-1].to_mm != file.start.height_mm or not file.start.referenced:
        yield (
            f"{source.where(('service',))}service: {file.name}: must end at the height at which it starts, referenced, so that it can be "
            "repeated; write start.height_mm, and it as to_mm of the last move"
        )
    if service.flag_permille is not None and plan.nominal.settings.plausibility.running != "plausibility":
        yield (
            f"{source.where(('service', 'flag_permille'))}service.flag_permille: the wear index counts the pulses that the controller "
            'corrects: needs plausibility.running = "plausibility" in the settings'
        )


def _untiltable(plan: Plan, source: Source) -> Iterator[str]:
    """Why the chances of the detectors, or a proposal, cannot be flown."""
    rare, where = plan.file.rare, source.where(("rare",))
    if rare is None:
        return
    if rare.factors != (1.0, 1.0, 1.0):
        if any(leg.detector.rates is not None for leg in plan.nominal.lift.leg):
            yield f"{where}rare: the lift takes its chances from a file of rates, which has no run_miss to tilt"
        if any(isinstance(fault, CountRates) for fault in plan.nominal.file.fault):
            yield f"{where}rare: a fault of the rehearsal changes the chances during the move: they cannot be tilted"
        try:
            plan.flown(next(run for run in range(1000) if not plan.sampler.untilted(run)), plan.sampler.values(0, 1)[0])
        except InputError as error:
            yield f"{where}{error.messages[0]}"
    for variable in plan.variables:
        if variable.key in rare.propose:
            yield from _refused(plan, variable, rare.propose[variable.key], f'{where}rare.propose."{variable.key}"')


def _refused(plan: Plan, variable: Variable, spread: Spread, label: str) -> Iterator[str]:
    """The first end of a distribution that the files refuse."""
    base = plan.path.parent / plan.file.rehearsal
    for end in ends_of(spread, RARE):
        try:
            load_scenario(base, [*plan.changes, *variable.changes(end)], plan.shelf.read)
        except InputError as error:
            told = error.messages[0].removeprefix("--set ")
            hint = "; truncate it" if spread.distribution in ("normal", "log-normal") else ""
            shown = f'"{end}"' if isinstance(end, str) else f"{end:g}"
            yield f"{label}: takes the value {shown}: {told}{hint}"
            return


def _unflyable(plan: Plan, source: Source) -> Iterator[str]:
    """Why the campaign cannot be flown: combinations left over, or an end of a distribution that the files refuse."""
    if plan.sampler.combined and plan.file.lifts < plan.sampler.combinations:
        yield (
            f"{source.where(('lifts',))}lifts = {plan.file.lifts}: there are {plan.sampler.combinations} combinations of "
            f"{len(plan.variables)} values; fly that many lifts, or a multiple of it"
        )
    yield from _unserviceable(plan, source)
    yield from _untiltable(plan, source)
    rows, sets = plan.sampler.base, len(plan.variables) + 2
    if plan.file.sampling == "sensitivity" and (rows < 8 or rows & (rows - 1) or rows * sets != plan.file.lifts):
        good = max(8, 1 << max(rows.bit_length() - 1, 0))
        yield (
            f'{source.where(("lifts",))}lifts = {plan.file.lifts}: sampling = "sensitivity" over {len(plan.variables)} values takes a '
            f"power of two, 8 or more, times {sets}; write {good * sets} or {2 * good * sets}"
        )
        return
    for variable in plan.variables:
        yield from _refused(plan, variable, variable.spread, f'{source.where(("vary", variable.key))}vary."{variable.key}"')
