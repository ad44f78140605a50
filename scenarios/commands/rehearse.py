"""``levelrig rehearse``: fly rehearsals, judge them, print the verdicts, write what was asked for."""

from __future__ import annotations

import shlex
import sys
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import click

from scenarios.errors import InputError
from scenarios.rehearsal_order import Order

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from scenarios.collection import Collection, Found
    from scenarios.files import Scenario
    from scenarios.report_folder import ReportFolder
    from scenarios.suite import Task, Told

__all__ = ["command"]


def _load(order: Order, collection: Collection) -> list[tuple[Found, Scenario | list[str]]]:
    """Every scenario file, or what is wrong with it; what is wrong in files that were named is told at once."""
    from scenarios.files import load_scenario
    from scenarios.verdict import require_limits

    loaded: list[tuple[Found, Scenario | list[str]]] = []
    bad: list[str] = []
    for found in collection.found:
        try:
            scenario = load_scenario(Path(found.file), order.sets)
            require_limits(scenario.limits, found.file)
            loaded.append((found, scenario))
        except InputError as error:
            loaded.append((found, error.messages))
            bad += error.messages if found.named else []
    if bad:
        raise InputError(dict.fromkeys(bad))
    if all(isinstance(scenario, list) for _, scenario in loaded):
        raise InputError(dict.fromkeys(message for _, messages in loaded if isinstance(messages, list) for message in messages))
    return loaded


def _announce_compiling(order: Order) -> None:
    from scenarios.cache import is_warm

    if not order.quiet and not is_warm():
        click.echo("Compiling the kernels for this machine, once (about a minute) ...", err=True)


def _tasks(order: Order, loaded: Sequence[tuple[Found, Scenario]], stems: Sequence[str], folders: bool) -> list[Task]:
    from scenarios.report import repeat_command
    from scenarios.suite import Task

    tasks = []
    for (found, scenario), stem in zip(loaded, stems, strict=True):
        seed = scenario.seed if order.seed is None else order.seed
        command = repeat_command((found.file,) if order.source is None else order.words, order.sets, seed, order.clock, str(order.report))
        task = Task(
            scenario=scenario,
            file=found.file,
            label=found.label,
            folder=found.folder,
            seed=order.seed,
            clock=order.clock,
            twin=order.twins,
            keep_trace=order.trace is not None,
            why=order.source is None and (order.why if order.why is not None else not folders),
            stem=stem if order.report is not None else "",
            command=command,
            run=found.run,
        )
        tasks.append(task)
    return tasks


def _fly(order: Order, tasks: Sequence[Task]) -> list[Told]:
    """Fly and judge every task, with a bar on a terminal."""
    from tqdm import tqdm

    from scenarios.suite import fly_tasks

    silent = True if order.quiet or len(tasks) < 2 else None
    flown = fly_tasks(tasks, order.jobs)
    tolds = list(tqdm(flown, total=len(tasks), desc="rehearsals", unit="file", file=sys.stderr, disable=silent, leave=False))
    named = [message for told in tolds for message in told.bad if any(told.file == name for name in order.files)]
    if named:
        raise InputError(named)
    return tolds


def _stems(order: Order, loaded: Iterable[tuple[Found, object]], folders: bool) -> list[str]:
    from scenarios.report import page_stems

    return page_stems([found.label.strip("./").replace("/", "-") if folders else found.file for found, _ in loaded])


def _write_json(target: str, text: str) -> None:
    from scenarios.outputs import write_whole

    if target == "-":
        click.echo(text, nl=False)
    else:
        write_whole(Path(target), text.encode("utf-8"))


def _twin_line(told: Told) -> list[str]:
    if told.twin is None:
        return []
    change = f"  twin {told.twin.key} = {told.twin.value}: "
    return [change + (f"breaks {', '.join(told.twin.broken)}, as it must" if told.twin.as_expected else "; ".join(told.twin.defects))]


def _print_each(order: Order, tolds: Sequence[Told], stems: Sequence[str]) -> None:
    """A verdict with its table for each file that was named."""
    from scenarios.terminal import caution_lines, verdict_lines

    for told in tolds:
        assert told.result is not None
        order.say("\n".join([*verdict_lines(told.result), *_twin_line(told)]) + "\n")
    order.say("\n".join(caution_lines(told.result for told in tolds)))
    if order.report is None:
        order.say(f"For figures, level budget and drive sheet: levelrig rehearse {shlex.join(order.words)} --report DIR")
    else:
        order.say(f"Report: {order.report / ('index.html' if len(stems) > 1 else stems[0] + '.html')}")


