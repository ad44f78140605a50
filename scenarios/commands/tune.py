"""``levelrig tune``: margins, a first guess, a search, and a new settings file with the reasons in it."""

from __future__ import annotations

import sys
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from scenarios.errors import InputError

if TYPE_CHECKING:
    from scenarios.tuning.outcome import Tuned
    from scenarios.tuning.plan import Plan

__all__ = ["command"]


@dataclass(frozen=True)
class Order:
    """What the command line asks for."""

    file: Path
    sets: tuple[str, ...]
    seed: int | None
    jobs: int
    effort: str
    study: str | None
    fresh: bool
    out: Path | None
    header: Path | None
    report: Path | None
    json: str | None
    quiet: bool

    def say(self, text: str) -> None:
        """Print for people: nowhere when quiet, on stderr when stdout carries JSON."""
        if not self.quiet:
            click.echo(text, err=self.json == "-")


def _check_outputs(order: Order, plan: Plan, out: Path) -> None:
    """Refuse what could not be written, before anything is flown."""
    from scenarios.outputs import check_target
    from scenarios.report_folder import ReportFolder
    from scenarios.tuning.report import file_names

    inputs = [str(order.file), str(plan.settings_path), *(str(one.path) for one in plan.rehearsals), str(plan.rehearsals[0].lift_path)]
    targets = [out, *([order.header] if order.header else []), *([Path(order.json)] if order.json not in (None, "-") else [])]
    if len({target.resolve() for target in targets}) < len(targets):
        raise InputError(["--out, --header and --json: name different files"])
    for target in targets:
        check_target(target, inputs)
    if out.exists():
        raise InputError([f"{out}: exists; a tuned settings file never replaces another, choose a new name"])
    if order.report is not None:
        ReportFolder(order.report).check(file_names(order.file.stem))


def _search(order: Order, plan: Plan) -> Tuned:
    """Tune, with a bar on a terminal; what was found so far stays on disk until the end."""
    from tqdm import tqdm

    from scenarios.tuning.archive import Archive, fingerprint
    from scenarios.tuning.run import EFFORTS, steps_of, tune
    from scenarios.tuning.workers import Crew

    effort = EFFORTS[order.effort]
    state = order.file.with_name(f".{order.file.stem}.tune-state.json")
    if order.fresh:
        state.unlink(missing_ok=True)
    archive = Archive(state, fingerprint(plan))
    if archive.resumed:
        order.say(f"Going on from {archive.resumed} findings in {state} (--fresh starts anew).")
    silent = True if order.quiet else None
    with (
        Crew(plan, order.jobs) as crew,
        tqdm(total=steps_of(plan, effort), desc="candidates", file=sys.stderr, disable=silent, leave=False) as bar,
    ):

        def advance(number: int) -> None:
            bar.update(number)

        tuned = tune(plan, crew, archive, effort, advance)
    archive.forget()
    return tuned


def _changed(plan: Plan, tuned: Tuned) -> dict[str, float]:
    """Values that the new file has and the old one has not: what was tuned, and what the command line set."""
    given = {key.removeprefix("settings."): value for key, value in plan.changes if key.startswith("settings.")}
    numbers = {key: float(value) for key, value in given.items() if isinstance(value, int | float) and not isinstance(value, bool)}
    return numbers | tuned.best.values


def _write_report(folder: Path, stem: str, plan: Plan, tuned: Tuned) -> None:
    """The page of the tuning, with the loop of the first rehearsal under the tuned settings."""
    from dataclasses import replace

    from scenarios.loop_pictures import loop_pictures
    from scenarios.report_folder import ReportFolder
    from scenarios.tuning.linear import Linear
    from scenarios.tuning.plan import with_settings
    from scenarios.tuning.report import tuning_files

    first = plan.rehearsals[0]
    settings = with_settings(first.settings, tuned.best.values)
    ReportFolder(folder).write(tuning_files(tuned, stem, loop_pictures(replace(first, settings=settings), Linear(plan).span)))


def _write(order: Order, plan: Plan, tuned: Tuned, out: Path) -> None:
    import json

    from scenarios.outputs import write_whole
    from scenarios.tuning.plan import with_settings
    from scenarios.tuning.settings_file import settings_text

    word = "reach" if tuned.ok else "do NOT reach"
    heading = [
        f"Settings tuned by levelrig tune on {plan.path.name}, seed {plan.seed}: they {word} every target.",
        f"The old ones are in {plan.settings_path.name}. Behind each value: what a step higher and a step lower would do.",
        "A simulation, not a safety case: verify on the real machine.",
    ]
    source = f"levelrig tune {plan.path.name}, seed {plan.seed}"
    text = settings_text(plan.settings_path, _changed(plan, tuned), tuned.bounds, heading, source)
    write_whole(out, text.encode("utf-8"))
    if order.header is not None:
        from scenarios.tuning.header import header_text

        about = f"Settings of {plan.rehearsals[0].lift.name} from {out.name}"
        header = header_text(with_settings(plan.settings, tuned.best.values), plan.rehearsals[0].lift, about)
        write_whole(order.header, header.encode("utf-8"))
    if order.report is not None:
        _write_report(order.report, order.file.stem, plan, tuned)
    if order.json is not None:
        told = json.dumps(tuned.as_dict(), indent=1, allow_nan=False, ensure_ascii=False) + "\n"
        if order.json == "-":
            click.echo(told, nl=False)
        else:
            write_whole(Path(order.json), told.encode("utf-8"))


