"""``levelrig new``: a commented starter."""

from __future__ import annotations

from pathlib import Path

import click

from scenarios.starter_files import KINDS, write_starter

__all__ = ["command"]


@click.command(name="new")
@click.argument("folder", type=click.Path(path_type=Path))
@click.option(
    "--like", type=click.Choice(list(KINDS)), default="worktop", show_default=True, help="Which demonstration lift to start from."
)
@click.option("--quiet", is_flag=True, help="Print nothing.")
def command(folder: Path, like: str, quiet: bool) -> None:
    """Write a commented starter into FOLDER: one lift, its settings, three rehearsals."""
    written = write_starter(folder, like)
    if quiet:
        return
    lift, _, *rehearsals = written
    for path in written:
        note = "   (fails on purpose: no levelling)" if path == rehearsals[-1] else ""
        click.echo(f"wrote {path}{note}")
    click.echo("\nNext:")
    click.echo(f"  levelrig sheet {_quoted(lift)}")
    click.echo(f"  levelrig rehearse {_quoted(rehearsals[0])} --report {_quoted(folder / 'report')}")
    click.echo(f"  levelrig rehearse {_quoted(rehearsals[-1])}      # breaks its level limit, exit code 1")


def _quoted(path: Path) -> str:
    from shlex import quote

    return quote(str(path))
