"""The report of a rehearsal: one self-contained HTML page, and its figures as PNG files.

The page loads nothing from anywhere, and the same rehearsal gives the same bytes: no date, no wall clock in it.
Every text from a file is escaped by the template engine; only the figures, drawn here, are passed on as they are.
"""

from __future__ import annotations

import re
import shlex
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from math import isfinite, isnan
from pathlib import Path
from typing import TYPE_CHECKING, Any

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup

from scenarios.deck_drawing import deck_figure
from scenarios.figure_flags import FLAG_WORDS, flags_of
from scenarios.figure_style import to_png, to_svg
from scenarios.figures import Marks, counts_figure, electric_figure, heights_figure
from scenarios.figures_contact import Envelope, contact_figure
from scenarios.report_sheet import sheet_blocks
from scenarios.result import Result, versions
from scenarios.verdict import CAUTIONS, JudgedLimit, number, pinch_cautions

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from scenarios.assumptions import Assumption
    from scenarios.sheet import Sheet

__all__ = ["Page", "file_names", "page_files", "page_stems", "render", "repeat_command"]

_FIGURES = ("heights", "counts", "electric", "contact", "deck")
_TITLES = {
    "heights": "Heights, level error and speed over time",
    "counts": "Counts true against heard over time",
    "electric": "Currents, duty and supply over time",
    "contact": "Force on obstacles over time, with its limits",
    "deck": "The deck at its worst tilt",
}


@dataclass(frozen=True)
class Page:
    """One rehearsal on its way into a report."""

    stem: str
    """File name without ending."""
    result: Result
    lift: str
    about: str
    command: str
    sheet: Sheet | None
    assumptions: tuple[Assumption, ...] = ()
    derivations: tuple[str, ...] = ()


def page_stems(files: Sequence[str]) -> list[str]:
    """File names without ending for the pages of scenario files: safe anywhere, all different, none called index."""
    stems: list[str] = []
    taken = {"index"}
    for file in files:
        base = re.sub(r"[^A-Za-z0-9_-]+", "-", Path(file).stem).strip("-") or "rehearsal"
        stem, count = base, 1
        while stem.lower() in taken:
            count += 1
            stem = f"{base}-{count}"
        taken.add(stem.lower())
        stems.append(stem)
    return stems


def file_names(stems: Sequence[str]) -> list[str]:
    """Every file name that pages of these stems may need, the index included where there are several."""
    names = [f"{stem}.html" for stem in stems]
    names += [f"{stem}-{figure}.png" for stem in stems for figure in _FIGURES]
    return [*names, "index.html"] if len(stems) > 1 else names


def repeat_command(named: Iterable[str], sets: Iterable[str], seed: int, clock: str, folder: str) -> str:
    """Command line that repeats one rehearsal with its report: its file, or words that name it; ``sets`` are ``KEY=VALUE`` as given."""
    words = ["levelrig", "rehearse", *named]
    for one in sets:
        words += ["--set", one]
    words += ["--seed", str(seed), "--clock", clock, "--report", folder]
    return shlex.join(words)


def _marks(result: Result) -> Marks:
    stated = {one.name: one.limit for one in result.verdict.limits}
    return Marks(
        moves=result.summary.moves,
        level_limit_mm=stated.get("level_moving_mm"),
        current_limit_a=stated.get("peak_current_a"),
        supply_limit_v=stated.get("supply_min_v"),
        flags=flags_of(result.summary.events),
    )


def _envelope(result: Result) -> Envelope:
    stated = {one.name: one.limit for one in result.verdict.limits}
    return Envelope(stated.get("pinch_peak_n", stated.get("pinch_reversal_n")), stated.get("pinch_late_n"), stated.get("pinch_last_n"))


def _figures(result: Result) -> dict[str, Figure]:
    if result.tracks.empty:
        return {}
    marks = _marks(result)
    drawn = {
        "heights": heights_figure(result.tracks, marks),
        "counts": counts_figure(result.tracks, marks.flags),
        "electric": electric_figure(result.tracks, marks),
    }
    touched = [contact for contact in result.summary.contacts if contact.attempts > 0]
    if touched:
        drawn["contact"] = contact_figure(result.tracks, touched, _envelope(result), marks.flags)
    if result.deck is not None:
        drawn["deck"] = deck_figure(result.deck)
    return drawn


def _used(one: JudgedLimit) -> float | None:
    """Share of the limit that is used, 0 to 1.25; ``None`` where a bar would mean nothing."""
    if not one.evaluated or one.value is None or not one.upper or one.limit <= 0.0:
        return None
    return min(max(one.value / one.limit, 0.0), 1.25)


def _figure(value: float | None) -> str:
    """Figure of the sheet: infinite is never, not a number or none is not applicable."""
    if value is None or isnan(value):
        return "n/a"
    return number(value) if isfinite(value) else "never"


def _environment() -> Environment:
    environment = Environment(
        loader=FileSystemLoader(Path(__file__).parent / "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.filters["number"] = number
    environment.filters["used"] = _used
    environment.filters["figure"] = _figure
    environment.filters["blocks"] = sheet_blocks
    environment.filters["capitalize_first"] = lambda text: text[:1].upper() + text[1:]
    environment.filters["unit"] = lambda unit: {"degC": "°C", "deg": "°"}.get(unit, unit)
    return environment


def page_files(page: Page) -> dict[str, bytes]:
    """HTML page and PNG figures of one rehearsal, by file name."""
    figures = _figures(page.result)
    files = {f"{page.stem}-{name}.png": to_png(figure) for name, figure in figures.items()}
    inline = {name: Markup(to_svg(figure, f"{name}", _TITLES[name])) for name, figure in figures.items()}
    result = page.result
    files[f"{page.stem}.html"] = render(
        "rehearsal.html",
        page=page,
        result=result,
        run=result.summary,
        verdict=result.verdict,
        figures=inline,
        signs=_signs(result),
        pinch_cautions=pinch_cautions(result.verdict.limits, result.summary),
    )
    return files


def _signs(result: Result) -> list[str]:
    """Words of the caption for the signs that the band of modes carries in this rehearsal."""
    kinds = {flag.kind for flag in flags_of(result.summary.events)}
    return [words for kind, words in FLAG_WORDS.items() if kind in kinds]


def render(template: str, **values: Any) -> bytes:
    """A page from one of the templates, with the cautions and the versions that every page carries."""
    text = _environment().get_template(template).render(cautions=CAUTIONS, versions=versions(), **values)
    return text.encode("utf-8")
