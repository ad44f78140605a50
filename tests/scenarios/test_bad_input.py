"""Whatever is done to the shipped files, they stay valid or are refused by file and key: never another error."""

from __future__ import annotations

import json
import subprocess
import sys
import tempfile
import tomllib
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from scenarios.build import assemble
from scenarios.errors import InputError
from scenarios.files import load_scenario

ROOT = Path(__file__).resolve().parents[2]
FOLDERS = ("worktop", "roof", "showcase")
ORIGINALS = {
    folder: {path.name: tomllib.loads(path.read_text(encoding="utf-8")) for path in sorted((ROOT / "examples" / folder).glob("*.toml"))}
    for folder in FOLDERS
}
TEXTS = {
    folder: {name: (ROOT / "examples" / folder / name).read_text(encoding="utf-8") for name in ORIGINALS[folder]} for folder in FOLDERS
}
REHEARSAL = {"worktop": "lost-counts.toml", "roof": "lower-uneven.toml", "showcase": "home.toml"}
QUICK = settings(max_examples=300, deadline=None, suppress_health_check=[HealthCheck.too_slow])

ODD = st.one_of(
    st.sampled_from(
        [0, -1, 1e308, -1e308, 5e-324, float("nan"), float("inf"), True, False, "", "x", [], [1], {}, {"a": 1}, [[]], 10**30, -0.0]
    ),
    st.integers(-(10**25), 10**25),
    st.floats(),
    st.text(max_size=20),
    st.lists(st.floats(), max_size=4),
    st.dictionaries(st.text(max_size=5), st.integers(), max_size=2),
)


