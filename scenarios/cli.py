"""The command ``levelrig``: knows its commands by name and loads one only when it is called."""

from __future__ import annotations

import os
import sys
from contextlib import suppress
from importlib import import_module
from importlib.metadata import PackageNotFoundError, version
from importlib.util import find_spec
from pathlib import Path
from typing import Any

import click

from scenarios.errors import InputError

__all__ = ["COMMANDS", "cli", "main"]

COMMANDS = {
    "new": "Write a commented starter: one lift, its settings, three rehearsals.",
    "sheet": "Derived figures of a drive, with warnings.",
    "rehearse": "Run rehearsals, judge them, report.",
    "signal": "What the wires carry, and what each detector hears of it.",
    "tune": "Tune the settings: loop margins, gains, search, proof.",
    "campaign": "Fly a rehearsal many times over tolerances; statistics.",
    "schema": "Write JSON Schemas of the files, for an editor.",
}
"""Commands in order of work, with the line that tells what each does."""

ROOMS = ("plant", "sync", "scenarios")


class OrderOfWork(click.Group):
    """A group that lists its commands in order of work and imports a command's module when it is called."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Names in order of work."""
        del ctx
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """The command, from ``scenarios.commands``; None if there is none of that name."""
        del ctx
        if cmd_name not in COMMANDS:
            return None
        command = import_module(f"scenarios.commands.{cmd_name}").command
        assert isinstance(command, click.Command)
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """The list for ``--help``, without importing any command."""
        del ctx
        with formatter.section("Commands, in order of work"):
            formatter.write_dl(list(COMMANDS.items()))


def _version() -> str:
    try:
        return version("levelrig")
    except PackageNotFoundError:
        return "not installed"


@click.group(cls=OrderOfWork, invoke_without_command=True, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(_version(), prog_name="levelrig")
@click.pass_context
def cli(ctx: click.Context) -> None:
    """Bench for paired lifting drives that count commutations: describe the lift, rehearse, judge."""
    if ctx.invoked_subcommand is None:
        click.echo(ctx.get_help())


def _strangers() -> list[str]:
    """Rooms that would be imported from another place than this one."""
    home = Path(__file__).resolve().parent.parent
    strangers = []
    for room in ROOMS:
        spec = find_spec(room)
        found = Path(spec.origin).resolve().parent if spec and spec.origin else None
        if found != home / room:
            strangers.append(
                f"{room}: found in {found or 'no place'}, must be in {home / room}; install levelrig into a virtual environment of its own"
            )
    return strangers


def main(arguments: list[str] | None = None) -> Any:
    """Entry point: run a command; wrong input ends with its messages on stderr and exit code 2.

    Parameters
    ----------
    arguments
        Words after ``levelrig``; None: those of the process.
    """
    # our matrices are small: threads of the linear algebra wait for each other a hundred times longer than they work
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    strangers = _strangers()
    if strangers:
        click.echo("\n".join(strangers), err=True)
        sys.exit(2)
    try:
        return cli.main(args=arguments, prog_name="levelrig")
    except InputError as error:
        click.echo(str(error), err=True)
        sys.exit(2)
    except OSError as error:
        click.echo(f"output: cannot be written ({error.strerror or error})", err=True)
        with suppress(OSError):  # what is still in the buffer has nowhere to go either
            sys.stdout.close()
        sys.exit(2)


if __name__ == "__main__":
    main()
