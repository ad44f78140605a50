"""``levelrig campaign``: fly a rehearsal many times over its tolerances and say what that proves."""

from __future__ import annotations

import sys
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from scenarios.campaign.answers import Answers
    from scenarios.campaign.engine import Engine
    from scenarios.campaign.folder import Folder
    from scenarios.campaign.plan import Plan

__all__ = ["command"]


@dataclass(frozen=True)
class Order:
    """What the command line asks for."""

    file: Path
    sets: tuple[str, ...]
    lifts: int | None
    seed: int | None
    jobs: int
    batch: int | None
    folder: Path | None
    json: str | None
    quiet: bool
    edge: str | None = None
    engine: str = "cores"
    scheduler: str | None = None

    def say(self, text: str) -> None:
        """Print for people: nowhere when quiet, on stderr when stdout carries JSON."""
        if not self.quiet:
            click.echo(text, err=self.json == "-")


def _fly(order: Order, plan: Plan, folder: Folder, engine: Engine) -> None:
    """Fly what is left, with a bar and the running estimate on a terminal."""
    from tqdm import tqdm

    from scenarios.campaign.rows import Outcome
    from scenarios.campaign.run import fly_campaign
    from scenarios.campaign.statistics import exact_interval

    started = sum(batch.last - batch.first for batch in folder.batches if batch.number in folder.done)
    if started:
        order.say(f"Going on: {started} of {plan.file.lifts} lifts are in {folder.path} already.")
    flown, passed = 0, 0
    with tqdm(
        total=plan.file.lifts,
        initial=started,
        desc="lifts",
        unit="lift",
        file=sys.stderr,
        disable=True if order.quiet else None,
        leave=False,
    ) as bar:

        def tick(table: NDArray[np.float64]) -> None:
            nonlocal flown, passed
            flown += len(table)
            passed += int((table[:, 1] == Outcome.PASS).sum())
            ends = exact_interval(passed, flown, plan.file.confidence)
            bar.set_postfix_str(f"pass {100 * ends.low:.1f} to {100 * ends.high:.1f} %", refresh=False)
            bar.update(len(table))

        fly_campaign(folder, engine, tick)


def _write(order: Order, folder: Folder, answers: Answers) -> None:
    """Table, answers and page into the folder, and the JSON that was asked for."""
    import json

    from scenarios.campaign.report import report_files
    from scenarios.campaign.run import write_table
    from scenarios.outputs import write_whole

    write_table(folder)
    text = json.dumps(answers.as_dict(), indent=1, allow_nan=False, ensure_ascii=False) + "\n"
    for name, content in {"answers.json": text.encode(), **report_files(folder, answers)}.items():
        write_whole(folder.path / name, content)
    if order.json == "-":
        click.echo(text, nl=False)
    elif order.json is not None:
        write_whole(Path(order.json), text.encode())


def _find_edges(order: Order, key: str) -> int:
    """How far one number of the rehearsal may go."""
    import json
    from dataclasses import asdict

    from scenarios.campaign.edge import edge_lines, find_edges
    from scenarios.campaign.plan import load_plan
    from scenarios.files.overrides import collected
    from scenarios.files.reading import kind_of
    from scenarios.outputs import write_whole

    path, sets = order.file, tuple(collected(order.sets))
    if kind_of(order.file) != "scenario":
        plan = load_plan(order.file, order.sets)
        path, sets = plan.nominal.path, plan.changes
    nominal, edges = find_edges(path, sets, key)
    order.say("\n".join(edge_lines(key, nominal, edges)))
    if order.json is not None:
        told = {"key": key, "nominal": nominal, "edges": [asdict(edge) for edge in edges]}
        text = json.dumps(told, indent=1, allow_nan=False, ensure_ascii=False) + "\n"
        if order.json == "-":
            click.echo(text, nl=False)
        else:
            write_whole(Path(order.json), text.encode())
    return 0


