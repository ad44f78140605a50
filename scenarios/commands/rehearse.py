"""``levelrig rehearse``: fly rehearsals, judge them, print the verdicts, write what was asked for."""

from __future__ import annotations

import json
import shlex
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import click

from scenarios.errors import InputError

if TYPE_CHECKING:
    from scenarios.files import Lift, Scenario
    from scenarios.report_folder import ReportFolder
    from scenarios.result import Result
    from scenarios.sheet import Sheet

__all__ = ["command"]


@dataclass(frozen=True)
class Order:
    """What the command line asks for."""

    files: tuple[str, ...]
    sets: tuple[str, ...]
    seed: int | None
    clock: str
    json: str | None
    report: Path | None
    trace: Path | None
    quiet: bool

    def say(self, text: str) -> None:
        """Print for people: nowhere when quiet, on stderr when stdout carries JSON."""
        if not self.quiet:
            click.echo(text, err=self.json == "-")


def _load(order: Order) -> list[Scenario]:
    """Every scenario file; what is wrong in any of them is told at once."""
    from scenarios.files import load_scenario
    from scenarios.verdict import require_limits

    scenarios, bad = [], []
    for file in order.files:
        try:
            scenario = load_scenario(Path(file), order.sets)
            require_limits(scenario.limits, file)
            scenarios.append(scenario)
        except InputError as error:
            bad += error.messages
    if bad:
        raise InputError(dict.fromkeys(bad))
    return scenarios


def _announce_compiling(order: Order) -> None:
    from scenarios.cache import is_warm

    if not order.quiet and not is_warm():
        click.echo("Compiling the kernels for this machine, once (about a minute) ...", err=True)


def _fly(order: Order, scenarios: list[Scenario]) -> list[Result]:
    """Fly and judge each scenario in turn, with a bar on a terminal."""
    from tqdm import tqdm

    from scenarios.result import result_of
    from scenarios.runner import fly
    from scenarios.wiring import stored_energy

    results, bad = [], []
    with_trace = order.report is not None or order.trace is not None
    bar = tqdm(
        scenarios, desc="rehearsals", unit="file", file=sys.stderr, disable=True if order.quiet or len(scenarios) < 2 else None, leave=False
    )
    for file, scenario in zip(order.files, bar, strict=True):
        flight = fly(scenario, seed=order.seed, clock=order.clock, trace=True)
        try:
            result = result_of(flight, float(stored_energy(flight.rig)), scenario.limits, file, scenario.sets)
        except InputError as error:
            bad += error.messages
            continue
        results.append(result if with_trace else result.without_trace())
    if bad:
        raise InputError(bad)
    return results


def _sheets(scenarios: list[Scenario]) -> list[Sheet]:
    """Drive sheet of each scenario's lift, derived once for lifts that are alike."""
    from scenarios.sheet import derive

    known: list[tuple[Lift, Sheet]] = []
    sheets = []
    for scenario in scenarios:
        found = next((sheet for lift, sheet in known if lift == scenario.lift), None)
        if found is None:
            found = derive(scenario.lift)
            known.append((scenario.lift, found))
        sheets.append(found)
    return sheets


def _write_report(order: Order, folder: ReportFolder, scenarios: list[Scenario], results: list[Result]) -> None:
    from tqdm import tqdm

    from scenarios.assumptions import assumptions, derivations
    from scenarios.report import Page, index_file, page_files, page_stems, repeat_command

    pages = [
        Page(
            stem=stem,
            result=result,
            lift=scenario.lift.name,
            about=scenario.about,
            command=repeat_command(result.file, order.sets, result.seed, result.clock, str(order.report)),
            sheet=sheet,
            assumptions=tuple(assumptions(scenario)),
            derivations=tuple(derivations(scenario)),
        )
        for stem, scenario, result, sheet in zip(page_stems(order.files), scenarios, results, _sheets(scenarios), strict=True)
    ]
    files: dict[str, bytes] = {}
    for page in tqdm(pages, desc="pages", file=sys.stderr, disable=True if order.quiet or len(pages) < 2 else None, leave=False):
        files |= page_files(page)
    if len(pages) > 1:
        files["index.html"] = index_file(pages)
    folder.write(files)


