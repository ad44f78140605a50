"""The report of a tuning: one self-contained HTML page with its figures."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from markupsafe import Markup

from scenarios.figure_style import to_png, to_svg
from scenarios.figures_tune import Point, Share, pareto_figure, shares_figure
from scenarios.report import render
from scenarios.tuning.judging import Check, Judgement
from scenarios.tuning.outcome import Tuned

if TYPE_CHECKING:
    from matplotlib.figure import Figure

__all__ = ["file_names", "tuning_files"]

_TITLES = {"pareto": "Level error against travel time and switch-offs", "targets": "Targets before and after"}


def file_names(stem: str) -> list[str]:
    """Every file that the report of a tuning may write."""
    return [f"{stem}.html", *(f"{stem}-{name}.png" for name in _TITLES)]


def _points(tried: Sequence[Judgement]) -> list[Point]:
    points = []
    for one in tried:
        plain = [cell.outcome for cell in one.cells if cell.corner == one.cells[0].corner]
        level, time = max(outcome.peak for outcome in plain), sum(outcome.time for outcome in plain)
        points.append((level, time, float(sum(outcome.switch_offs for outcome in plain)), one.ok))
    return points


def _shares(before: Judgement, best: Judgement) -> list[Share]:
    found = {check.name: check for check in before.checks}
    return [(check.name, found[check.name].ratio if check.name in found else float("nan"), check.ratio) for check in best.checks]


def _rows(tuned: Tuned) -> list[dict[str, Any]]:
    """Targets with what each of the three settings reaches."""

    def of(judgement: Judgement | None, check: Check) -> Check | None:
        return next((one for one in judgement.checks if one.name == check.name), None) if judgement is not None else None

    return [{"best": check, "before": of(tuned.before, check), "guess": of(tuned.guessed, check)} for check in tuned.best.checks]


def tuning_files(tuned: Tuned, stem: str, more: dict[str, Figure] | None = None) -> dict[str, bytes]:
    """HTML page and PNG figures, by file name.

    Parameters
    ----------
    tuned
        What to tell.
    stem
        File name without ending.
    more
        Further figures by their title, drawn below the others.
    """
    figures = {"pareto": pareto_figure(_points(tuned.tried)), "targets": shares_figure(_shares(tuned.before, tuned.best))}
    files = {f"{stem}-{name}.png": to_png(figure) for name, figure in figures.items()}
    inline = {name: Markup(to_svg(figure, name, _TITLES[name])) for name, figure in figures.items()}
    extra = [(title, Markup(to_svg(figure, f"more{k}", title))) for k, (title, figure) in enumerate((more or {}).items())]
    files[f"{stem}.html"] = render("tuning.html", tuned=tuned, rows=_rows(tuned), figures=inline, more=extra)
    return files
