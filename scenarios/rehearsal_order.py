"""What the command line of ``levelrig rehearse`` asks for."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import click

__all__ = ["Order"]


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
    junit: Path | None = None
    twins: bool = False
    jobs: int = 0
    why: bool | None = None
    against: Path | None = None
    tolerance: float = 0.01
    source: Path | None = None
    run: int | None = None
    move: int | None = None

    def say(self, text: str) -> None:
        """Print for people: nowhere when quiet, on stderr when stdout carries JSON."""
        if not self.quiet:
            click.echo(text, err=self.json == "-")

    @property
    def words(self) -> tuple[str, ...]:
        """What is flown, as it was named."""
        move = () if self.move is None else ("--move", str(self.move))
        return self.files if self.source is None else ("--from", str(self.source), "--run", str(self.run), *move)
