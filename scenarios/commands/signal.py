"""``levelrig signal``: what the wires of a leg carry, and what each detector makes of it."""

from __future__ import annotations

import json
import shlex
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import click

from scenarios.errors import InputError

if TYPE_CHECKING:
    from scenarios.files.lift import Lift
    from scenarios.files.scenario import Scenario
    from scenarios.report_folder import ReportFolder
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
    condition: str
    detector: str
    rates: Path | None
    report: Path | None
    vcd: Path | None
    json: str | None
    quiet: bool

    @property
    def seeds(self) -> range:
        """Seeds of the sparks, one a move."""
        return range(self.seed, self.seed + self.moves)


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


def _write_rates(order: Order, study: Study) -> None:
    from scenarios.outputs import write_whole
    from scenarios.signal_rates import find_rates, rates_text

    assert order.rates is not None
    found = find_rates(study.moves, order.condition, order.detector, study.setting, order.seeds)
    write_whole(order.rates, rates_text(found).encode())


def _write_vcd(order: Order, study: Study) -> None:
    """Pulse trains of the first case with the first seed."""
    import numpy as np

    from scenarios.outputs import write_whole
    from scenarios.signal_detectors import chains
    from scenarios.signal_run import listen, truth
    from scenarios.signal_vcd import vcd_bytes

    assert order.vcd is not None
    flown, condition = study.moves[0], order.condition
    source = flown.source(condition == "worn", order.seed)
    made = chains(flown.leg, study.setting)
    listen(source, list(made.values()))
    mode = flown.bench.history["mode"][:-1]
    rows = np.concatenate(([0], np.flatnonzero(np.diff(mode)) + 1))
    about = f"{study.lift}, leg {study.leg}, {condition} motor, {flown.name}, seed {order.seed}; simulated by levelrig"
    trains = {"true": truth(source), **{name: chain.heard() for name, chain in made.items()}}
    write_whole(order.vcd, vcd_bytes(trains, (1e6 * flown.bench.step * rows, mode[rows]), about))


def _write_report(order: Order, study: Study, folder: ReportFolder) -> None:
    from scenarios.signal_figures import views_of
    from scenarios.signal_maps import corner_map, window_map
    from scenarios.signal_parts import propose
    from scenarios.signal_report import Chapter, signal_files

    flown, seeds = study.moves[-1], order.seeds[:2]
    words = ["levelrig", "signal", str(order.file), *(word for one in order.sets for word in ("--set", one)), "--leg", study.leg]
    words += ["--moves", str(order.moves), "--seed", str(order.seed), "--report", str(order.report)]
    maps = [window_map(flown, condition, study.setting, seeds) for condition in ("new", "worn")]
    maps.append(corner_map(flown, "worn", seeds[:1]))
    proposal = propose(study.moves, "worn", study.setting, seeds)
    views = views_of(study.moves[0], "new", study.setting, order.seed)
    folder.write(signal_files(Chapter(study, views, maps, proposal, shlex.join(words))))


def _check_outputs(order: Order) -> ReportFolder | None:
    """Refuse what could not be written, before anything is flown."""
    from scenarios.outputs import check_target
    from scenarios.report_folder import ReportFolder

    targets = [one for one in (None if order.json in (None, "-") else Path(str(order.json)), order.rates, order.vcd) if one is not None]
    for target in targets:
        check_target(target, [str(order.file)])
    if len({target.resolve() for target in targets}) < len(targets):
        raise InputError(["--json, --rates and --vcd: two of them name one file; choose another name"])
    if order.report is None:
        return None
    from scenarios.signal_report import signal_file_names

    folder = ReportFolder(order.report)
    folder.check(signal_file_names())
    return folder


def signal(order: Order) -> None:
    """Do what ``order`` says.

    Raises
    ------
    InputError
        Wrong input of any kind; nothing has been written then.
    """
    from scenarios import cache

    cache.prepare()  # before any import that brings kernels along
    from scenarios.outputs import write_whole
    from scenarios.signal_note import notes_of
    from scenarios.signal_study import study_lift, study_scenario
    from scenarios.signal_table import study_lines

    folder = _check_outputs(order)
    lift, scenario = _load(order)
    leg = _leg(order, lift)
    study = study_lift(lift, leg, order.seeds) if scenario is None else study_scenario(scenario, leg, order.seeds)
    if order.rates is not None:
        _write_rates(order, study)
    if order.vcd is not None:
        _write_vcd(order, study)
    if folder is not None:
        _write_report(order, study, folder)
    if order.json is not None:
        text = json.dumps({**study.as_dict(), "notes": list(notes_of(study))}, indent=1, allow_nan=False) + "\n"
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
@click.option(
    "--rates", metavar="FILE", type=click.Path(path_type=Path), help="Write miss and false rates by speed and current for a lift file."
)
@click.option("--report", type=click.Path(path_type=Path), metavar="DIR", help="Write a report with waveforms, maps and parts into DIR.")
@click.option("--vcd", type=click.Path(path_type=Path), metavar="FILE", help="Write the pulse trains of one move for a wave viewer.")
@click.option("--condition", type=click.Choice(["new", "worn"]), default="new", show_default=True, help="Motor of --rates and --vcd.")
@click.option(
    "--detector", type=click.Choice(["spikes", "shape", "ripple"]), default="spikes", show_default=True, help="Detector of --rates."
)
@click.option("--json", "json_to", metavar="PATH", help="Write the scores as JSON; - writes them to standard output instead of the table.")
@click.option("--quiet", is_flag=True, help="Print nothing; wrong input is still told.")
def command(**options: object) -> None:
    """What the detectors of a leg hear on the motor wires, new and worn.

    FILE is a lift: a built-in bench move is flown both ways (start, run, load step, power cut, coast).  Or a scenario: it
    is flown as it stands.
    """
    options["json"] = options.pop("json_to")
    signal(Order(**options))  # type: ignore[arg-type]
