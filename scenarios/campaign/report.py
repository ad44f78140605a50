"""The page of a campaign."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from markupsafe import Markup
from numpy.typing import NDArray

from scenarios.campaign.answers import Answers, LimitAnswer
from scenarios.campaign.folder import Folder
from scenarios.campaign.lines import caution_lines
from scenarios.campaign.rows import MEANING, column_names
from scenarios.campaign.service_answers import ended_words
from scenarios.figure_style import to_svg
from scenarios.figures_campaign import Bar, Spreading, drivers_figure, inputs_figure, service_figure, spread_figure
from scenarios.report import render

if TYPE_CHECKING:
    from matplotlib.figure import Figure

__all__ = ["report_files"]

PANELS, BARS, DOTS = 6, 12, 3000
WORST_SHARE = 0.05


def _closest(answers: Answers) -> list[LimitAnswer]:
    """Limits with a value, that with the smallest margin as a share of itself first."""

    def share(one: LimitAnswer) -> float:
        assert one.worst is not None
        margin = one.limit - one.worst if one.upper else one.worst - one.limit
        return margin / (abs(one.limit) or 1.0)

    return sorted((one for one in answers.limits if one.worst is not None), key=share)


def _inputs(table: NDArray[np.float64], names: tuple[str, ...], one: LimitAnswer) -> Figure:
    """The worst twentieth of the lifts over the two strongest inputs."""
    values = table[:, names.index(one.name)]
    known = np.flatnonzero(np.isfinite(values))
    order = known[np.argsort(-values[known] if one.upper else values[known], kind="stable")]
    worst = order[: max(1, round(WORST_SHARE * len(order)))][: DOTS // 10]
    rest = np.setdiff1d(known, worst)[:DOTS]
    shown = np.concatenate([worst, rest])
    columns = [driver.column for driver in one.drivers[:2]]
    axes = [table[shown, names.index(column)] for column in columns]
    return inputs_figure((axes[0], axes[1]), (columns[0], columns[1]), np.arange(len(shown)) < len(worst))


def report_files(folder: Folder, answers: Answers) -> dict[str, bytes]:
    """The page, by file name; the same bytes for the same campaign."""
    names, table = column_names(folder.plan), folder.table()
    closest = _closest(answers)
    figures: list[tuple[str, str, Figure]] = []
    if closest:
        spreads = []
        for one in closest[:PANELS]:
            values = table[:, names.index(one.name)]
            label = f"{one.name}: lifts over the value{f' [{one.unit}]' if one.unit else ''}, dashed the limit"
            spreads.append(Spreading(label, values[np.isfinite(values)], one.limit))
        figures.append(("spread", "How the values are spread", spread_figure(spreads)))
        for one in closest[:2]:
            bars = [Bar(driver.column, driver.correlation, driver.low, driver.high) for driver in one.drivers[:BARS]]
            if bars:
                figures.append(
                    (f"drivers-{one.name}", f"What {one.name} goes with", drivers_figure(bars, "rank correlation, 95 % interval"))
                )
            if len(one.drivers) > 1:
                title = f"The worst twentieth by {one.name} (crosses) over the two strongest inputs"
                figures.append((f"inputs-{one.name}", title, _inputs(table, names, one)))
    if answers.service is not None:
        title = "Level error since the homing, and wear"
        since = [(float(one.first), one.mean_mm, one.worst_mm) for one in answers.service.since]
        worn = [(one.moves, *one.index, one.wear[1]) for one in answers.service.worn if one.wear[2] > 0.0]
        flag = folder.plan.file.service.flag_permille if folder.plan.file.service else None
        figures.insert(0, ("service", title, service_figure(since, worn, flag)))
    drawn = [(title, Markup(to_svg(figure, name, title))) for name, title, figure in figures]
    meaning = {word.name.lower(): text for word, text in MEANING.items()}
    ended = ended_words(answers.service) if answers.service is not None and answers.service.ended else ""
    lines = caution_lines(answers)
    page = render("campaign.html", answers=answers, figures=drawn, meaning=meaning, lines=lines, plan=folder.plan, ended=ended)
    return {"report.html": page}
