"""The line of a key in a TOML text."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest

from scenarios.files.lines import line_numbers, line_of

TEXT = '''kind = "lift"   # [not a table]
[a.b]
x = 1
"quoted key" = 2
text = """
y = 3
[c]
"""
list = [
  1, # ]
  2,
]
z.w = 4
[[leg]]
name = "one"
[leg.motor]
k = 1
[[leg]]
motor.k = 2
inline = { p = 1, q = "]" }
'''


@pytest.mark.parametrize(
    ("path", "line"),
    [
        (("kind",), 1),
        (("a", "b"), 2),
        (("a", "b", "x"), 3),
        (("a", "b", "quoted key"), 4),
        (("a", "b", "text"), 5),
        (("a", "b", "list"), 9),
        (("a", "b", "list", 1), 9),
        (("a", "b", "z", "w"), 13),
        (("leg", 0, "name"), 15),
        (("leg", 0, "motor", "k"), 17),
        (("leg", 1), 18),
        (("leg", 1, "motor", "k"), 19),
        (("leg", 1, "inline", "q"), 20),
        (("nowhere",), None),
    ],
)
def test_a_key_is_found_in_its_line(path: tuple[str | int, ...], line: int | None) -> None:
    tomllib.loads(TEXT)

    assert line_of(line_numbers(TEXT), path) == line


def test_every_key_of_a_shipped_lift_has_a_line_that_holds_it() -> None:
    text = (Path(__file__).resolve().parents[2] / "examples" / "roof" / "roof.toml").read_text(encoding="utf-8")
    lines = text.splitlines()

    for path, number in line_numbers(text).items():
        last = [piece for piece in path if isinstance(piece, str)][-1]
        assert last in lines[number - 1]
