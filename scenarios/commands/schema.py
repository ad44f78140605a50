"""``levelrig schema``: JSON Schemas of the files."""

from __future__ import annotations

from pathlib import Path

import click

from scenarios.errors import InputError

__all__ = ["command"]


@click.command(name="schema")
@click.argument("folder", type=click.Path(path_type=Path), default=Path())
@click.option("--quiet", is_flag=True, help="Print nothing.")
def command(folder: Path, quiet: bool) -> None:
    """Write the JSON Schemas of lift, settings and scenario files into FOLDER, for completion in an editor."""
    from scenarios.files.schema import write_schemas

    try:
        written = write_schemas(folder)
    except OSError as error:
        raise InputError([f"{folder}: cannot be written ({error.strerror})"]) from None
    if not quiet:
        for path in written:
            click.echo(path)
