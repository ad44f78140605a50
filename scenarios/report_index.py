"""The index of a report: every rehearsal with its verdict, the twins, what was skipped, and requirement ids against rehearsals."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from scenarios.report import render

if TYPE_CHECKING:
    from scenarios.requirements import Requirement
    from scenarios.suite import Told

__all__ = ["index_file"]


def index_file(tolds: Sequence[Told], summary: str = "", required: Sequence[Requirement] = (), stray: Sequence[str] = ()) -> bytes:
    """HTML page that lists several rehearsals.

    Parameters
    ----------
    tolds
        What became of each; one without a page is listed without a link.
    summary
        Sentence above the table.
    required
        Requirements, may be none.
    stray
        Messages on files that could not be read.
    """
    return render("index.html", tolds=tolds, summary=summary, required=required, stray=stray)
