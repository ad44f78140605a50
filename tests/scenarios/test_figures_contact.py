"""What a page shows of obstacles: the force with its envelope, signs on the time axis, and the cautions beside them."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from flights import NAMES, hand_flight, hand_trace

from scenarios.figure_flags import FLAG_WORDS, Flag, flags_of
from scenarios.figures_contact import Envelope, contact_figure
from scenarios.limits import LIMITS, LimitEntry
from scenarios.report import Page, page_files
from scenarios.result import Result, as_json, result_of
from scenarios.summary import ContactResult, Event
from scenarios.terminal import caution_lines
from scenarios.tracks import Tracks
from scenarios.verdict import PINCH_CAUTIONS

GAUGE = ContactResult("above (0, 0)", 25.0, 2, 4.0, 300.0, 4.2, 300.0, 0.0, None, 0.0, None, 0.0, 0.75, 5.0)
MASK = Envelope(400.0, 150.0, 25.0)


def pressed() -> Tracks:
    """The raise by hand with 300 N from 4 to 4.5 s and 200 N from 6 s to the end."""
    tracks = hand_trace()
    force = np.where((tracks.time >= 4.0) & (tracks.time < 4.5), 300.0, np.where(tracks.time >= 6.0, 200.0, 0.0))
    values = tracks.values.copy()
    values[:, tracks.columns.index("contact_n")] = force
    return Tracks(values, tracks.columns)


def hand_result(contacts: tuple[ContactResult, ...] = (), events: tuple[Event, ...] = ()) -> Result:
    result = result_of(hand_flight(), -0.2, [LimitEntry("level_moving_mm", 1.0, LIMITS["level_moving_mm"].unit)], "a.toml")
    summary = replace(result.summary, contacts=contacts, events=events)
    return replace(result, summary=summary, tracks=pressed() if contacts else result.tracks)


def test_the_envelope_starts_anew_with_each_attempt_and_steps_down_in_time() -> None:
    axes = contact_figure(pressed(), [GAUGE], MASK, []).axes[0]
    envelopes = [line.get_xydata().tolist() for line in axes.lines if line.get_linestyle() == "-." or line.is_dashed()]

    assert envelopes == [
        [[4.0, 400.0], [4.75, 400.0], [4.75, 150.0], [6.0, 150.0]],
        [[6.0, 400.0], [6.75, 400.0], [6.75, 150.0], [pytest.approx(10.99), 150.0]],
    ]


def test_without_a_stated_limit_no_envelope_is_drawn() -> None:
    axes = contact_figure(pressed(), [GAUGE], Envelope(), []).axes[0]

    assert not any(line.is_dashed() for line in axes.lines)


def test_touches_pinches_drift_and_guards_have_a_sign_each() -> None:
    told = [("touched", ""), ("pinched", "pinched"), ("reason", "pinch-raising"), ("drift", "drift"), ("reason", "stall"), ("mode", "")]
    events = [Event(float(k), what, None, "", 0.0, word) for k, (what, word) in enumerate(told)]

    assert flags_of(events) == (Flag(0.0, "touch"), Flag(1.0, "pinch"), Flag(3.0, "drift"), Flag(4.0, "guard"))
    assert {flag.kind for flag in flags_of(events)} == set(FLAG_WORDS)


def test_the_page_of_a_pinch_carries_table_figure_signs_and_cautions() -> None:
    events = (Event(4.0, "touched", None, "met", 1.0), Event(4.1, "pinched", "left", "pinch", 0.5, "pinched"))
    files = page_files(Page("a", hand_result((GAUGE,), events), "worktop", "", "levelrig", None))
    page = files["a.html"].decode()

    assert "a-contact.png" in files
    assert "Force on obstacles" in page
    assert "300&nbsp;N" in page
    assert all(caution in page for caution in PINCH_CAUTIONS)
    assert FLAG_WORDS["pinch"] in page
    assert FLAG_WORDS["drift"] not in page


def test_a_page_without_obstacle_says_nothing_of_forces() -> None:
    files = page_files(Page("a", hand_result(), "worktop", "", "levelrig", None))

    assert "a-contact.png" not in files
    assert "Force on obstacles" not in files["a.html"].decode()


def test_the_cautions_stand_once_in_the_terminal_and_in_the_json() -> None:
    results = [hand_result((GAUGE,)), hand_result((GAUGE,)), hand_result()]

    assert caution_lines(results)[1:] == list(PINCH_CAUTIONS)
    assert caution_lines([hand_result()])[1:] == []
    assert as_json(results[0])["cautions"] == list(PINCH_CAUTIONS)
    assert as_json(results[2])["cautions"] == []


def test_a_trace_has_the_force_of_every_machine() -> None:
    assert "contact_n" in hand_trace(NAMES).columns