def _study(order: Order) -> int:
    """Fly a study and tell it; no settings are written."""
    import json

    from scenarios.outputs import check_target, write_whole
    from scenarios.report_folder import ReportFolder
    from scenarios.tuning.plan import load_plan
    from scenarios.tuning.studies import STUDIES, study_files

    assert order.study is not None
    if order.out is not None or order.header is not None:
        raise InputError(["--out and --header: a study writes no settings; take --report or --json"])
    sets = order.sets
    if order.study == "pinch" and not any(one.startswith("settings.pinch.") for one in sets):
        sets = (*sets, *_pinch_table(order))
    plan = load_plan(order.file, sets, order.seed)
    stem = f"{order.file.stem}-{order.study}"
    if order.report is not None:
        ReportFolder(order.report).check([f"{stem}.html", f"{stem}.png"])
    if order.json not in (None, "-"):
        check_target(Path(str(order.json)), [str(order.file)])
    study = STUDIES[order.study](plan, order.jobs)
    if order.report is not None:
        ReportFolder(order.report).write(study_files(study, stem))
    if order.json is not None:
        text = json.dumps(study.data, indent=1, ensure_ascii=False, allow_nan=False) + "\n"
        if order.json == "-":
            click.echo(text, nl=False)
        else:
            write_whole(Path(order.json), text.encode("utf-8"))
    order.say("\n".join(study.lines))
    return 0


def _pinch_table(order: Order) -> tuple[str, ...]:
    """What puts a guard into settings that have none."""
    from scenarios.files.guarding import Pinch
    from scenarios.tuning.plan import load_plan

    guarded = load_plan(order.file, order.sets, order.seed).settings.pinch is not None
    return () if guarded else (f"settings.pinch.rise_a={Pinch().rise_a}",)


def tune_file(order: Order) -> int:
    """Tune as ordered; returns the exit code."""
    from dataclasses import replace

    from scenarios.tuning.lines import tuned_lines
    from scenarios.tuning.plan import load_plan
    from scenarios.tuning.settings_file import free_path

    plan = load_plan(order.file, order.sets, order.seed)
    out = order.out or free_path(plan.settings_path)
    _check_outputs(order, plan, out)
    tuned = replace(_search(order, plan), written=str(out))
    _write(order, plan, tuned, out)
    order.say("\n".join(tuned_lines(tuned)))
    return 0 if tuned.ok else 1


@click.command(name="tune")
@click.argument("file", metavar="FILE", type=click.Path(path_type=Path))
@click.option("--set", "sets", metavar="KEY=VALUE", multiple=True, help="Change a value for every rehearsal; repeatable.")
@click.option("--seed", type=click.IntRange(0, 2**63 - 1), metavar="N", help="Seed of the search and of the rehearsals.")
@click.option("--jobs", type=click.IntRange(0, 256), default=0, metavar="N", help="Processes; 0: one for each core.")
@click.option(
    "--effort",
    type=click.Choice(["none", "quick", "normal", "thorough"]),
    default="normal",
    show_default=True,
    help="How long to search; none: the first guess alone.",
)
@click.option(
    "--study",
    type=click.Choice(["laws", "gating", "pinch"]),
    help="Instead of a search: all levelling laws compared, the map of gating windows, or the pinch guard's threshold "
    "against false trips and force.",
)
@click.option("--compare", "study", flag_value="laws", help="The same as --study laws.")
@click.option("--fresh", is_flag=True, help="Do not go on from a search that was broken off.")
@click.option("--out", type=click.Path(path_type=Path), metavar="FILE", help="New settings file; left out: beside the old one.")
@click.option("--header", type=click.Path(path_type=Path), metavar="FILE", help="Write the settings as a C header, fixed point.")
@click.option("--report", type=click.Path(path_type=Path), metavar="DIR", help="Write a page with figures into a folder.")
@click.option("--json", metavar="FILE", help="Write the result for a program; - for standard output.")
@click.option("--quiet", is_flag=True, help="Print nothing; the exit code tells.")
@click.pass_context
def command(context: click.Context, /, **options: Any) -> None:
    """Tune the settings of the lift in FILE, a tuning file or a scenario: margins, first guess, search, proof.

    Exit code 0: every target is reached. 1: a target is not reached. 2: the input is wrong.
    """
    order = Order(**options)
    context.exit(_study(order) if order.study else tune_file(order))