def campaign(order: Order) -> int:
    """Do what ``order`` says; returns the exit code.

    Raises
    ------
    InputError
        Wrong input of any kind, or a folder that holds another campaign or cannot be written.
    """
    from scenarios import cache

    cache.prepare()
    if order.edge is not None:
        return _find_edges(order, order.edge)
    from scenarios.campaign.plan import load_plan
    from scenarios.campaign.statistics import claim_of_plan
    from scenarios.outputs import check_target
    from scenarios.verdict import require_limits

    plan = load_plan(order.file, order.sets, order.lifts, order.seed)
    require_limits(plan.nominal.limits, str(plan.nominal.path))
    if order.json not in (None, "-"):
        check_target(Path(str(order.json)), [str(order.file), str(plan.nominal.path)])
    from scenarios.campaign.engines import engine_of
    from scenarios.campaign.folder import Folder
    from scenarios.runner import fly

    engine = engine_of(order.engine, plan, order.jobs, order.scheduler)  # refused before a folder is made

    folder = Folder(order.folder or Path(f"{order.file.stem}-lifts"), plan, order.batch)
    if not plan.sampler.combined and plan.file.rare is None:
        order.say(claim_of_plan(plan.file.lifts, plan.file.confidence) + ".")
    if not order.quiet and not cache.is_warm():
        click.echo("Compiling the kernels for this machine, once (about a minute) ...", err=True)
    if len(folder.done) < len(folder.batches):
        fly(plan.nominal)  # the workers then find the kernels compiled
        _fly(order, plan, folder, engine)
    return _tell(order, folder)


def _tell(order: Order, folder: Folder) -> int:
    from scenarios.campaign.answers import answers_of
    from scenarios.campaign.lines import answer_lines, caution_lines, replay_line

    answers = answers_of(folder)
    _write(order, folder, answers)
    order.say("\n".join(["", *answer_lines(answers), ""]))
    order.say("\n".join(caution_lines(answers)))
    order.say(f"Report: {folder.path / 'report.html'}; rows: {folder.path / 'table.csv'}")
    order.say(replay_line(answers, str(folder.path)))
    return 0 if answers.passed else 1


@click.command(name="campaign")
@click.argument("file", type=click.Path(path_type=Path), metavar="FILE")
@click.option("--set", "sets", multiple=True, metavar="KEY=VALUE", help="Change a value for every lift. Repeatable.")
@click.option("--lifts", type=click.IntRange(1, 100_000_000), metavar="N", help="How many lifts, instead of the file's.")
@click.option("--seed", type=click.IntRange(0, 2**63 - 1), metavar="N", help="Seed of all draws instead of the file's.")
@click.option("--jobs", type=click.IntRange(0, 512), default=0, metavar="N", help="Processes; left out: as many as there are cores.")
@click.option("--batch", type=click.IntRange(1, 100_000), metavar="N", help="Lifts a file; changes no result.")
@click.option("--folder", type=click.Path(path_type=Path), metavar="DIR", help="Where the campaign is kept; left out: NAME-lifts, here.")
@click.option("--engine", type=click.Choice(["cores", "cuda", "cluster"]), default="cores", help="Who flies; changes no result.")
@click.option("--scheduler", metavar="ADDRESS", help="Of a running cluster; left out: a cluster of this machine alone.")
@click.option("--edge", metavar="KEY", help="Only move one number of the rehearsal until a limit breaks. FILE may be a scenario.")
@click.option("--json", metavar="PATH", help="Write the answers as JSON; - is standard output.")
@click.option("--quiet", is_flag=True, help="Print nothing; the exit code tells.")
@click.pass_context
def command(context: click.Context, /, **options: Any) -> None:
    """Fly the rehearsal that the campaign FILE names many times over its tolerances; the same command goes on from a broken-off one.

    Exit code 0: every lift kept every limit. 1: one did not. 2: the input is wrong, or the folder holds another campaign.
    """
    context.exit(campaign(Order(**options)))
