"""How far one number may go: it is moved away from what the files say until a limit breaks, and the place is bisected."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from scenarios import cache

cache.prepare()

from scenarios.campaign.targets import nominal_of  # noqa: E402
from scenarios.errors import InputError  # noqa: E402
from scenarios.files.loading import load_scenario  # noqa: E402
from scenarios.files.overrides import Change  # noqa: E402
from scenarios.files.scenario import Scenario  # noqa: E402
from scenarios.files.slips import did_you_mean  # noqa: E402
from scenarios.result import result_of  # noqa: E402
from scenarios.runner import fly  # noqa: E402
from scenarios.verdict import FAIL, PASS, Verdict, nearest  # noqa: E402
from scenarios.wiring import stored_energy  # noqa: E402

__all__ = ["Edge", "edge_lines", "find_edges"]

STEPS = (1.05, 1.1, 1.2, 1.4, 1.7, 2.0, 3.0, 5.0, 10.0, 30.0, 100.0)
"""Factors tried outwards; downwards their inverses, and at last zero."""
FINE = 1e-3
"""The place is found to this share of the nominal value."""


@dataclass(frozen=True)
class Edge:
    """What was met in one direction."""

    up: bool
    kept: float
    """Furthest value tried at which everything is kept."""
    broken: float | None
    """Nearest value tried at which something is not; None: the files take no value so far, or nothing broke."""
    limit: str
    """The limit that broke first, or what else was met there."""
    why: str = ""
    """Why nothing broke."""


def _judge(scenario: Scenario) -> Verdict:
    flight = fly(scenario)
    return result_of(flight, float(stored_energy(flight.rig)), scenario.limits, str(scenario.path)).verdict


def _met(verdict: Verdict) -> str:
    """Empty where everything is kept, else the limit broken furthest, or the gap."""
    if verdict.word == PASS:
        return ""
    close = nearest(verdict.limits)
    return close.name if verdict.word == FAIL and close is not None else verdict.gaps[0]


def _bisected(met: Callable[[float], str], kept: float, broken: float, fine: float) -> tuple[float, float, str]:
    told = met(broken)
    while abs(broken - kept) > fine:
        middle = 0.5 * (kept + broken)
        found = met(middle)
        if found:
            broken, told = middle, found
        else:
            kept = middle
    return kept, broken, told


def _outwards(met: Callable[[float], str], nominal: float, up: bool) -> Edge:
    kept = nominal
    for factor in (*STEPS, float("inf")):
        value = nominal * factor if up else nominal / factor
        if value in (float("inf"), float("-inf")):
            return Edge(up, kept, None, "", "nothing broke up to a hundred times the value")
        try:
            if not met(value):
                kept = value
                continue
        except InputError as error:
            return Edge(up, kept, None, "", f"the files take no value so far: {error.messages[0].removeprefix('--set ')}")
        return Edge(up, *_bisected(met, kept, value, FINE * abs(nominal)))
    return Edge(up, kept, None, "", "nothing broke down to zero")


def find_edges(path: Path, sets: tuple[Change, ...], key: str) -> tuple[float, list[Edge]]:
    """Value of a key of a rehearsal as the files say, and what is met below and above it.

    Parameters
    ----------
    path
        Scenario file.
    sets
        Changes to begin with.
    key
        Of lift, settings or scenario; one that means every leg moves them all together, by the same factor.

    Raises
    ------
    InputError
        If the key holds no number or zero, or the rehearsal does not pass as it stands.
    """
    scenario = load_scenario(path, sets)
    try:
        targets = nominal_of(scenario, key)
    except KeyError as error:
        raise InputError([f"--edge {key}: unknown key{error.args[0] or did_you_mean(key, [])}"]) from None
    except TypeError:
        targets = []
    numbers = [(name, value) for name, value in targets if isinstance(value, int | float) and value]
    if not targets or len(numbers) < len(targets):
        raise InputError([f"--edge {key}: must be a number other than zero in the files"])
    told = _met(_judge(scenario))
    if told:
        raise InputError([f"{path}: does not pass as it stands ({told}): there is no edge to look for"])
    nominal = float(numbers[0][1])

    def met(value: float) -> str:
        moved = [(name, round(held * value / nominal) if isinstance(held, int) else held * value / nominal) for name, held in numbers]
        return _met(_judge(load_scenario(path, [*sets, *moved])))

    return nominal, [_outwards(met, nominal, up) for up in (False, True)]


def edge_lines(key: str, nominal: float, edges: list[Edge]) -> list[str]:
    """What was met, in words."""
    lines = [f"{key} = {nominal:g} in the files"]
    for edge in edges:
        way = "above" if edge.up else "below"
        if edge.broken is None:
            lines.append(f"  {way}: kept as far as {edge.kept:.5g} ({edge.kept / nominal:.4g} of it); {edge.why}")
        else:
            lines.append(f"  {way}: kept as far as {edge.kept:.5g} ({edge.kept / nominal:.4g} of it); at {edge.broken:.5g}: {edge.limit}")
    return lines
