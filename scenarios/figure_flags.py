"""Flags on the time axis: what the script did to the machine, and what the controller told, where the figures show it.

A flag is a thin line through every panel and a sign on the band of modes, so that it is told by shape and not by colour alone.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from matplotlib.axes import Axes

from scenarios.figure_style import FAINT, INK, LIMIT
from scenarios.summary import Event

__all__ = ["FLAG_WORDS", "Flag", "draw_flags", "flags_of"]

MOST = 24
"""Flags of one kind that are drawn; more would hide what they mark."""


@dataclass(frozen=True)
class Flag:
    """One instant [s] and its kind, a key of ``FLAG_WORDS``."""

    at_s: float
    kind: str


FLAG_WORDS = {
    "touch": "open circle: the deck meets an obstacle",
    "pinch": "filled diamond: a pinch is decided",
    "drift": "filled square: drift is told",
    "guard": "cross: another guard acts",
}
"""Kinds of flags and how the caption of a page names their signs."""

_MARKERS = {"touch": "o", "pinch": "D", "drift": "s", "guard": "X"}


def _kind(event: Event) -> str:
    if event.what == "touched":
        return "touch"
    if event.what == "pinched":
        return "pinch"
    if event.what == "drift":
        return "drift"
    guards = event.what == "reason" and not event.word.startswith(("pinch", "drift"))
    return "guard" if guards else ""


def flags_of(events: Iterable[Event]) -> tuple[Flag, ...]:
    """Flags of a log, in its order, at most ``MOST`` of a kind."""
    flags: list[Flag] = []
    for event in events:
        kind = _kind(event)
        if kind and sum(1 for flag in flags if flag.kind == kind) < MOST:
            flags.append(Flag(event.t_s, kind))
    return tuple(flags)


def draw_flags(panels: Sequence[Axes], flags: Sequence[Flag]) -> None:
    """Draw ``flags`` through ``panels``, the last of which is the band of modes; its title makes room for the signs."""
    if flags:
        panels[-1].set_title(panels[-1].get_title(loc="left"), loc="left", fontsize=9, pad=9)
    for flag in flags:
        colour = FAINT if flag.kind == "touch" else LIMIT
        for axes in panels[:-1]:
            axes.axvline(flag.at_s, color=colour, linewidth=0.8, linestyle=(0, (1, 2)), zorder=1)
        panels[-1].plot(
            [flag.at_s],
            [1.0],
            marker=_MARKERS[flag.kind],
            markersize=6,
            markerfacecolor="white" if flag.kind == "touch" else colour,
            markeredgecolor=INK,
            markeredgewidth=0.8,
            linestyle="none",
            clip_on=False,
            zorder=6,
        )
