"""``levelrig rehearse`` as a person or a script calls it: exit codes, what is printed where, and what is written."""

from __future__ import annotations

import csv
import json
from pathlib import Path
from typing import Any

import pytest
from pyarrow import parquet

from scenarios.cli import main

WORKTOP = Path(__file__).parents[2] / "examples" / "worktop"
RAISE, LOWER, OPEN_LOOP = (str(WORKTOP / f"{name}.toml") for name in ("raise", "lower", "open-loop"))


def rehearse(*words: str) -> int:
    """Exit code of ``levelrig rehearse`` with these words."""
    with pytest.raises(SystemExit) as ended:
        main(["rehearse", *words])
    return int(ended.value.code or 0)


def told(*words: str, to: Path) -> list[dict[str, Any]]:
    """JSON that a rehearsal writes."""
    rehearse(*words, "--quiet", "--json", str(to))
    found: list[dict[str, Any]] = json.loads(to.read_text())
    return found


def test_a_rehearsal_that_keeps_its_limits_ends_with_zero_and_says_how_to_get_a_report(capsys: pytest.CaptureFixture[str]) -> None:
    assert rehearse(RAISE) == 0
    lines = capsys.readouterr().out.strip().splitlines()

    assert "Pass: all" in lines[1]
    assert any(line.split()[0] == "level_moving_mm" and line.endswith("ok") for line in lines[2:])
    assert "--report DIR" in lines[-1]
    assert "not a safety case" in lines[-2]


def test_a_broken_limit_ends_with_one_and_is_marked(capsys: pytest.CaptureFixture[str]) -> None:
    assert rehearse(OPEN_LOOP) == 1
    out = capsys.readouterr().out

    assert "Fail: " in out
    assert "BROKEN" in out


def test_one_broken_rehearsal_among_several_ends_with_one(tmp_path: Path) -> None:
    found = told(RAISE, OPEN_LOOP, to=tmp_path / "all.json")

    assert [one["verdict"] for one in found] == ["pass", "fail"]
    assert [one["file"] for one in found] == [RAISE, OPEN_LOOP]
    assert rehearse(RAISE, OPEN_LOOP, "--quiet") == 1


def test_a_missing_file_ends_with_two_and_is_named(capsys: pytest.CaptureFixture[str]) -> None:
    assert rehearse("nowhere.toml", RAISE) == 2
    caught = capsys.readouterr()

    assert "nowhere.toml" in caught.err
    assert "Traceback" not in caught.err
    assert caught.out == ""


def test_json_on_standard_output_stands_there_alone(capsys: pytest.CaptureFixture[str]) -> None:
    rehearse(RAISE, "--json", "-")
    caught = capsys.readouterr()

    assert json.loads(caught.out)[0]["verdict"] == "pass"
    assert "level_moving_mm" in caught.err


def test_quiet_prints_nothing(capsys: pytest.CaptureFixture[str]) -> None:
    rehearse(RAISE, "--quiet")
    caught = capsys.readouterr()

    assert (caught.out, caught.err) == ("", "")


def test_a_changed_value_reaches_the_run_the_json_and_the_report(tmp_path: Path) -> None:
    changed = 'settings.levelling.law="none"'
    found = told(RAISE, "--set", changed, "--report", str(tmp_path / "out"), to=tmp_path / "a.json")
    plain = told(RAISE, to=tmp_path / "b.json")
    page = (tmp_path / "out" / "raise.html").read_text()

    assert found[0]["sets"] == [{"key": "settings.levelling.law", "value": "none"}]
    assert found[0]["level"]["peak_mm"] != plain[0]["level"]["peak_mm"]
    assert "Levelling law: none" in page
    assert "settings.levelling.law=&#34;none&#34;" in page


def test_an_unknown_key_is_refused(capsys: pytest.CaptureFixture[str]) -> None:
    assert rehearse(RAISE, "--set", "lift.deck.mas_kg=3") == 2

    assert "mas_kg" in capsys.readouterr().err


