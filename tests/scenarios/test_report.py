"""The report: complete, self-contained, escaped, repeatable, and never over somebody else's file."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path

import numpy as np
import pytest
from flights import NAMES, hand_flight, hand_rig, hand_trace

from scenarios.errors import InputError
from scenarios.expectation import outcome_of
from scenarios.figure_style import leg_style, plain, to_svg
from scenarios.figures import Marks, counts_figure, heights_figure
from scenarios.happenings import tell_events, tell_row
from scenarios.limits import LIMITS, LimitEntry
from scenarios.report import Page, file_names, page_files, page_stems, repeat_command
from scenarios.report_folder import MANIFEST, ReportFolder
from scenarios.report_index import index_file
from scenarios.report_sheet import sheet_blocks
from scenarios.result import Result, as_json, result_of
from scenarios.rig import Action
from scenarios.sheet import Row, Sheet
from scenarios.suite import Told
from scenarios.tracks import steps, thin

STATED = {"level_moving_mm": 1.0, "level_after_coast_mm": 0.5, "target_error_mm": 1.0, "homing_level_mm": 1.0}
ENTRIES = [LimitEntry(name, limit, LIMITS[name].unit, own=name != "homing_level_mm") for name, limit in STATED.items()]


def hand_result(name: str = "raise by hand") -> Result:
    return result_of(hand_flight(name), -0.2, ENTRIES, "worktop/raise.toml", [("seed", 7)])


def page(name: str = "raise by hand") -> Page:
    return Page("raise", hand_result(name), "worktop", "", "levelrig rehearse worktop/raise.toml", None)


@pytest.fixture(scope="module")
def html() -> str:
    return page_files(page())["raise.html"].decode()


class Loads(HTMLParser):
    """Collects whatever a browser would fetch, and the ids of the page."""

    def __init__(self) -> None:
        super().__init__()
        self.fetched: list[str] = []
        self.ids: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        for key, value in attrs:
            if key in ("src", "href", "xlink:href", "data") and value and not value.startswith(("#", "data:")):
                self.fetched.append(f"{tag} {value}")
            if key == "id" and value:
                self.ids.append(value)


def test_a_report_loads_nothing_from_anywhere(html: str) -> None:
    loads = Loads()
    loads.feed(html)

    assert loads.fetched == []
    assert "@import" not in html
    assert not re.search(r"url\((?!#)", html)


def test_ids_of_all_figures_on_a_page_differ(html: str) -> None:
    loads = Loads()
    loads.feed(html)

    assert len(loads.ids) > 20
    assert len(loads.ids) == len(set(loads.ids))
    assert set(re.findall(r"url\(#([^)]+)\)", html)) <= set(loads.ids)
    assert set(re.findall(r'href="#([^"]+)"', html)) <= set(loads.ids)


def test_a_report_keeps_its_order(html: str) -> None:
    heads = re.findall(r"<h2>([^<]+)</h2>", html)

    assert heads == [
        "Limits",
        "Level budget",
        "Heights",
        "Counts",
        "Current, supply and modes",
        "Deck",
        "Drive sheet",
        "Values without a source",
        "Cautions",
        "To repeat this",
    ]
    assert html.index("1 of 3 evaluated limits broken") < html.index("<h2>Limits</h2>")


def test_a_report_of_the_same_rehearsal_is_the_same_bytes() -> None:
    assert page_files(page()) == page_files(page())


def test_names_from_a_file_are_escaped() -> None:
    text = page_files(page("<script>alert(1)</script>"))["raise.html"].decode()

    assert "<script" not in text
    assert "&lt;script&gt;alert(1)&lt;/script&gt;" in text


def test_leg_names_are_escaped_in_figures_and_never_read_as_mathematics() -> None:
    tracks = hand_trace(("<b>$x", "_right$"))
    svg = to_svg(heights_figure(tracks, Marks()), "h", 'a "title"')

    assert "<b>" not in svg
    assert "&lt;b&gt;$x" in svg
    assert "_right$" in svg
    assert 'aria-label="a &quot;title&quot;"' in svg


def test_sixteen_legs_have_sixteen_styles() -> None:
    styles = {(leg_style(q)["color"], str(leg_style(q)["linestyle"])) for q in range(16)}

    assert len(styles) == 16


def test_a_figure_of_sixteen_legs_is_drawn() -> None:
    names = tuple(f"leg {q}" for q in range(16))

    assert to_svg(counts_figure(hand_trace(names, rows=200)), "c", "counts").count("<svg") == 1
    assert plain("leg 1") == "leg 1"


def test_thinning_keeps_first_last_and_every_peak() -> None:
    time = np.arange(100_000) * 1e-3
    values = np.sin(time)
    values[43_210] = 50.0
    values[77_777] = -50.0
    kept_time, kept = thin(time, values, 1000)

    assert len(kept) <= 1002
    assert (kept.max(), kept.min()) == (50.0, -50.0)
    assert (kept_time[0], kept_time[-1]) == (time[0], time[-1])
    assert np.all(np.diff(kept_time) > 0)


def test_modes_become_stretches_that_cover_the_time_once() -> None:
    stretches = steps(np.arange(6) * 1.0, [2, 2, 3, 3, 4, 2])

    assert stretches == [(0.0, 2.0, 2.0), (2.0, 4.0, 3.0), (4.0, 5.0, 4.0), (5.0, 5.0, 2.0)]


def test_pngs_are_written_beside_the_page() -> None:
    files = page_files(page())

    assert set(files) == set(file_names(["raise"])) - {"raise-contact.png"}  # nothing was in the way
    assert all(content.startswith(b"\x89PNG") for name, content in files.items() if name.endswith(".png"))


def test_a_rehearsal_without_a_trace_still_gives_a_page() -> None:
    bare = replace(hand_result().without_trace(), deck=None)
    files = page_files(replace(page(), result=bare))

    assert set(files) == {"raise.html"}
    assert b"No trace was recorded" in files["raise.html"]


def test_pages_of_equal_file_names_get_different_names() -> None:
    stems = page_stems(["a/raise.toml", "b/raise.toml", "index.toml", "§§.toml", "odd name.toml"])

    assert stems == ["raise", "raise-2", "index-2", "rehearsal", "odd-name"]


def test_the_command_that_repeats_a_rehearsal_survives_the_shell() -> None:
    text = repeat_command(["my lifts/raise.toml"], ["lift.deck.mass_kg=12"], 7, "flat", "out dir")

    assert text == "levelrig rehearse 'my lifts/raise.toml' --set lift.deck.mass_kg=12 --seed 7 --clock flat --report 'out dir'"


def test_an_index_names_every_rehearsal_with_its_verdict() -> None:
    results = [hand_result(name) for name in ("one", "<two>")]
    told = [Told("a.toml", "a.toml", ".", result=one, outcome=outcome_of(one.verdict, ()), stem="raise") for one in results]
    text = index_file(told).decode()

    assert 'href="raise.html">one</a>' in text
    assert "&lt;two&gt;" in text
    assert text.count("FAIL") == 2


def test_the_json_object_has_the_agreed_fields_in_the_agreed_order() -> None:
    told = as_json(hand_result())

    assert list(told)[:12] == [
        "scenario",
        "seed",
        "clock",
        "verdict",
        "simulated_s",
        "wall_s",
        "limits",
        "level",
        "legs",
        "moves",
        "energy",
        "events",
    ]
    assert list(told["limits"][0])[:9] == ["name", "value", "limit", "unit", "margin", "at_s", "leg", "evaluated", "ok"]
    assert list(told["level"]) == ["peak_mm", "rms_mm", "at_cut_mm", "after_coast_mm", "seen_peak_mm", "high_leg", "low_leg"]
    assert list(told["legs"][0])[:12] == [
        "name",
        "height_mm",
        "true_counts",
        "heard_counts",
        "missed",
        "extra",
        "run_speed_mm_s",
        "run_current_a",
        "peak_current_a",
        "coast_s",
        "coast_mm",
        "coast_counts",
    ]
    assert list(told["energy"])[:5] == ["in_j", "heat_j", "work_j", "stored_j", "residual"]
    assert json.loads(json.dumps(told, allow_nan=False)) == told


def test_the_result_reads_the_records_in_report_units() -> None:
    told = as_json(hand_result())
    right = told["legs"][1]

    assert told["level"]["peak_mm"] == pytest.approx(0.6)
    assert (right["height_mm"], right["coast_mm"], right["coast_counts"]) == (pytest.approx(399.3), pytest.approx(2.4), 50)
    assert right["coast_s"] == pytest.approx(0.13)
    assert right["target_error_mm"] == pytest.approx(-0.7)
    assert told["energy"]["heat_j"] == pytest.approx(700.0)
    assert told["energy"]["residual"] == pytest.approx(0.2 / 1000.0)


def test_what_was_not_reached_is_null_and_not_zero() -> None:
    flight = hand_flight()
    score = flight.rig["move"][0][0]
    score["end_us"] = score["last_off_us"] = score["legs"]["still_us"] = 0.0
    told = as_json(result_of(flight, 0.0, [*ENTRIES, LimitEntry("energy_residual", 1.0, "")], "raise.toml"))

    assert told["level"]["after_coast_mm"] is None
    assert told["legs"][0]["coast_mm"] is None
    assert told["legs"][0]["height_mm"] is None
    assert told["verdict"] == "incomplete"


def test_events_read_as_words_with_time_and_leg() -> None:
    events, dropped = tell_events(hand_rig()[0], NAMES)

    assert [(event.t_s, event.leg, event.text) for event in events] == [
        (0.2, None, "moving: The legs run and are held level."),
        (10.0, "right", "switched off"),
    ]
    assert dropped == 0


@pytest.mark.parametrize("action", list(Action))
def test_every_action_of_a_script_has_words(action: Action) -> None:
    script = hand_rig()["script"][0]
    row = script[0]
    row["action"] = action
    row["values"][:4] = (1.0, 0.4, 0.2, 0.0)

    assert tell_row(row, script)
    assert "{" not in tell_row(row, script)


def test_a_report_replaces_what_it_wrote(tmp_path: Path) -> None:
    ReportFolder(tmp_path / "out").write({"a.html": b"one", "b.png": b"two"})
    ReportFolder(tmp_path / "out").write({"a.html": b"three"})

    assert (tmp_path / "out" / "a.html").read_bytes() == b"three"
    assert (tmp_path / "out" / "b.png").read_bytes() == b"two"
    assert {path.name for path in (tmp_path / "out").iterdir()} == {"a.html", "b.png", MANIFEST}


def test_a_report_refuses_a_file_that_somebody_else_wrote(tmp_path: Path) -> None:
    (tmp_path / "a.html").write_text("mine")

    with pytest.raises(InputError, match=r"a.html: exists and was not written by levelrig"):
        ReportFolder(tmp_path).write({"a.html": b"new", "b.html": b"new"})
    assert (tmp_path / "a.html").read_text() == "mine"
    assert not (tmp_path / "b.html").exists()


def test_a_report_refuses_a_page_that_was_edited_since(tmp_path: Path) -> None:
    ReportFolder(tmp_path).write({"a.html": b"one"})
    (tmp_path / "a.html").write_text("one, with my remarks")

    with pytest.raises(InputError, match="was changed since levelrig wrote it"):
        ReportFolder(tmp_path).check(["a.html"])


def test_a_report_that_was_broken_off_can_be_written_again(tmp_path: Path) -> None:
    ReportFolder(tmp_path).write({"a.html": b"one", "b.html": b"one"})
    (tmp_path / "b.html").rename(tmp_path / "kept")
    (tmp_path / "b.html").mkdir()
    with pytest.raises(InputError, match="is a folder"):
        ReportFolder(tmp_path).write({"a.html": b"two", "b.html": b"two"})
    (tmp_path / "b.html").rmdir()
    ReportFolder(tmp_path).write({"a.html": b"two", "b.html": b"two"})

    assert (tmp_path / "b.html").read_bytes() == b"two"


def test_a_list_that_is_not_ours_protects_what_is_there(tmp_path: Path) -> None:
    (tmp_path / MANIFEST).write_text("[1, 2]")
    (tmp_path / "a.html").write_text("mine")

    with pytest.raises(InputError):
        ReportFolder(tmp_path).check(["a.html"])


def test_a_drive_sheet_puts_load_cases_side_by_side_and_tells_each_warning_once() -> None:
    rows = (
        Row("counting", "counts per mm", "1/mm", (19.5,), "c ratio / lead", "arithmetic"),
        Row("running", "coast", "mm", (2.2,), "law", "", "raising"),
        Row("running", "coast", "mm", (7.3,), "law", "", "lowering, light", "long coast", "Brake."),
        Row("running", "coast", "mm", (6.1,), "law", "", "lowering, full", "long coast", "Brake."),
    )
    plain_block, cases = sheet_blocks(Sheet("worktop", ("each leg",), rows))

    assert plain_block.heads == ("each leg",)
    assert cases.heads == ("raising", "lowering, light", "lowering, full")
    assert cases.lines[0].values == (2.2, 7.3, 6.1)
    assert cases.lines[0].warnings == ("lowering, light; lowering, full: long coast. Brake.",)
