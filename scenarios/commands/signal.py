"""``levelrig signal``: what the wires of a leg carry, and what each detector makes of it."""

from __future__ import annotations

import json
import shlex
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from scenarios.errors import InputError

if TYPE_CHECKING:
    from scenarios.files.lift import Lift
    from scenarios.files.scenario import Scenario
    from scenarios.report_folder import ReportFolder
    from scenarios.signal_extras import Extras
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
    waveform: Path | None
    influence: bool
    in_loop: bool
    prices: dict[str, float]
    recording: Path | None
    reference: str | None
    full_scale_v: float | None
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


def _write_report(order: Order, study: Study, extras: Extras, folder: ReportFolder) -> None:
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
    folder.write(signal_files(Chapter(study, views, maps, proposal, extras, shlex.join(words))))


def _check_outputs(order: Order) -> ReportFolder | None:
    """Refuse what could not be written, before anything is flown."""
    from scenarios.outputs import check_target
    from scenarios.report_folder import ReportFolder

    targets = [
        one
        for one in (None if order.json in (None, "-") else Path(str(order.json)), order.rates, order.vcd, order.waveform)
        if one is not None
    ]
    for target in targets:
        check_target(target, [str(order.file), *([] if order.recording is None else [str(order.recording)])])
    if len({target.resolve() for target in targets}) < len(targets):
        raise InputError(["--json, --rates, --vcd and --waveform: two of them name one file; choose another name"])
    if order.report is None:
        return None
    from scenarios.signal_report import signal_file_names

    folder = ReportFolder(order.report)
    folder.check(signal_file_names())
    return folder


def _extras(order: Order, study: Study, lift: Lift) -> Extras:
    """Decision table of the counting methods, and the influence table where it is asked for."""
    import sys

    from tqdm import tqdm

    from scenarios.signal_extras import extras_of

    bar = tqdm(desc="influences", unit="row", file=sys.stderr, disable=True if order.quiet or not order.influence else None, leave=False)
    return extras_of(study, lift, order.prices, order.seeds[:2] if order.influence else None, bar.update)


def _tell(order: Order, lines: list[str], data: dict[str, Any]) -> None:
    """Write the result as JSON where it is asked for, and print it."""
    from scenarios.outputs import write_whole

    if order.json is not None:
        text = json.dumps(data, indent=1, allow_nan=False) + "\n"
        if order.json == "-":
            click.echo(text, nl=False)
            return
        write_whole(Path(order.json), text.encode())
    if not order.quiet:
        click.echo("\n".join(lines))


def _listen_to_recording(order: Order, lift: Lift, leg: str) -> None:
    """Hear or score what ``--recording`` names."""
    from scenarios.signal_bench import bench_move
    from scenarios.signal_detectors import setting_of
    from scenarios.signal_recorded import hear_recording, recorded_lines, score_pulses
    from scenarios.signal_recordings import open_recording

    assert order.recording is not None
    if order.recording.suffix.lower() == ".vcd":
        found = score_pulses(order.recording, order.reference)
    else:
        recording = open_recording(order.recording, order.full_scale_v)
        tables = lift.leg[lift.names.index(leg)]
        found = hear_recording(tables, setting_of(tables, bench_move(lift, leg, 1)), recording)
    _tell(order, recorded_lines(found), found)


def _fly_in_loop(order: Order, scenario: Scenario | None) -> None:
    """Fly the scenario with the wires in the loop, and judge it.

    Raises
    ------
    InputError
        If the file is a lift.
    """
    from dataclasses import asdict

    if scenario is None:
        raise InputError([f"--in-loop: {order.file} is a lift; name a scenario"])
    from scenarios.result import as_json, result_of
    from scenarios.signal_loop import fly_in_the_loop, heard_lines
    from scenarios.terminal import CAUTION_LINE, verdict_lines
    from scenarios.wiring import stored_energy

    flight, legs = fly_in_the_loop(scenario, order.detector, order.condition == "worn", order.seed)
    result = result_of(flight, float(stored_energy(flight.rig)), scenario.limits, str(order.file), scenario.sets)
    head = f"heard on the wires by the {order.detector} detector, {order.condition} motors"
    data = {**as_json(result), "heard_by": order.detector, "condition": order.condition, "legs_heard": [asdict(one) for one in legs]}
    _tell(order, [head, *heard_lines(legs), *verdict_lines(result), CAUTION_LINE], data)


