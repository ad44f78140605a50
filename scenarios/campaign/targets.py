"""What varies: keys of lift, settings and scenario with the value that the files give them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from pydantic import BaseModel

from scenarios.files.campaign import CampaignFile
from scenarios.files.leg import PARTS
from scenarios.files.lines import Path
from scenarios.files.overrides import Change, split_key
from scenarios.files.scenario import Scenario
from scenarios.files.slips import did_you_mean
from scenarios.files.spread import Spread

__all__ = ["Variable", "nominal_of", "variables_of"]

Nominal = float | int | str | None


@dataclass(frozen=True)
class Variable:
    """One thing that varies: where its values go, and what stands there."""

    key: str
    """As in the campaign file."""
    name: str
    """Names the draws; with ``each_leg`` the key of one leg."""
    spread: Spread
    targets: tuple[tuple[str, Nominal], ...]
    """Keys that take the value, with what the files say."""

    @property
    def column(self) -> str:
        """Heading of its column: the key, which ends in the unit, or a factor on it."""
        return f"{self.name}_factor" if self.spread.relative else self.name

    def changes(self, value: float | str) -> Iterator[Change]:
        """Changes that give it a value."""
        for key, nominal in self.targets:
            if isinstance(value, str):
                yield key, value
                continue
            found = value * float(nominal or 0.0) if self.spread.relative else value
            yield key, round(found) if isinstance(nominal, int) else float(found)


def _step(held: Any, piece: str) -> Any:
    """What stands under a piece of a key; raises KeyError with the names that there are."""
    if isinstance(held, BaseModel):
        known = list(type(held).model_fields)
        if piece not in known:
            raise KeyError(did_you_mean(piece, known))
        return getattr(held, piece)
    if isinstance(held, dict):
        if piece not in held:
            raise KeyError(did_you_mean(piece, list(held)))
        return held[piece]
    if isinstance(held, tuple):
        names = [str(getattr(item, "name", i + 1)) for i, item in enumerate(held)]
        if piece in names:
            return held[names.index(piece)]
        if piece.isdigit() and 1 <= int(piece) <= len(held):
            return held[int(piece) - 1]
        raise KeyError(did_you_mean(piece, names))
    raise KeyError("")


def _means_every_leg(key: str) -> bool:
    where, pieces = split_key(key)
    return where == "lift" and len(pieces) > 1 and pieces[0] == "leg" and pieces[1] in PARTS


def nominal_of(scenario: Scenario, key: str) -> list[tuple[str, Nominal]]:
    """Keys that a key means, one for each leg where it means them all, with what stands there.

    Raises
    ------
    KeyError
        If there is no such key; the text goes on from "unknown key".
    TypeError
        If no number or word can stand there.
    """
    where, pieces = split_key(key)
    root: Any = {"lift": scenario.lift, "settings": scenario.settings, "scenario": scenario.file}[where]
    every = [["leg", leg.name, *pieces[1:]] for leg in scenario.lift.leg] if _means_every_leg(key) else [pieces]
    found = []
    for one in every:
        held = root
        for piece in one:
            held = _step(held, piece)
        if isinstance(held, bool) or not (held is None or isinstance(held, int | float | str)):
            raise TypeError(key)
        found.append((".".join([where, *one]), held))
    return found


def _complaint(key: str, spread: Spread, targets: Sequence[tuple[str, Nominal]]) -> str:
    words = any(isinstance(value, str) for value in spread.values or ())
    if any(isinstance(nominal, str) for _, nominal in targets) and not words:
        return ": holds a word; give it a discrete distribution of words"
    if spread.relative and any(not isinstance(nominal, int | float) for _, nominal in targets):
        return ": the files give no number there that a factor could change; leave out relative"
    if spread.each_leg and not _means_every_leg(key):
        return f": each_leg needs a key of every leg, lift.leg.PART.KEY, with {', '.join(PARTS)} for PART"
    return ""


def variables_of(scenario: Scenario, file: CampaignFile) -> tuple[list[Variable], list[tuple[Path, str]]]:
    """What varies in a campaign, and what is wrong with it: path in the campaign file and complaint."""
    made: list[Variable] = []
    bad: list[tuple[Path, str]] = []
    for key, spread in file.vary.items():
        found: list[list[tuple[str, Nominal]]] = []
        for one in (key, *spread.also):
            label = f'vary."{key}"' + ("" if one == key else f': also "{one}"')
            try:
                found.append(nominal_of(scenario, one))
                told = _complaint(one, spread, found[-1])
            except KeyError as error:
                told = f": unknown key{error.args[0]}"
            except TypeError:
                told = ": is no number"
            bad += [(("vary", key), label + told)] if told else []
        if len(found) == 1 + len(spread.also):
            made += _variables(key, spread, found)
    names = [variable.name for variable in made]
    bad += _double(made)
    for i, group in enumerate(file.correlated):
        unknown = [key for key in group.keys if key not in names]
        bad += [(("correlated", i), f'correlated[{i + 1}].keys: "{key}" does not vary{did_you_mean(key, names)}') for key in unknown]
    return made, bad


def _variables(key: str, spread: Spread, found: Sequence[Sequence[tuple[str, Nominal]]]) -> Iterator[Variable]:
    """One variable, or one for each leg; ``found`` are the targets of each key."""
    if not spread.each_leg:
        yield Variable(key, key, spread, tuple(target for targets in found for target in targets))
        return
    for leg in zip(*found, strict=False):
        yield Variable(key, leg[0][0], spread, leg)


def _double(made: Sequence[Variable]) -> Iterator[tuple[Path, str]]:
    """Keys that take values of two things that vary."""
    taken: dict[str, str] = {}
    for variable in made:
        for target, _ in variable.targets:
            if target in taken:
                yield ("vary", variable.key), f'vary."{variable.key}": {target} varies already by "{taken[target]}"'
            taken[target] = variable.key
