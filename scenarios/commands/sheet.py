"""``levelrig sheet``: derived figures of one or several drives, side by side, with warnings."""

from __future__ import annotations

from pathlib import Path

import click

__all__ = ["command"]


@click.command(name="sheet")
@click.argument("lifts", metavar="LIFT...", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option(
    "--set",
    "sets",
    metavar="KEY=VALUE",
    multiple=True,
    help="Change a value of the lift files, e.g. lift.every_leg.gear.ratio=8; repeatable.",
)
@click.option(
    "--json", "json_path", metavar="PATH", help="Write the figures as JSON; - writes them to standard output instead of the table."
)
@click.option("--quiet", is_flag=True, help="Print no table; wrong input is still told.")
def command(lifts: tuple[Path, ...], sets: tuple[str, ...], json_path: str | None, quiet: bool) -> None:
    """Derived figures of the drive in each LIFT file: speeds, coast, margins, thrust, supply, heat, strength.

    Every figure comes with its formula and source, and with a warning and a remedy where a margin is thin.
    """
    import json

    from scenarios.errors import InputError
    from scenarios.files import load_lift
    from scenarios.outputs import write_whole
    from scenarios.sheet import derive
    from scenarios.sheet_table import sheet_lines

    wrong: list[str] = []
    loaded = []
    for path in lifts:
        try:
            loaded.append(load_lift(path, sets))
        except InputError as error:
            wrong += error.messages
    if wrong:
        raise InputError(list(dict.fromkeys(wrong)))
    sheets = [derive(lift) for lift in loaded]
    if json_path is not None:
        text = json.dumps([sheet.as_dict() for sheet in sheets], indent=2, allow_nan=False, ensure_ascii=False) + "\n"
        if json_path == "-":
            click.echo(text, nl=False)
            return
        write_whole(Path(json_path), text.encode())
    if not quiet:
        click.echo("\n".join(sheet_lines(sheets)))