def test_a_report_of_several_has_an_index_and_replaces_itself(tmp_path: Path) -> None:
    out = tmp_path / "out"
    rehearse(RAISE, LOWER, "--quiet", "--report", str(out))
    before = {path.name: path.read_bytes() for path in out.iterdir()}
    rehearse(RAISE, LOWER, "--quiet", "--report", str(out))

    assert {"index.html", "raise.html", "lower.html", "raise-heights.png"} <= set(before)
    assert {path.name: path.read_bytes() for path in out.iterdir()} == before


def test_a_report_over_a_strange_file_is_refused_and_nothing_is_written(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "raise.html").write_text("mine")

    assert rehearse(RAISE, "--report", str(tmp_path)) == 2
    assert "was not written by levelrig" in capsys.readouterr().err
    assert [path.name for path in tmp_path.iterdir()] == ["raise.html"]


def test_a_trace_has_units_in_its_columns_and_one_row_a_tick(tmp_path: Path) -> None:
    rehearse(RAISE, "--quiet", "--trace", str(tmp_path / "t.csv"))
    rows = list(csv.DictReader((tmp_path / "t.csv").read_text().splitlines()))
    times = [float(row["time_s"]) for row in rows]

    assert {"left.height_m", "right.current_a", "supply_v"} <= set(rows[0])
    assert times[2] - times[1] == pytest.approx(0.01)
    assert float(rows[-1]["left.height_m"]) > float(rows[0]["left.height_m"])
    assert rows[-1]["left.heard"].isdigit()


def test_parquet_holds_the_same_trace_as_csv(tmp_path: Path) -> None:
    rehearse(RAISE, "--quiet", "--trace", str(tmp_path / "t.csv"))
    rehearse(RAISE, "--quiet", "--trace", str(tmp_path / "t.parquet"))
    rows = list(csv.DictReader((tmp_path / "t.csv").read_text().splitlines()))
    table = parquet.read_table(tmp_path / "t.parquet").to_pydict()

    assert list(table) == list(rows[0])
    assert table["left.height_m"] == pytest.approx([float(row["left.height_m"]) for row in rows], rel=1e-8)


@pytest.mark.parametrize(
    "words",
    [(RAISE, LOWER, "--trace", "t.csv"), (RAISE, "--trace", "t.xlsx"), (RAISE, "--json", RAISE), (RAISE, "--json", "no/such/a.json")],
)
def test_an_output_that_cannot_be_written_is_refused_before_flying(words: tuple[str, ...], capsys: pytest.CaptureFixture[str]) -> None:
    assert rehearse(*words) == 2
    assert capsys.readouterr().err.strip()


def test_a_rehearsal_without_any_limit_is_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    for name in ("worktop", "settings", "raise"):
        text = (WORKTOP / f"{name}.toml").read_text()
        kept, skipping = [], False
        for line in text.splitlines():
            if line.startswith("["):
                skipping = line.startswith(("[limits]", "[twin]"))
            kept += [] if skipping else [line]
        (tmp_path / f"{name}.toml").write_text("\n".join(kept) + "\n")

    assert rehearse(str(tmp_path / "raise.toml")) == 2
    assert "raise.toml: limits: none is stated" in capsys.readouterr().err


def test_the_seed_repeats_a_rehearsal_and_another_one_differs(tmp_path: Path) -> None:
    first, again, other = (told(RAISE, "--seed", seed, to=tmp_path / "r.json")[0] for seed in ("5", "5", "6"))
    for one in (first, again, other):
        del one["wall_s"], one["seed"]

    assert first == again
    assert first != other


def test_both_clocks_tell_the_same(tmp_path: Path) -> None:
    flat, event = (told(RAISE, "--clock", clock, to=tmp_path / "r.json")[0] for clock in ("flat", "event"))
    for one in (flat, event):
        del one["wall_s"], one["clock"]

    assert flat == event