def _write_files(order: Order, study: Study) -> None:
    from scenarios.outputs import write_whole

    if order.rates is not None:
        _write_rates(order, study)
    if order.vcd is not None:
        _write_vcd(order, study)
    if order.waveform is not None:
        from scenarios.signal_recorded import simulated_wav

        write_whole(order.waveform, simulated_wav(study.moves[0], order.condition == "worn", order.seed))


def signal(order: Order) -> None:
    """Do what ``order`` says.

    Raises
    ------
    InputError
        Wrong input of any kind; nothing has been written then.
    """
    from scenarios import cache

    cache.prepare()  # before any import that brings kernels along
    from scenarios.signal_note import notes_of
    from scenarios.signal_study import study_lift, study_scenario
    from scenarios.signal_table import extras_lines, study_lines

    folder = _check_outputs(order)
    lift, scenario = _load(order)
    leg = _leg(order, lift)
    if order.recording is not None:
        _listen_to_recording(order, lift, leg)
        return
    if order.in_loop:
        _fly_in_loop(order, scenario)
        return
    study = study_lift(lift, leg, order.seeds) if scenario is None else study_scenario(scenario, leg, order.seeds)
    extras = _extras(order, study, lift)
    _write_files(order, study)
    if folder is not None:
        _write_report(order, study, extras, folder)
    data = {**study.as_dict(), "notes": list(notes_of(study)), **extras.as_dict()}
    _tell(order, [*study_lines(study), "", *extras_lines(extras)], data)


def _prices(words: tuple[str, ...]) -> dict[str, float]:
    """Prices by name.

    Raises
    ------
    InputError
        For a word that is no price.
    """
    from scenarios.signal_prices import PRICED

    found, bad = {}, []
    for word in words:
        name, _, value = word.partition("=")
        try:
            found[name] = float(value)
        except ValueError:
            bad.append(f"--price {word}: must be NAME=VALUE with a number")
            continue
        if name not in PRICED:
            bad.append(f"--price {word}: must be one of {', '.join(PRICED)}")
        elif not 0.0 <= found[name] < 1e6:
            bad.append(f"--price {word}: must be 0 to 1000000")
    if bad:
        raise InputError(bad)
    return found


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
@click.option("--in-loop", is_flag=True, help="Fly a scenario with the controller hearing --detector on the wires, and judge it.")
@click.option(
    "--influence", is_flag=True, help="Sweep supply, load, speed, temperature, cable, parts and more, one at a time. Takes minutes."
)
@click.option(
    "--price", "prices", metavar="NAME=VALUE", multiple=True, help="Price of a wire, connector, part, hall, optical or switch; repeatable."
)
@click.option(
    "--recording", type=click.Path(path_type=Path), metavar="FILE", help="Listen to a captured .csv or .wav, or score a .vcd, instead."
)
@click.option("--full-scale-v", type=click.FloatRange(0.01, 1000), metavar="V", help="Voltage of full scale of a .wav recording.")
@click.option("--reference", metavar="WIRE", help="Wire of a .vcd recording that holds the true commutations.")
@click.option(
    "--waveform", type=click.Path(path_type=Path), metavar="FILE", help="Write the power-off of one move as .wav with a reference."
)
@click.option("--vcd", type=click.Path(path_type=Path), metavar="FILE", help="Write the pulse trains of one move for a wave viewer.")
@click.option(
    "--condition",
    type=click.Choice(["new", "worn"]),
    default="new",
    show_default=True,
    help="Motor of --rates, --vcd, --waveform and --in-loop.",
)
@click.option(
    "--detector",
    type=click.Choice(["spikes", "shape", "ripple"]),
    default="spikes",
    show_default=True,
    help="Detector of --rates and --in-loop.",
)
@click.option("--json", "json_to", metavar="PATH", help="Write the scores as JSON; - writes them to standard output instead of the table.")
@click.option("--quiet", is_flag=True, help="Print nothing; wrong input is still told.")
def command(**options: object) -> None:
    """What the detectors of a leg hear on the motor wires, new and worn.

    FILE is a lift: a built-in bench move is flown both ways (start, run, load step, power cut, coast), and one that
    is reversed in mid-turn and braked.  Or a scenario: it is flown as it stands.
    """
    options["json"] = options.pop("json_to")
    options["prices"] = _prices(options["prices"])  # type: ignore[arg-type]
    signal(Order(**options))  # type: ignore[arg-type]
