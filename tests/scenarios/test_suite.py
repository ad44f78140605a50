"""Folders of rehearsals: what is flown, what is skipped, what counts as expected, and the exit code."""

from __future__ import annotations

import json
import os
import re
import shutil
from pathlib import Path
from typing import Any
from xml.etree import ElementTree as ET

import pytest
from rehearsals import EXAMPLES, without_twin

from scenarios.cli import main
from scenarios.collection import collect
from scenarios.errors import InputError
from scenarios.runner import spread_over_cores

WORKTOP = EXAMPLES / "worktop"

JUNIT = {
    "testsuites": {"name", "time", "tests", "failures", "errors", "disabled"},
    "testsuite": {"name", "tests", "failures", "errors", "skipped", "time", "disabled", "timestamp", "hostname", "id", "package"},
    "testcase": {"name", "classname", "time", "status", "assertions"},
    "failure": {"message", "type"},
    "error": {"message", "type"},
    "skipped": {"message", "type"},
    "system-out": set[str](),
    "system-err": set[str](),
}
"""Elements and attributes of the schema that the readers of such files share (from memory, junit-10.xsd)."""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A folder with the worktop, one rehearsal beside it and one below."""
    home = tmp_path / "lifts"
    (home / "deep" / "er").mkdir(parents=True)
    for name in ("worktop", "settings"):
        shutil.copy(WORKTOP / f"{name}.toml", home)
    (home / "raise.toml").write_text(without_twin((WORKTOP / "raise.toml").read_text()))
    text = without_twin((WORKTOP / "lower.toml").read_text())
    text = text.replace('"worktop.toml"', '"../../worktop.toml"').replace('"settings.toml"', '"../../settings.toml"')
    (home / "deep" / "er" / "lower.toml").write_text(text)
    return home


def add(folder: Path, name: str, old: str = "", new: str = "", like: str = "raise") -> Path:
    """One more rehearsal: a shipped one with a piece of its text replaced."""
    text = without_twin((WORKTOP / f"{like}.toml").read_text())
    assert old in text
    path = folder / f"{name}.toml"
    path.write_text(text.replace(old, new, 1))
    return path


def rehearse(*words: str | Path) -> int:
    with pytest.raises(SystemExit) as ended:
        main(["rehearse", *map(str, words)])
    return int(ended.value.code or 0)


def told(*words: str | Path, to: Path) -> tuple[int, dict[str, Any]]:
    code = rehearse(*words, "--quiet", "--json", to)
    found: dict[str, Any] = json.loads(to.read_text())
    return code, found


def test_a_folder_is_walked_to_its_depth_and_other_kinds_are_counted(folder: Path) -> None:
    (folder / "notes.toml").write_text('title = "mine"\n')
    (folder / ".hidden").mkdir()
    shutil.copy(folder / "raise.toml", folder / ".hidden")
    found = collect([str(folder)])

    assert [one.label for one in found.found] == ["deep/er/lower.toml", "raise.toml"]
    assert found.skipped == (("lift", 1), ("other", 1), ("settings", 1))


def test_a_file_met_twice_is_flown_once(folder: Path) -> None:
    found = collect([str(folder / "raise.toml"), str(folder), str(folder / "deep")])

    assert len(found.found) == 2


def test_rehearsals_of_several_folders_have_names_of_their_own(folder: Path, tmp_path: Path) -> None:
    other = shutil.copytree(folder, tmp_path / "other")
    labels = [one.label for one in collect([str(folder), str(other)]).found]

    assert len(set(labels)) == len(labels) == 4


def test_a_folder_without_a_rehearsal_is_refused(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="holds no scenario file"):
        collect([str(tmp_path)])


def test_the_order_of_the_folders_does_not_matter(folder: Path, tmp_path: Path) -> None:
    one = told(folder / "deep", folder / "raise.toml", to=tmp_path / "a.json")[1]
    two = told(folder / "raise.toml", folder / "deep", to=tmp_path / "b.json")[1]
    for whole in (one, two):
        for rehearsal in whole["rehearsals"]:
            del rehearsal["wall_s"]

    assert one == two


def test_a_folder_run_prints_a_line_for_each_and_ends_with_the_requirements(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert rehearse(folder) == 0
    out = capsys.readouterr().out

    assert out.count(" pass ") == 2
    assert "2 rehearsals: 2 pass; skipped: 1 lift file, 1 settings file." in out
    row = next(line.split() for line in out.splitlines() if line.strip().startswith("W-4"))
    assert row == ["W-4", "held", "1", "0", "0", "position_error_mm"]


def test_a_broken_limit_that_is_not_expected_ends_with_one_and_is_told(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    add(folder, "bad", "move_time_s = 14.0", "move_time_s = 2.0")

    assert rehearse(folder) == 1
    assert "Not as expected:\n  bad.toml: 1 of" in capsys.readouterr().out


def test_what_breaks_on_purpose_is_expected_in_a_folder_and_fails_alone(folder: Path) -> None:
    path = add(folder, "meant", "[start]", 'expect_broken = ["move_time_s"]\n[start]')
    path.write_text(path.read_text().replace("move_time_s = 14.0", "move_time_s = 2.0"))

    assert rehearse(folder, "--quiet") == 0
    assert rehearse(path, "--quiet") == 1


@pytest.mark.parametrize(
    ("limits", "why"),
    [
        ("move_time_s = 14.0", "must break move_time_s and does not"),
        ("move_time_s = 2.0\nlevel_moving_mm = 0.01", "breaks level_moving_mm too"),
    ],
)
def test_a_rehearsal_that_breaks_nothing_or_something_else_is_unexpected(folder: Path, tmp_path: Path, limits: str, why: str) -> None:
    path = add(folder, "meant", "[start]", 'expect_broken = ["move_time_s"]\n[start]')
    path.write_text(path.read_text().replace("level_moving_mm = 2.0\n", "").replace("move_time_s = 14.0", limits))
    code, found = told(folder, to=tmp_path / "a.json")
    outcome = next(one["outcome"] for one in found["rehearsals"] if one["file"] == str(path))

    assert code == 1
    assert outcome == {"as_expected": False, "word": "UNEXPECTED", "text": why}


def test_a_wrong_file_in_a_folder_is_named_and_the_others_are_flown(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    add(folder, "bad-key", "height_mm = 20.0", "heigth_mm = 20.0")
    (folder / "broken.toml").write_text("kind = \n")

    assert rehearse(folder) == 2
    out = capsys.readouterr().out
    assert "bad-key.toml:10: start.heigth_mm: unknown key" in out
    assert "broken.toml: is not valid TOML" in out
    assert out.count(" pass ") == 2


def test_several_processes_tell_the_same_as_one(folder: Path, tmp_path: Path) -> None:
    one, two = (told(folder, "--jobs", jobs, to=tmp_path / f"{jobs}.json")[1] for jobs in ("1", "2"))
    for whole in (one, two):
        for rehearsal in whole["rehearsals"]:
            del rehearsal["wall_s"]

    assert one == two


def dies_elsewhere(item: tuple[int, int]) -> int:
    """Ends any process but the one that made the item."""
    number, home = item
    if number == 3 and os.getpid() != home:
        os._exit(1)
    return number


def test_what_a_dead_worker_leaves_is_done_all_the_same() -> None:
    items = [(number, os.getpid()) for number in range(6)]

    assert list(spread_over_cores(dies_elsewhere, items, workers=2)) == [0, 1, 2, 3, 4, 5]


def test_a_folder_report_has_an_index_and_a_page_for_each(folder: Path, tmp_path: Path) -> None:
    add(folder, "bad", "height_mm = 20.0", "heigth_mm = 20.0")
    out = tmp_path / "out"
    rehearse(folder, "--quiet", "--report", out)
    index = (out / "index.html").read_text()

    assert {"deep-er-lower.html", "raise.html"} <= {path.name for path in out.iterdir()}
    assert 'href="deep-er-lower.html"' in index
    assert "WRONG INPUT" in index
    assert "<code>W-4</code>" in index


def test_junit_xml_has_a_suite_a_folder_and_keeps_to_the_common_schema(folder: Path, tmp_path: Path) -> None:
    add(folder, "bad", "move_time_s = 14.0", "move_time_s = 2.0")
    add(folder, "wrong", "height_mm = 20.0", "heigth_mm = 20.0")
    rehearse(folder, "--quiet", "--junit", tmp_path / "j.xml")
    root = ET.parse(tmp_path / "j.xml").getroot()

    assert all(set(element.attrib) <= JUNIT[element.tag] for element in root.iter())
    assert [(suite.get("name"), suite.get("tests")) for suite in root] == [(str(folder), "3"), (f"{folder}/deep/er", "1")]
    assert (root.get("tests"), root.get("failures"), root.get("errors")) == ("4", "1", "1")
    failure = root.find(".//failure")
    assert failure is not None
    assert re.match(r"move_time_s: 1\d\.\d s at 1\d\.\d\d s, limit <= 2 s", str(failure.text))
    assert "unknown key" in str(root.findtext(".//error"))


def test_a_requirement_that_nothing_judges_is_listed(folder: Path, tmp_path: Path) -> None:
    add(folder, "homing", "[limits]", '[limits]\nhoming_level_mm = { value = 1.0, id = "W-9" }')
    code, found = told(folder, to=tmp_path / "a.json")
    stands = {one["id"]: (one["stands"], one["unjudged"]) for one in found["requirements"]}

    assert code == 1
    assert stands == {"W-4": ("held", []), "W-9": ("judged by none", ["homing.toml"])}


TWIN = '[twin]\nset = {{ "settings.speed.base_duty" = {duty} }}\nbreaks = ["{breaks}"]\n\n[start]'


def twin_of(folder: Path, duty: float, breaks: str, to: Path) -> tuple[int, list[str]]:
    """Exit code and defects of a raise with a twin that runs slower."""
    add(folder, "twin", "[start]", TWIN.format(duty=duty, breaks=breaks))
    code, found = told(folder, "--twins", to=to)
    return code, next(one["twin"]["defects"] for one in found["rehearsals"] if one["twin"])


def test_a_twin_that_breaks_exactly_what_it_must_is_as_expected(folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert twin_of(folder, 0.6, "move_time_s", tmp_path / "a.json") == (0, [])
    assert rehearse(folder, "--twins") == 0
    assert "1 of 1 twin breaks what it must" in capsys.readouterr().out


def test_a_rehearsal_whose_twin_passes_is_a_defect(folder: Path, tmp_path: Path) -> None:
    assert twin_of(folder, 0.87, "move_time_s", tmp_path / "a.json") == (1, ["move_time_s must break and is kept"])


def test_a_twin_that_breaks_another_limit_is_a_defect(folder: Path, tmp_path: Path) -> None:
    expected = ["level_moving_mm must break and is kept", "changes move_time_s too"]

    assert twin_of(folder, 0.6, "level_moving_mm", tmp_path / "a.json") == (1, expected)


def test_without_twins_asked_for_none_is_flown(folder: Path) -> None:
    add(folder, "twin", "[start]", TWIN.format(duty=0.87, breaks="move_time_s"))

    assert rehearse(folder, "--quiet") == 0


@pytest.mark.parametrize(
    ("table", "message"),
    [
        ('set = { "settings.stall.periods" = 6.0, "settings.stall.least_ms" = 30.0 }\nbreaks = ["move_time_s"]', "holds 2 keys"),
        ('set = { "payload.mass_kg" = 10.0 }\nbreaks = ["move_time_s"]', "must be a key of the settings"),
        ('set = { "lift.deck.mass_kg" = 10.0 }\nbreaks = ["move_time_s"]', "must be a key of the settings"),
        (
            'set = { "settings.stall.perods" = 6.0 }\nbreaks = ["move_time_s"]',
            'twin.set "settings.stall.perods": stall.perods: unknown',
        ),
        ('set = { "settings.stall.periods" = 5.0 }\nbreaks = ["move_time_s"]', "the settings say so already"),
        ('set = { "settings.stall.periods" = 6.0 }\nbreaks = ["warp_mm"]', '"warp_mm": is no limit of this rehearsal'),
        ('set = { "settings.stall.periods" = 6.0 }\nbreaks = []', "breaks"),
    ],
)
def test_a_twin_that_could_prove_nothing_is_refused(folder: Path, capsys: pytest.CaptureFixture[str], table: str, message: str) -> None:
    path = add(folder, "twin", "[start]", f"[twin]\n{table}\n\n[start]")

    assert rehearse(path) == 2
    assert message in capsys.readouterr().err


def test_expected_limits_that_do_not_exist_are_refused(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = add(folder, "meant", "[start]", 'expect_broken = ["move_time"]\n[start]')

    assert rehearse(path) == 2
    assert 'did you mean "move_time_s"?' in capsys.readouterr().err
