"""Figure of the force on obstacles over time, with the limits that hold from the touch on drawn as an envelope."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from scenarios.figure_flags import Flag, draw_flags
from scenarios.figure_style import INK, LIMIT, clean, mode_band, new_figure, settle, styled
from scenarios.summary import ContactResult
from scenarios.tracks import Floats, Tracks, thin

__all__ = ["Envelope", "contact_figure", "draw_contact"]

CLOCK_N = 25.0
"""Force [N] from which the clock of an attempt runs, as in ``scenarios.build``."""
GONE_N = 0.5
"""Force below which the deck counts as gone from the obstacle, for the begin of the next attempt [N]."""


@dataclass(frozen=True)
class Envelope:
    """Limits on the force [N], ``None`` where none is stated."""

    peak_n: float | None = None
    late_n: float | None = None
    last_n: float | None = None


def _begins(time: Floats, force: Floats) -> list[float]:
    """When the clock of each attempt begins to run [s]."""
    found: list[float] = []
    pressed = False
    for at, value in zip(time, force, strict=True):
        if not pressed and value > CLOCK_N:
            found.append(float(at))
            pressed = True
        elif value < GONE_N:
            pressed = False
    return found


def _allowed(envelope: Envelope, contact: ContactResult) -> list[tuple[float, float]]:
    """Steps of the envelope: from so long after the touch [s] so much is allowed [N]."""
    steps = ((0.0, envelope.peak_n), (contact.late_after_s, envelope.late_n), (contact.last_after_s, envelope.last_n))
    return [(after, value) for after, value in steps if value is not None]


def draw_contact(axes: Axes, tracks: Tracks, contacts: Sequence[ContactResult], envelope: Envelope) -> None:
    """Force of all obstacles together [N]; the envelope starts anew with each attempt."""
    time, force = tracks.time, tracks.whole("contact_n")
    axes.fill_between(*thin(time, force), color="#e9e8e3", linewidth=0)
    axes.plot(*thin(time, force), color=INK, linewidth=1.3, label="force")
    steps = _allowed(envelope, contacts[0])
    begins = _begins(time, force) if steps else []
    for number, (begin, until) in enumerate(pairwise([*begins, float(time[-1])])):
        now = [(begin + after, value) for after, value in steps if begin + after < until]
        edges = [*(at for at, _ in now), until]
        axes.plot(
            [edge for pair in pairwise(edges) for edge in pair],
            [value for _, value in now for _ in (0, 1)],
            color=LIMIT,
            linewidth=1.2,
            linestyle=(0, (6, 2, 1, 2)),
            label="limit" if number == 0 else None,
        )
    top = max([float(np.nanmax(force)), *(value for _, value in steps)])
    clean(axes, "force between deck and obstacle [N]")
    axes.set_ylim(0.0, 1.12 * max(top, 1.0))
    axes.legend(loc="lower right", bbox_to_anchor=(1.0, 1.0), ncols=2, fontsize=8, frameon=False, borderaxespad=0.1)


def _draw_currents(axes: Axes, tracks: Tracks) -> None:
    """Largest measured current of all legs [A]: what a pinch guard hears of the force."""
    largest = np.max(tracks.legs("measured_current_a"), axis=0)
    axes.plot(*thin(tracks.time, largest), color=INK, linewidth=1.0)
    clean(axes, "largest motor current as measured [A]")


def _window(tracks: Tracks, contacts: Sequence[ContactResult]) -> tuple[float, float]:
    """Time that is shown: from a little before the first touch to the end of the mask [s]."""
    touches = [one.touch_s for one in contacts if one.touch_s is not None]
    time, force = tracks.time, tracks.whole("contact_n")
    pressed = time[force > GONE_N]
    last = float(pressed[-1]) if len(pressed) else float(time[-1])
    begin = min(touches, default=float(time[0]))
    return max(float(time[0]), begin - 0.5), min(float(time[-1]), last + 1.5)


def contact_figure(tracks: Tracks, contacts: Sequence[ContactResult], envelope: Envelope, flags: Sequence[Flag]) -> Figure:
    """Force on the obstacles with its envelope, current and modes around the touches.

    Parameters
    ----------
    tracks
        The trace.
    contacts
        Obstacles, at least one; the times of the envelope are those of the first.
    envelope
        Limits of the rehearsal.
    flags
        What is marked on the time axis.
    """
    begin, end = _window(tracks, contacts)
    shown = Tracks(tracks.values[(tracks.time >= begin) & (tracks.time <= end)], tracks.columns)
    with styled():
        figure, axes = new_figure((2.0, 1.2, 0.26))
        draw_contact(axes[0], shown, contacts, envelope)
        _draw_currents(axes[1], shown)
        mode_band(axes[2], shown)
        draw_flags(axes, [flag for flag in flags if begin <= flag.at_s <= end])
    return settle(figure)