def _print_table(order: Order, tolds: Sequence[Told], collection: Collection) -> None:
    """One table of all rehearsals of the folders that were named, and one of the requirements."""
    from scenarios.requirements import requirements
    from scenarios.suite_table import requirement_lines, suite_lines, summary_line
    from scenarios.terminal import caution_lines

    stray = ["", "Not readable:", *(f"  {line}" for line in collection.bad)] if collection.bad else []
    lines = [*suite_lines(tolds), *stray, "", summary_line(tolds, collection.skipped), "", *requirement_lines(requirements(tolds))]
    order.say("\n".join(lines) + "\n")
    order.say("\n".join(caution_lines(told.result for told in tolds)))
    order.say(f"Report: {order.report / 'index.html'}" if order.report else "A page for each, with figures: --report DIR")


def _write(order: Order, tolds: Sequence[Told], collection: Collection, folder: ReportFolder | None) -> None:
    """Report, trace, JUnit XML and JSON, as far as they were asked for."""
    from scenarios.junit import junit_xml
    from scenarios.outputs import write_whole
    from scenarios.requirements import requirements
    from scenarios.suite_json import folder_json, list_json

    required = requirements(tolds)
    if folder is not None:
        from scenarios.report_index import index_file
        from scenarios.suite_table import summary_line

        files = {name: content for told in tolds for name, content in told.page}
        if len(tolds) > 1 or collection.folders:
            summary = summary_line(tolds, collection.skipped) if collection.folders else ""
            files["index.html"] = index_file(tolds, summary, required if collection.folders else (), collection.bad)
        folder.write(files)
    if order.trace is not None and tolds[0].result is not None:
        from scenarios.trace_files import write_trace

        write_trace(order.trace, tolds[0].result.tracks)
    if order.junit is not None:
        write_whole(order.junit, junit_xml(tolds, strict=not collection.folders, stray=collection.bad))
    if order.json is not None:
        text = folder_json(tolds, required, collection.skipped, collection.bad) if collection.folders else list_json(tolds)
        _write_json(order.json, text)


def _prepare_outputs(order: Order, collection: Collection, stems: Sequence[str]) -> ReportFolder | None:
    """Refuse what could not be written, before anything is flown."""
    from scenarios.outputs import check_target
    from scenarios.report import file_names
    from scenarios.report_folder import ReportFolder
    from scenarios.trace_files import check_trace_path

    inputs = [found.file for found in collection.found]
    json = None if order.json in (None, "-") else Path(str(order.json))
    targets = {"--json": json, "--trace": order.trace, "--junit": order.junit}
    taken: dict[Path, str] = {}
    for option, target in targets.items():
        if target is None:
            continue
        check_target(target, inputs)
        other = taken.setdefault(target.resolve(), option)
        if other != option:
            raise InputError([f"{option} {target}: is the file of {other} too; choose another name for one of them"])
    if order.trace is not None:
        if collection.folders or len(inputs) > 1:
            given = "a folder was named" if collection.folders else f"{len(inputs)} were given"
            raise InputError([f"--trace {order.trace}: takes one scenario file at a time, {given}"])
        check_trace_path(order.trace)
    if order.report is None:
        return None
    folder = ReportFolder(order.report)
    folder.check([*file_names(stems), *(["index.html"] if collection.folders else [])])
    return folder


def _code(tolds: Sequence[Told], collection: Collection) -> int:
    if collection.bad or any(told.result is None for told in tolds):
        return 2
    if any(one.beyond for told in tolds for one in told.shrunk):
        return 1
    if collection.folders:
        return 0 if all(told.as_expected for told in tolds) else 1
    passed = all(told.result is not None and told.result.verdict.word == "pass" for told in tolds)
    return 0 if passed and all(told.twin is None or told.twin.as_expected for told in tolds) else 1


