"""``levelrig sheet``: derived figures of one or several drives, side by side, compared, or over a swept key."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from scenarios.sheet import Sheet

__all__ = ["command"]

Told = tuple[list[str], Any, "Callable[[], Figure] | None"]
"""Lines for the terminal, data for JSON, and what draws the figure."""


def _derived(lifts: Sequence[Path], sets: Sequence[str]) -> list[Sheet]:
    """Sheets of all lifts; all that is wrong in any of them is told at once."""
    from scenarios.errors import InputError
    from scenarios.files import load_lift
    from scenarios.sheet import derive

    wrong: list[str] = []
    loaded = []
    for path in lifts:
        try:
            loaded.append(load_lift(path, sets))
        except InputError as error:
            wrong += error.messages
    if wrong:
        raise InputError(list(dict.fromkeys(wrong)))
    return [derive(lift) for lift in loaded]


def _swept(lifts: Sequence[Path], sets: Sequence[str], sweep: str) -> Told:
    from scenarios.sheet_choice import sweep_lines
    from scenarios.sheet_sweep import parse_sweep, sweep_lift

    order = parse_sweep(sweep)
    done = [sweep_lift(path, order, sets) for path in lifts]
    lines = [line for k, one in enumerate(done) for line in ([""] if k else []) + sweep_lines(one)]

    def draw() -> Figure:
        from scenarios.figures_sheet import sweep_figure

        return sweep_figure(done[0])

    return lines, [one.as_dict() for one in done], draw


def _compared(lifts: Sequence[Path], sets: Sequence[str]) -> Told:
    from scenarios.sheet_choice import compare_lines, comparison

    sheets = _derived(lifts, sets)

    def draw() -> Figure:
        from scenarios.figures_sheet import compare_figure

        return compare_figure(sheets)

    return compare_lines(sheets), comparison(sheets), draw


def _whole(lifts: Sequence[Path], sets: Sequence[str]) -> Told:
    from scenarios.sheet_table import sheet_lines

    sheets = _derived(lifts, sets)
    return sheet_lines(sheets), [sheet.as_dict() for sheet in sheets], None


def _commissioned(lifts: Sequence[Path], sets: Sequence[str], campaign: Path) -> Told:
    from scenarios.campaign.commission import LIFTS, as_dicts, commission_lines, commission_sheet, plan_for

    plan = plan_for(lifts[0], campaign, sets)
    readings = commission_sheet(plan)
    return commission_lines(plan, readings, min(LIFTS, plan.file.lifts)), as_dicts(readings), None


def _check(lifts: Sequence[Path], kinds: tuple[bool, str | None, Path | None], plot: Path | None) -> None:
    """Refuse options that do not go together, before any work; ``kinds``: --compare, --sweep, --commission."""
    from scenarios.errors import InputError
    from scenarios.outputs import check_target

    compare, sweep, commission = kinds
    wrong = ["--compare, --sweep and --commission: one of them at a time"] if sum(map(bool, kinds)) > 1 else []
    wrong += ["--commission: is of one lift; name one"] if commission is not None and len(lifts) > 1 else []
    if compare and len(lifts) < 2:
        wrong.append("--compare: needs two lifts or more")
    if plot is not None and not (compare or sweep):
        wrong.append("--plot: needs --compare or --sweep; the whole sheet has no figure")
    if plot is not None and sweep and len(lifts) > 1:
        wrong.append("--plot: draws the sweep of one lift; name one")
    if plot is not None and plot.suffix not in (".svg", ".png"):
        wrong.append(f"--plot {plot}: the name must end in .svg or .png")
    if wrong:
        raise InputError(wrong)
    if plot is not None:
        check_target(plot, [str(path) for path in lifts])


@click.command(name="sheet")
@click.argument("lifts", metavar="LIFT...", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option(
    "--set",
    "sets",
    metavar="KEY=VALUE",
    multiple=True,
    help="Change a value of the lift files, e.g. lift.every_leg.gear.ratio=8; repeatable.",
)
@click.option("--compare", is_flag=True, help="Only the figures by which drives are chosen, with the change against the first lift.")
@click.option("--sweep", metavar="KEY=LOW:HIGH[:STEPS]", help="The same figures over a key, e.g. leg.spindle.lead_mm=2:6.")
@click.option(
    "--commission",
    type=click.Path(path_type=Path),
    metavar="CAMPAIGN",
    help="What to measure on the first prototype, with windows from lifts of this campaign file or folder.",
)
@click.option("--plot", type=click.Path(path_type=Path), metavar="FILE", help="Draw the comparison or the sweep as .svg or .png.")
@click.option(
    "--json", "json_path", metavar="PATH", help="Write the figures as JSON; - writes them to standard output instead of the table."
)
@click.option("--quiet", is_flag=True, help="Print no table; wrong input is still told.")
@click.pass_context
def command(context: click.Context, /, lifts: tuple[Path, ...], sets: tuple[str, ...], **options: Any) -> None:
    """Derived figures of the drive in each LIFT file: speeds, coast, margins, thrust, supply, heat, strength.

    Every figure comes with its formula and source, and with a warning and a remedy where a margin is thin.
    """
    import json

    del context
    compare, sweep, commission, plot = (options[name] for name in ("compare", "sweep", "commission", "plot"))
    json_path = options["json_path"]
    _check(lifts, (compare, sweep, commission), plot)
    if commission is not None:
        lines, told, draw = _commissioned(lifts, sets, commission)
    else:
        lines, told, draw = _swept(lifts, sets, sweep) if sweep else _compared(lifts, sets) if compare else _whole(lifts, sets)
    if plot is not None and draw is not None:
        _draw(plot, draw)
    if json_path is not None:
        text = json.dumps(told, indent=2, allow_nan=False, ensure_ascii=False) + "\n"
        if json_path == "-":
            click.echo(text, nl=False)
            return
        from scenarios.outputs import write_whole

        write_whole(Path(json_path), text.encode())
    if not options["quiet"]:
        click.echo("\n".join(lines))


def _draw(plot: Path, draw: Callable[[], Figure]) -> None:
    from scenarios.figure_style import to_png, to_svg
    from scenarios.outputs import write_whole

    figure = draw()
    content = to_png(figure) if plot.suffix == ".png" else to_svg(figure, "sheet", "drive sheet").encode()
    write_whole(plot, content)