def written(value: Any) -> str:
    """TOML of a value, tables inline."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return json.dumps(value).replace("\x7f", "\\u007f")
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{json.dumps(key)} = {written(item)}" for key, item in value.items()) + " }"
    if isinstance(value, list):
        return "[" + ", ".join(map(written, value)) + "]"
    return str(value).replace("+inf", "inf")


def places(table: Any, before: tuple[Any, ...] = ()) -> Iterator[tuple[Any, ...]]:
    """Paths of everything in a table."""
    items = table.items() if isinstance(table, dict) else enumerate(table) if isinstance(table, list) else ()
    for key, item in items:
        yield (*before, key)
        yield from places(item, (*before, key))


def holder(table: Any, path: tuple[Any, ...]) -> Any:
    for piece in path[:-1]:
        table = table[piece]
    return table


def refusal(path: Path, sets: Sequence[Any] = ()) -> list[str] | None:
    """Complaints about a rehearsal, None if it is accepted; any other error fails the test.  What is accepted makes a rig."""
    try:
        rig = assemble(load_scenario(path, sets))
    except InputError as error:
        return error.messages
    assert np.isfinite(rig["world"]["legs"]["motor"]["angle"]).all()
    assert np.isfinite(rig["settings"]["legs"]["load_guess"]).all()
    assert rig["end_us"] > 0
    return None


def judge(folder: Path, rehearsal: str, spoilt: str) -> None:
    """Every line of a refusal names a file of the folder, and some line the spoilt one."""
    messages = refusal(folder / rehearsal)
    if messages is None:
        return
    for message in messages:
        assert message.startswith(str(folder)), message
        assert message.isprintable()
    # what only does not fit together any more is told where the scenario says it
    misfits = all(" leg" in message or "guard tick" in message for message in messages)
    assert messages
    assert misfits or any(spoilt in message for message in messages), messages


def lay_out(home: Path, folder: str) -> None:
    for name, text in TEXTS[folder].items():
        (home / name).write_text(text, encoding="utf-8")


@st.composite
def spoilt_tables(draw: st.DrawFn) -> tuple[str, str, dict[str, Any], str]:
    """A folder, the name of a file in it, its table with one thing changed, and what was changed."""
    folder = draw(st.sampled_from(FOLDERS))
    name = draw(st.sampled_from([f"{folder}.toml", "settings.toml", REHEARSAL[folder]]))
    table = json.loads(json.dumps(ORIGINALS[folder][name]))
    path = draw(st.sampled_from(list(places(table))))
    where, key = holder(table, path), path[-1]
    how = draw(st.sampled_from(["odd", "drop", "scale", "rename", "add"]))
    if how == "odd":
        where[key] = draw(ODD)
    elif how == "drop":
        del where[key]
    elif how == "scale" and isinstance(where[key], int | float) and not isinstance(where[key], bool):
        where[key] = where[key] * draw(st.sampled_from([1e-3, 1e3, -1, 10, 0, 1e-6, 1e6, 1e12]))
    elif how == "rename" and isinstance(where, dict):
        where[draw(st.sampled_from([f"{key}_", str(key)[:-1] or "q", str(key).upper() + "x"]))] = where.pop(key)
    elif isinstance(where, dict):
        where[draw(st.text(max_size=8))] = draw(ODD)
    return folder, name, table, f"{how} {path}"


@QUICK
@given(spoilt_tables())
def test_one_spoilt_key_is_accepted_or_refused_by_file(case: tuple[str, str, dict[str, Any], str]) -> None:
    folder, name, table, _ = case
    with tempfile.TemporaryDirectory() as place:
        home = Path(place)
        lay_out(home, folder)
        (home / name).write_text("\n".join(f"{json.dumps(key)} = {written(value)}" for key, value in table.items()), encoding="utf-8")
        judge(home, REHEARSAL[folder], name)


@QUICK
@given(st.sampled_from(FOLDERS), st.integers(0, 2), st.data())
def test_a_damaged_text_is_accepted_or_refused_by_file(folder: str, which: int, data: st.DataObject) -> None:
    name = [f"{folder}.toml", "settings.toml", REHEARSAL[folder]][which]
    raw = bytearray(TEXTS[folder][name].encode())
    start = data.draw(st.integers(0, len(raw)))
    length = data.draw(st.integers(0, 60))
    raw[start : start + length] = data.draw(st.binary(max_size=30))
    with tempfile.TemporaryDirectory() as place:
        home = Path(place)
        lay_out(home, folder)
        (home / name).write_bytes(raw)
        judge(home, REHEARSAL[folder], name)


@QUICK
@given(st.lists(st.text(max_size=40), max_size=3))
def test_any_change_on_the_command_line_is_accepted_or_named(sets: list[str]) -> None:
    assert refusal(ROOT / "examples" / "worktop" / "raise.toml", sets) != []


@QUICK
@given(st.sampled_from(FOLDERS), ODD, st.data())
def test_a_change_of_any_key_to_anything_is_accepted_or_named(folder: str, value: object, data: st.DataObject) -> None:
    kind, name = data.draw(st.sampled_from([("lift", f"{folder}.toml"), ("settings", "settings.toml"), ("scenario", REHEARSAL[folder])]))
    path = data.draw(st.sampled_from(list(places(ORIGINALS[folder][name]))))
    key = ".".join([kind, *(str(piece + 1) if isinstance(piece, int) else piece for piece in path)])
    assert refusal(ROOT / "examples" / folder / REHEARSAL[folder], [(key, value)]) != []


@pytest.mark.parametrize("name", ["worktop.toml", "settings.toml"])
def test_a_missing_file_is_named_with_the_key_that_names_it(tmp_path: Path, name: str) -> None:
    lay_out(tmp_path, "worktop")
    (tmp_path / name).unlink()

    with pytest.raises(InputError) as caught:
        load_scenario(tmp_path / "raise.toml")

    (message,) = caught.value.messages
    assert message.startswith(f"{tmp_path / 'raise.toml'}:")
    assert f"{tmp_path / name}: no such file" in message


def test_a_device_is_refused_instead_of_read() -> None:
    with pytest.raises(InputError, match="is not a file"):
        load_scenario("/dev/zero")


def test_the_command_ends_with_code_2_and_without_a_traceback(tmp_path: Path) -> None:
    target = tmp_path / "taken"
    target.mkdir()
    (target / "notes.txt").write_text("mine")
    done = subprocess.run(
        [sys.executable, "-m", "scenarios.cli", "new", str(target)], cwd=ROOT, capture_output=True, text=True, check=False
    )

    assert done.returncode == 2
    assert done.stdout == ""
    assert done.stderr == f"{target}: is not an empty folder; nothing was written, choose another name\n"
    assert [path.name for path in target.iterdir()] == ["notes.txt"]