def rehearse(order: Order) -> int:
    """Do what ``order`` says; returns the exit code.

    Raises
    ------
    InputError
        Wrong input of any kind in what was named; nothing has been written then.
    """
    from scenarios import cache

    cache.prepare()  # before any import that brings kernels along: a kernel asks for the folder when it is defined
    from scenarios.against import read_earlier
    from scenarios.campaign.replayed_run import Replay, check_run_options
    from scenarios.collection import collect
    from scenarios.suite import Told
    from scenarios.suite_table import against_lines

    earlier = read_earlier(order.against) if order.against is not None else None
    check_run_options(order)
    replay = None if order.source is None else Replay(order, order.source)
    collection = collect(order.files) if replay is None else replay.collection
    loaded = _load(order, collection) if replay is None else replay.loaded
    good = [(found, scenario) for found, scenario in loaded if not isinstance(scenario, list)]
    stems = _stems(order, good, collection.folders)
    folder = _prepare_outputs(order, collection, stems)
    _announce_compiling(order)
    tasks = _tasks(order, good, stems, collection.folders)
    flown = iter(_fly(order, tasks if replay is None else replay.begun(tasks)))
    tolds = [
        Told(found.file, found.label, found.folder, bad=tuple(scenario)) if isinstance(scenario, list) else next(flown)
        for found, scenario in loaded
    ]
    if earlier is not None:
        tolds = [replace(told, shrunk=earlier.shrunk(told.result, order.tolerance) if told.result else ()) for told in tolds]
    _write(order, tolds, collection, folder)
    if collection.folders:
        _print_table(order, tolds, collection)
    else:
        _print_each(order, tolds, stems)
    if replay is not None and tolds[0].result is not None:
        order.say("\n".join(replay.lines(tolds[0].result)))
    if earlier is not None:
        order.say("\n".join(["", *against_lines(tolds, earlier, order.tolerance)]))
    return _code(tolds, collection)


@click.command(name="rehearse")
@click.argument("files", nargs=-1, metavar="FILE|DIR...")
@click.option("--from", "source", type=click.Path(path_type=Path), metavar="CAMPAIGN", help="Folder of a campaign: fly one of its runs.")
@click.option("--run", type=click.IntRange(0), metavar="N", help="With --from: number of the run.")
@click.option("--move", type=click.IntRange(1), metavar="N", help="With --from, of a service run: the move to fly; left out: the worst.")
@click.option(
    "--set", "sets", multiple=True, metavar="KEY=VALUE", help="Change a value: lift.KEY, settings.KEY or a key of the scenario. Repeatable."
)
@click.option("--json", "json_to", metavar="PATH", help="Write the results as JSON; - is standard output.")
@click.option("--report", type=click.Path(path_type=Path), metavar="DIR", help="Write a report with figures into DIR.")
@click.option("--junit", type=click.Path(path_type=Path), metavar="FILE", help="Write the results as JUnit XML.")
@click.option("--twins", is_flag=True, help="Fly the spoiled twin of each rehearsal too; it must break what its [twin] says.")
@click.option(
    "--why/--no-why",
    "why",
    default=None,
    help="Fly a rehearsal with a broken limit again with one cause left out at a time. On for files, off for folders.",
)
@click.option("--against", type=click.Path(path_type=Path), metavar="OLD.json", help="List margins that shrank against an earlier --json.")
@click.option(
    "--tolerance",
    type=click.FloatRange(0.0, 1.0),
    default=0.01,
    show_default=True,
    help="With --against: share of a limit by which its margin may shrink.",
)
@click.option("--seed", type=click.IntRange(0, 2**63 - 1), metavar="N", help="Seed of the random draws instead of the file's.")
@click.option(
    "--clock",
    type=click.Choice(["flat", "event"]),
    default="flat",
    show_default=True,
    help="Compiled loop, or discrete events. Same results.",
)
@click.option("--trace", type=click.Path(path_type=Path), metavar="FILE", help="Write the signals over time as .csv or .parquet.")
@click.option("--jobs", type=click.IntRange(0, 512), default=0, metavar="N", help="Processes; left out: as many as are worth it.")
@click.option("--quiet", is_flag=True, help="Print nothing; the exit code tells.")
@click.pass_context
def command(context: click.Context, /, **options: object) -> None:
    """Fly each scenario FILE, or those in a DIR and below it, judge them by their limits and print the verdicts.

    Exit code 0: every limit kept; in a folder: every rehearsal ended as its file says. 1: a limit is broken or could not be
    judged, a twin does not break what it must, or a margin shrank beyond --tolerance. 2: the input is wrong; a wrong file
    found in a folder is named and the others are flown.
    """
    if not options["files"] and options["source"] is None:
        raise click.UsageError("Missing argument 'FILE|DIR...'.", context)
    options["json"] = options.pop("json_to")
    context.exit(rehearse(Order(**options)))  # type: ignore[arg-type]
