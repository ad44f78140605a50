"""Choosing a drive from its sheet: comparing lifts and sweeping a key."""

from __future__ import annotations

import json
from math import pi
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from rehearsals import EXAMPLES

from scenarios.commands.sheet import command
from scenarios.errors import InputError
from scenarios.files import load_lift
from scenarios.sheet import derive
from scenarios.sheet_choice import compare_lines, sweep_lines
from scenarios.sheet_figures import KEY_FIGURES, read_figures
from scenarios.sheet_sweep import parse_sweep, sweep_lift
from scenarios.sheet_table import WIDTH

WORKTOP, ROOF = EXAMPLES / "worktop" / "worktop.toml", EXAMPLES / "roof" / "roof.toml"
NAMES = [one.name for one in KEY_FIGURES]


def swept(text: str) -> dict[str, np.ndarray]:
    sweep = sweep_lift(WORKTOP, parse_sweep(text))
    return {"x": np.array(sweep.order.values)} | {name: np.array([row[k].value for row in sweep.readings]) for k, name in enumerate(NAMES)}


def test_a_swept_lead_has_the_sheet_itself_at_the_lead_of_the_file() -> None:
    readings = sweep_lift(WORKTOP, parse_sweep("leg.spindle.lead_mm=3:5:3")).readings[1]
    own = read_figures(derive(load_lift(WORKTOP)))

    # strength apart, which needs the designation of a thread, a Tr 14x4 is its pitch diameter, its lead and its flank
    assert [one.value for one in readings] == pytest.approx([one.value for one in own], rel=1e-9)


def test_counts_per_mm_fall_as_the_lead_rises_and_the_screw_lets_go_at_its_textbook_lead() -> None:
    figures = swept("leg.spindle.lead_mm=2:6:41")

    assert figures["counts per mm"] * figures["x"] == pytest.approx(12 * 6.5, rel=1e-9)
    # motion margin zero at tan(lead angle) = mu / cos(15 deg): lead = pi d2 mu / cos(15 deg), d2 = 12 mm, mu = 0.13
    free = pi * 12.0 * 0.13 / np.cos(np.radians(15.0))
    crossing = np.interp(0.0, figures["margin in motion"][::-1], figures["x"][::-1])
    assert crossing == pytest.approx(free, rel=1e-3)


def test_a_coarser_lead_is_faster_hotter_and_weaker() -> None:
    figures = swept("leg.spindle.lead_mm=2:6:5")

    for rising in ("speed, raising, full", "current, raising, full", "coast, lowering, light", "winding at the stated duty"):
        assert np.all(np.diff(figures[rising]) > 0.0), rising
    for falling in ("thrust at the current limit", "self-locking margin at rest"):
        assert np.all(np.diff(figures[falling]) < 0.0), falling


def test_one_leg_alone_may_be_swept_and_the_worst_leg_stands_for_the_lift() -> None:
    figures = swept("leg.left.gear.ratio=5:8:4")

    # the right leg keeps its ratio of 6.5: counts per mm are those of the coarser leg
    assert figures["counts per mm"] == pytest.approx([15.0, 18.0, 19.5, 19.5], rel=1e-9)


@pytest.mark.parametrize("text", ["leg.gear.ratio", "leg.gear.ratio=3", "leg.gear.ratio=3:3", "=1:2", "leg.gear.ratio=a:b", "a=1:2:3:4"])
def test_a_sweep_of_another_form_is_refused_with_an_example(text: str) -> None:
    with pytest.raises(InputError, match=r"must be KEY=LOW:HIGH .* for example"):
        parse_sweep(text)


def test_values_out_of_range_are_refused_by_key() -> None:
    with pytest.raises(InputError, match=r"--sweep .*gear\.ratio = 600.*must be 0\.2 to 500"):
        sweep_lift(WORKTOP, parse_sweep("leg.gear.ratio=400:600:2"))


def test_tables_fit_a_terminal_and_say_nothing_is_safe() -> None:
    sheets = [derive(load_lift(path)) for path in (WORKTOP, ROOF)]
    for lines in (compare_lines(sheets), sweep_lines(sweep_lift(WORKTOP, parse_sweep("leg.gear.ratio=5:8:4")))):
        assert max(map(len, lines)) <= WIDTH + 8
        assert "no safety case" in "\n".join(lines)


def test_the_change_is_against_the_first_lift() -> None:
    sheets = [derive(load_lift(path)) for path in (WORKTOP, ROOF)]
    line = next(line for line in compare_lines(sheets) if "counts per mm" in line)

    assert line.split()[-4:] == ["19.5", "37.5", "+92", "%"]


def test_the_command_writes_table_json_and_figure(tmp_path: Path) -> None:
    for extra, files in ((["--compare", str(ROOF)], 2), (["--sweep", "leg.gear.ratio=5:8:3"], 1)):
        plot, data = tmp_path / f"{files}.svg", tmp_path / f"{files}.json"
        done = CliRunner().invoke(command, [str(WORKTOP), *extra, "--plot", str(plot), "--json", str(data)], catch_exceptions=False)

        assert done.exit_code == 0
        assert "counts" in done.output
        assert plot.read_text(encoding="utf-8").startswith("<svg")
        assert json.loads(data.read_text(encoding="utf-8"))


@pytest.mark.parametrize(
    ("options", "message"),
    [
        (["--compare"], "needs two lifts"),
        (["--compare", "--sweep", "leg.gear.ratio=5:8"], "one of them at a time"),
        (["--plot", "x.svg"], "needs --compare or --sweep"),
        (["--sweep", "leg.gear.ratio=5:8", "--plot", "x.pdf"], "must end in .svg or .png"),
    ],
)
def test_options_that_do_not_go_together_are_refused(options: list[str], message: str) -> None:
    with pytest.raises(InputError, match=message):
        CliRunner().invoke(command, [str(WORKTOP), *options], catch_exceptions=False)
