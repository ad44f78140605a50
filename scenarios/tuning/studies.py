"""The studies beside the search: all laws, the gating map, the pinch guard's threshold; each as lines, data and figure."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from scenarios.tuning.outcome import finite
from scenarios.tuning.plan import Plan
from scenarios.tuning.workers import Crew

if TYPE_CHECKING:
    from matplotlib.figure import Figure

__all__ = ["STUDIES", "Study", "study_files"]


@dataclass(frozen=True)
class Study:
    """What a study found: its title, lines for a terminal, data for JSON, and what draws it."""

    title: str
    lines: list[str]
    data: Any
    draw: Callable[[], Figure]


def _laws(plan: Plan, jobs: int) -> Study:
    from scenarios.tuning.laws import compare_laws, law_lines

    del jobs
    rows = compare_laws(plan)

    def draw() -> Figure:
        from scenarios.figures_tune import laws_figure

        return laws_figure([(row.law, row.peak, row.after, row.weak.peak) for row in rows])

    return Study("Levelling laws compared", law_lines(plan, rows), finite([row.as_dict() for row in rows]), draw)


def _gating(plan: Plan, jobs: int) -> Study:
    from scenarios.tuning.gating import gating_lines, gating_map

    del jobs
    points = gating_map(plan)

    def draw() -> Figure:
        from scenarios.figures_tune import gating_figure

        return gating_figure([(f"{one.on}/{one.off}", one.switch_offs, one.peak, one.miscounts) for one in points])

    return Study("Gating map", gating_lines(plan, points), finite([one.as_dict() for one in points]), draw)


def _pinch(plan: Plan, jobs: int) -> Study:
    from scenarios.tuning.pinch import STIFFNESS, clean_plan, pinch_curve, pinch_lines

    clean = clean_plan(plan)
    with Crew(clean, jobs) as crew:
        curve = pinch_curve(clean, crew)

    def draw() -> Figure:
        from scenarios.figures_tune import pinch_figure

        forces = {
            f"raising, {one:g} N/mm": [point.raising[k] for point in curve.points if point.raising] for k, one in enumerate(STIFFNESS)
        }
        forces |= {
            f"lowering, {one:g} N/mm": [point.lowering[k] for point in curve.points if point.lowering] for k, one in enumerate(STIFFNESS)
        }
        share = [point.trips / point.flights for point in curve.points]
        return pinch_figure([point.rise for point in curve.points], share, forces, curve.chosen.rise if curve.chosen else None)

    return Study("Threshold of the pinch guard", pinch_lines(clean, curve), finite(curve.as_dict()), draw)


STUDIES: dict[str, Callable[[Plan, int], Study]] = {"laws": _laws, "gating": _gating, "pinch": _pinch}
"""By name: takes the plan and the number of processes."""


def study_files(study: Study, stem: str) -> dict[str, bytes]:
    """HTML page and PNG figure of a study, by file name."""
    from markupsafe import Markup

    from scenarios.figure_style import to_png, to_svg
    from scenarios.report import render

    figure = study.draw()
    page = render("study.html", study=study, figure=Markup(to_svg(figure, "study", study.title)))
    return {f"{stem}.html": page, f"{stem}.png": to_png(figure)}