def _write_json(target: str, results: list[Result]) -> None:
    from scenarios.outputs import write_whole
    from scenarios.result import as_json

    text = json.dumps([as_json(result) for result in results], indent=1, allow_nan=False) + "\n"
    if target == "-":
        click.echo(text, nl=False)
    else:
        write_whole(Path(target), text.encode("utf-8"))


def _print(order: Order, results: list[Result]) -> None:
    from scenarios.terminal import CAUTION_LINE, verdict_lines

    for result in results:
        order.say("\n".join(verdict_lines(result)) + "\n")
    order.say(CAUTION_LINE)
    if order.report is None:
        order.say(f"For figures, level budget and drive sheet: levelrig rehearse {shlex.join(order.files)} --report DIR")
    else:
        from scenarios.report import page_stems

        stems = page_stems(order.files)
        order.say(f"Report: {order.report / ('index.html' if len(stems) > 1 else stems[0] + '.html')}")


def _prepare_outputs(order: Order) -> ReportFolder | None:
    """Refuse what could not be written, before anything is flown."""
    from scenarios.outputs import check_target
    from scenarios.report_folder import ReportFolder
    from scenarios.trace_files import check_trace_path

    for target in (None if order.json in (None, "-") else Path(str(order.json)), order.trace):
        if target is not None:
            check_target(target, order.files)
    if order.trace is not None:
        if order.json not in (None, "-") and Path(str(order.json)).resolve() == order.trace.resolve():
            raise InputError([f"--trace {order.trace}: is the file of --json too; choose another name for one of them"])
        if len(order.files) > 1:
            raise InputError([f"--trace {order.trace}: takes one scenario file at a time, {len(order.files)} were given"])
        check_trace_path(order.trace)
    if order.report is None:
        return None
    from scenarios.report import file_names, page_stems

    folder = ReportFolder(order.report)
    folder.check(file_names(page_stems(order.files)))
    return folder


def rehearse(order: Order) -> int:
    """Do what ``order`` says; returns the exit code: 0 all pass, 1 a limit is broken or could not be judged.

    Raises
    ------
    InputError
        Wrong input of any kind; nothing has been written then.
    """
    from scenarios import cache

    cache.prepare()  # before any import that brings kernels along: a kernel asks for the folder when it is defined
    from scenarios.trace_files import write_trace

    scenarios = _load(order)
    folder = _prepare_outputs(order)
    _announce_compiling(order)
    results = _fly(order, scenarios)
    if folder is not None:
        _write_report(order, folder, scenarios, results)
    if order.trace is not None:
        write_trace(order.trace, results[0].tracks)
    if order.json is not None:
        _write_json(order.json, results)
    _print(order, results)
    return 0 if all(result.verdict.word == "pass" for result in results) else 1


@click.command(name="rehearse")
@click.argument("files", nargs=-1, required=True, metavar="FILE...")
@click.option(
    "--set", "sets", multiple=True, metavar="KEY=VALUE", help="Change a value: lift.KEY, settings.KEY or a key of the scenario. Repeatable."
)
@click.option("--json", "json_to", metavar="PATH", help="Write the results as JSON; - is standard output.")
@click.option("--report", type=click.Path(path_type=Path), metavar="DIR", help="Write a report with figures into DIR.")
@click.option("--seed", type=click.IntRange(0, 2**63 - 1), metavar="N", help="Seed of the random draws instead of the file's.")
@click.option(
    "--clock",
    type=click.Choice(["flat", "event"]),
    default="flat",
    show_default=True,
    help="Compiled loop, or discrete events. Same results.",
)
@click.option("--trace", type=click.Path(path_type=Path), metavar="FILE", help="Write the signals over time as .csv or .parquet.")
@click.option("--quiet", is_flag=True, help="Print nothing; the exit code tells.")
@click.pass_context
def command(context: click.Context, /, **options: object) -> None:
    """Fly each scenario FILE, judge it by its limits and print the verdict.

    Exit code 0: every limit kept. 1: a limit is broken or could not be judged. 2: the input is wrong.
    """
    options["json"] = options.pop("json_to")
    context.exit(rehearse(Order(**options)))  # type: ignore[arg-type]
