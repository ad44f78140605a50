"""The report of ``levelrig signal``: one self-contained page with the waveform, the stages, scores, maps and parts."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from markupsafe import Markup

from scenarios.figure_style import to_png, to_svg
from scenarios.report import render
from scenarios.signal_extras import Extras
from scenarios.signal_figures import View, map_figure, window_figure
from scenarios.signal_maps import Map
from scenarios.signal_note import notes_of
from scenarios.signal_parts import Proposal
from scenarios.signal_study import Study

__all__ = ["Chapter", "signal_file_names", "signal_files"]

WINDOWS = ("commutation", "start", "power-off", "coast-end")
MAPS = ("window-new", "window-worn", "corners")


@dataclass(frozen=True)
class Chapter:
    """Everything that a page shows."""

    study: Study
    views: Sequence[View]
    maps: Sequence[Map]
    proposal: Proposal
    extras: Extras
    command: str


def signal_file_names() -> list[str]:
    """Every file name that a report may need."""
    return ["signal.html", *(f"signal-{name}.png" for name in (*WINDOWS, *MAPS))]


def signal_files(chapter: Chapter) -> dict[str, bytes]:
    """The page and its figures as PNG, by file name."""
    drawn = {name: (view.name, window_figure(view)) for name, view in zip(WINDOWS, chapter.views, strict=True)}
    mapped = {name: (f"{one.labels[1]} against {one.labels[0]}", map_figure(one)) for name, one in zip(MAPS, chapter.maps, strict=True)}
    figures = {**drawn, **mapped}
    files = {f"signal-{name}.png": to_png(figure) for name, (_, figure) in figures.items()}
    inline = {name: Markup(to_svg(figure, name, title)) for name, (title, figure) in figures.items()}
    files["signal.html"] = render(
        "signal.html",
        study=chapter.study,
        notes=notes_of(chapter.study),
        windows=[(view.name, inline[name]) for name, view in zip(WINDOWS, chapter.views, strict=True)],
        maps=[(one, inline[name]) for name, one in zip(MAPS, chapter.maps, strict=True)],
        proposal=chapter.proposal,
        extras=chapter.extras,
        command=chapter.command,
    )
    return files
