"""``levelrig signal``: what the wires of a leg carry, and what each detector makes of it."""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import click

from scenarios.errors import InputError

if TYPE_CHECKING:
    from scenarios.files.lift import Lift
    from scenarios.files.scenario import Scenario
    from scenarios.signal_study import Study

__all__ = ["command"]


@dataclass(frozen=True)
class Order:
    """What the command line asks for."""

    file: Path
    sets: tuple[str, ...]
    leg: str | None
    moves: int
    seed: int
    json: str | None
    quiet: bool


def _load(order: Order) -> tuple[Lift, Scenario | None]:
    """The lift, and the scenario where the file is one."""
    from scenarios.files import load_lift, load_scenario
    from scenarios.files.reading import kind_of

    if kind_of(order.file) == "scenario":
        scenario = load_scenario(order.file, order.sets)
        return scenario.lift, scenario
    return load_lift(order.file, order.sets), None


def _leg(order: Order, lift: Lift) -> str:
    """The leg asked for, or the first.

    Raises
    ------
    InputError
        If the lift has no such leg.
    """
    if order.leg is None:
        return lift.names[0]
    if order.leg not in lift.names:
        raise InputError([f"--leg {order.leg}: {lift.name} has the legs {', '.join(lift.names)}"])
    return order.leg


def _study(order: Order, lift: Lift, scenario: Scenario | None, leg: str) -> Study:
    from scenarios.signal_study import study_lift, study_scenario

    seeds = range(order.seed, order.seed + order.moves)
    return study_lift(lift, leg, seeds) if scenario is None else study_scenario(scenario, leg, seeds)


def signal(order: Order) -> None:
    """Do what ``order`` says.

    Raises
    ------
    InputError
        Wrong input of any kind; nothing has been written then.
    """
    from scenarios import cache

    cache.prepare()  # before any import that brings kernels along
    from scenarios.outputs import check_target, write_whole
    from scenarios.signal_table import study_lines

    if order.json not in (None, "-"):
        check_target(Path(str(order.json)), [str(order.file)])
    lift, scenario = _load(order)
    study = _study(order, lift, scenario, _leg(order, lift))
    if order.json is not None:
        text = json.dumps(study.as_dict(), indent=1, allow_nan=False) + "\n"
        if order.json == "-":
            click.echo(text, nl=False)
            return
        write_whole(Path(order.json), text.encode())
    if not order.quiet:
        click.echo("\n".join(study_lines(study)))


@click.command(name="signal")
@click.argument("file", metavar="FILE", type=click.Path(path_type=Path))
@click.option("--set", "sets", metavar="KEY=VALUE", multiple=True, help="Change a value, e.g. lift.every_leg.wires.cable_m=15; repeatable.")
@click.option("--leg", metavar="NAME", help="Leg to listen to; left out: the first.")
@click.option(
    "--moves", metavar="N", type=click.IntRange(1, 1000), default=5, show_default=True, help="Moves a case, other sparks in each."
)
@click.option("--seed", metavar="N", type=click.IntRange(0, 2**62), default=1, show_default=True, help="Seed of the first move's sparks.")
@click.option("--json", "json_to", metavar="PATH", help="Write the scores as JSON; - writes them to standard output instead of the table.")
@click.option("--quiet", is_flag=True, help="Print nothing; wrong input is still told.")
def command(**options: object) -> None:
    """What the detectors of a leg hear on the motor wires, new and worn.

    FILE is a lift: a built-in bench move is flown both ways (start, run, load step, power cut, coast).  Or a scenario: it
    is flown as it stands.
    """
    options["json"] = options.pop("json_to")
    signal(Order(**options))  # type: ignore[arg-type]
