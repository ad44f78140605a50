"""The drive sheet: figures of independent models, the kernels' own start, warnings, and the command."""

from __future__ import annotations

import json
import subprocess
import sys
from math import inf, isnan
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from click.testing import CliRunner
from single_leg_figures import FIGURES

from plant.advance import act_on, advance_one, close_tick
from plant.bridge import DRIVE
from plant.kernel import kernel
from plant.setup import choose_sub_step, prepare
from scenarios.build import build_world
from scenarios.commands.sheet import command
from scenarios.errors import InputError
from scenarios.files import Lift, load_lift
from scenarios.sheet import CAUTION, Sheet, derive
from scenarios.sheet_legs import EMPTY, FULL_DOWN, FULL_UP, LIGHT_DOWN, LIGHT_UP
from scenarios.sheet_table import WIDTH, figure, sheet_lines

ROOT = Path(__file__).resolve().parents[2]
WORKTOP = ROOT / "examples" / "worktop" / "worktop.toml"
ROOF = ROOT / "examples" / "roof" / "roof.toml"
SHOWCASE = ROOT / "examples" / "showcase" / "showcase.toml"
ONE_LEG = {"A": ROOT / "tests" / "data" / "one-leg-a.toml", "B": ROOT / "tests" / "data" / "one-leg-b.toml"}
NAMES = (
    "current",
    "motor speed",
    "speed",
    "count frequency",
    "coast time",
    "coast",
    "coast counts",
    "braked time",
    "braked",
    "braked counts",
)

CASES = {
    ("A", EMPTY): ("A", 0, 1),
    ("A", LIGHT_UP): ("A", 30, 1),
    ("A", FULL_UP): ("A", 60, 1),
    ("A", LIGHT_DOWN): ("A", 30, -1),
    ("A", FULL_DOWN): ("A", 60, -1),
    ("B", EMPTY): ("B", 0, 1),
    ("B", LIGHT_UP): ("B", 8, 1),
    ("B", FULL_UP): ("B", 20, 1),
    ("B", LIGHT_DOWN): ("B", 8, -1),
    ("B", FULL_DOWN): ("B", 20, -1),
}


@pytest.fixture(scope="module")
def one_leg() -> dict[str, Sheet]:
    return {key: derive(load_lift(path)) for key, path in ONE_LEG.items()}


@pytest.mark.parametrize(("lift", "case"), CASES)
def test_running_and_stopping_agree_with_independent_models(one_leg: dict[str, Sheet], lift: str, case: str) -> None:
    figures = [one_leg[lift].value(name, case) for name in NAMES]

    # 0.5 % is allowed; 0.15 % is met: the decay of the running current is left out of the coast.
    np.testing.assert_allclose(figures, FIGURES[CASES[lift, case]], rtol=1.5e-3)


# Derived figures of the same two lifts, from the same independent models, rounded as printed there.
@pytest.mark.parametrize(
    ("lift", "name", "expected", "tolerance"),
    [
        ("A", "lead angle", 6.06, 0.005),
        ("A", "self-locking margin at rest", 9.98 - 6.06, 0.01),
        ("A", "margin in motion", 1.61, 0.005),
        ("A", "friction where the thread lets go", 0.1025, 5e-5),
        ("A", "efficiency of the screw, raising", 43.5, 0.05),
        ("A", "efficiency of screw and gear", 35.6, 0.05),
        ("A", "counts per motor revolution", 12, 0),
        ("A", "counts per mm", 19.50, 0.005),
        ("A", "lift per count", 51.3, 0.05),
        ("A", "mass of the rotor as felt at the nut", 4691, 1),
        ("A", "electrical time constant", 1.11, 0.005),
        ("A", "thrust per ampere", 200, 0.5),
        ("A", "stall thrust without limit", 5027, 1),
        ("A", "decay of current at power-off, full load", 82, 1),
        ("B", "lead angle", 6.41, 0.005),
        ("B", "efficiency of the screw, raising", 44.8, 0.05),
        ("B", "efficiency of screw and gear", 33.6, 0.05),
        ("B", "counts per motor revolution", 10, 0),
        ("B", "counts per mm", 37.50, 0.005),
        ("B", "mass of the rotor as felt at the nut", 3886, 1),
        ("B", "thrust per ampere", 162, 0.5),
        ("B", "stall thrust without limit", 2209, 1),
    ],
)
def test_derived_figures_agree_with_independent_models(
    one_leg: dict[str, Sheet], lift: str, name: str, expected: float, tolerance: float
) -> None:
    assert one_leg[lift].value(name) == pytest.approx(expected, abs=tolerance + 1e-9)


def test_the_thrust_at_a_current_limit_agrees_with_independent_models() -> None:
    eight = derive(load_lift(ONE_LEG["A"], ["every_leg.bridge.current_limit_a=8.0"]))
    four = derive(load_lift(ONE_LEG["B"], ["every_leg.bridge.current_limit_a=4.0"]))

    assert eight.value("thrust at the current limit") == pytest.approx(1492, abs=1)
    assert four.value("thrust at the current limit") == pytest.approx(586, abs=1)
    assert eight.value("steady pinch force, raising") == pytest.approx(1492 - 30 * 9.81 - 40, abs=1)


def test_useful_power_agrees_with_the_balance_of_independent_models(one_leg: dict[str, Sheet]) -> None:
    assert one_leg["A"].value("efficiency", FULL_UP) == pytest.approx(21.6, abs=0.05)
    assert one_leg["B"].value("efficiency", FULL_UP) == pytest.approx(18.2, abs=0.05)
    assert isnan(one_leg["A"].value("efficiency", FULL_DOWN))


@kernel
def _tick(world: Any, steps: int) -> None:
    for step in range(steps):
        advance_one(world, step)
    close_tick(world)


@kernel
def _switch_on(world: Any) -> None:
    for q in range(world.n_legs):
        leg = world.legs[q]
        leg.bridge.next_mode = 1
        leg.bridge.next_duty = 1.0
        act_on(world, leg, 1, 1.0, leg.bridge.current_limit)


def started(lift: Lift) -> tuple[float, float]:
    """Lowest supply voltage and largest motor current of a simultaneous start, flown with the kernels for 0.5 s."""
    world = build_world(lift)
    one = world[0]
    one["deck"]["payload"] = lift.deck.rated_payload_kg
    one["deck"]["payload_x"], one["deck"]["payload_y"] = (place * 1e-3 for place in lift.deck.centre_mm)
    one["sub_step_us"] = choose_sub_step(one, 1000)
    one["sub_step"] = one["sub_step_us"] * 1e-6
    one["steps_per_tick"] = 1000 // one["sub_step_us"]
    one["sample_steps"] = 0
    one["legs"]["travel"] = 0.1
    prepare(one)
    _switch_on(one)
    assert one["legs"][0]["bridge"]["mode"] == DRIVE
    peak = 0.0
    for _ in range(500):
        _tick(one, int(one["steps_per_tick"]))
        peak = max(peak, float(one["legs"]["motor"]["peak_current"].max()))
    return float(one["supply"]["lowest"]), peak


@pytest.mark.parametrize("limit", [8.0, 100.0])
def test_the_start_of_all_legs_agrees_with_the_kernels(limit: float) -> None:
    lift = load_lift(WORKTOP, [f"every_leg.bridge.current_limit_a={limit}", "every_leg.motor.static_drag_ratio=1.0"])
    sheet = derive(lift)
    lowest, peak = started(lift)

    # The kernels add the play of gear and nut, static thread friction and axial spring of the spindle at the start.
    assert sheet.value("lowest voltage at a simultaneous start") == pytest.approx(lowest, abs=0.25)
    assert sheet.value("largest motor current at that start") == pytest.approx(peak, rel=0.03)


def test_the_supply_of_two_legs_at_once_collapses_as_independent_models_say() -> None:
    # 24 V with a 12 A limit and 2.2 mF, two legs of set A with 60 kg each, no bridge limit: 4.6 to 5.2 V.
    sets = ["every_leg.bridge.current_limit_a=100.0", "every_leg.bridge.resistance_mohm=0", "every_leg.guide.moving_mass_kg=0.0"]
    sheet = derive(load_lift(WORKTOP, sets))

    assert 4.5 < sheet.value("lowest voltage at a simultaneous start") < 5.3
    assert any("below the 8 V of the logic" in row.warning for row in sheet.warnings)


def test_running_legs_take_from_the_supply_what_it_gives() -> None:
    sheet = derive(load_lift(WORKTOP))
    taken = 2.0 * sheet.value("current", FULL_UP)

    assert sheet.value("voltage, all raising the full load") == pytest.approx(24.0 - 0.1 * taken, abs=1e-6)


@pytest.mark.parametrize(
    ("sets", "name", "words"),
    [
        (["every_leg.spindle.friction=0.09", "every_leg.spindle.static_friction=0.1"], "self-locking margin at rest", "creep down"),
        (["every_leg.gear.ratio=1.0"], "lift per count", "one count is more than"),
        (["every_leg.bridge.current_limit_a=4.5"], "current", "above 80 %"),
        (["every_leg.bridge.current_limit_a=2.0"], "speed", "does not move this load"),
        (["structure.free_length_mm=1500.0"], "buckling margin, full load", "buckles"),
        (["structure.nut_length_mm=5.0"], "nut pressure, full load", "pressed above"),
        (
            ["duty.on_s=3000.0", "duty.off_s=60.0", "every_leg.thermal.case_to_air_k_per_w=6.0"],
            "winding at the stated duty",
            "heats the winding",
        ),
        (["supply.current_limit_a=3.0"], "time to 95 % of full speed", "too weak"),
        (["logic.power_w=20.0"], "hold-up of the bulk capacitor", "does not keep the logic alive"),
        (["logic.least_v=30.0"], "capacitance for it", "nothing can be held up"),
    ],
)
def test_a_thin_margin_is_warned_of_with_a_remedy(sets: list[str], name: str, words: str) -> None:
    before = [row for row in derive(load_lift(WORKTOP)).warnings if row.name == name and words in row.warning]
    rows = [row for row in derive(load_lift(WORKTOP, sets)).warnings if row.name == name and words in row.warning]

    assert not before
    assert rows
    assert all(row.remedy for row in rows)


def test_an_overhauling_screw_never_stops_in_the_formulas() -> None:
    low = ["every_leg.spindle.friction=0.02", "every_leg.motor.coulomb_drag_mn_m=1.0", "every_leg.gear.back_efficiency=1.0"]
    sheet = derive(load_lift(WORKTOP, low))

    assert sheet.value("coast time", FULL_DOWN) == inf
    assert sheet.value("hold-up needed") == inf


def test_legs_that_are_alike_share_a_column_and_others_do_not() -> None:
    alike = derive(load_lift(WORKTOP))
    unlike = derive(load_lift(WORKTOP, ["lift.leg.left.motor.resistance_ohm=1.0"]))

    assert alike.columns == ("each leg",)
    assert unlike.columns == ("left", "right")
    assert unlike.value("current", FULL_UP, 0) == pytest.approx(alike.value("current", FULL_UP), rel=0.01)
    assert unlike.value("speed", FULL_UP, 0) < unlike.value("speed", FULL_UP, 1)


def test_a_load_off_the_middle_is_shared_by_the_lever_rule() -> None:
    sheet = derive(load_lift(WORKTOP, ["lift.deck.centre_mm=[-300.0, 0.0]"]))

    weights = [(sheet.value("nut force", FULL_UP, k) + sheet.value("nut force", FULL_DOWN, k)) / 2 / 9.81 - 1.2 for k in (0, 1)]
    assert weights == pytest.approx([90.0, 30.0])


def test_a_lift_without_a_structure_table_says_what_is_left_out(one_leg: dict[str, Sheet]) -> None:
    assert any("buckling" in text for text in one_leg["A"].left_out)
    with pytest.raises(KeyError, match="buckling"):
        one_leg["A"].value("buckling margin, full load")


def test_every_row_has_a_formula_and_a_source() -> None:
    for path in (WORKTOP, ROOF, SHOWCASE):
        assert all(row.formula and row.source and row.unit for row in derive(load_lift(path)).rows)


def test_figures_are_rounded_to_digits_that_mean_something() -> None:
    assert [figure(value) for value in (39975.0, 0.077851, 1.0, float("nan"), inf)] == ["39975", "0.07785", "1", "-", "never"]


@pytest.mark.parametrize("paths", [[WORKTOP], [WORKTOP, ONE_LEG["B"]], [WORKTOP, ROOF, SHOWCASE]])
def test_the_table_fits_the_terminal_and_ends_with_the_caution(paths: list[Path]) -> None:
    lines = sheet_lines([derive(load_lift(path)) for path in paths])

    assert max(len(line) for line in lines) <= WIDTH
    assert all(line == line.rstrip() for line in lines)
    assert " ".join(lines).replace("\n", " ").endswith(CAUTION)


def test_the_table_shows_every_value_of_every_lift() -> None:
    sheets = [derive(load_lift(path)) for path in (WORKTOP, ROOF, SHOWCASE)]
    text = "\n".join(sheet_lines(sheets))

    assert all(figure(value, 3 if row.case else 4) in text for sheet in sheets for row in sheet.rows for value in row.values)


def run(*words: str) -> tuple[int, str, str]:
    done = subprocess.run([sys.executable, "-m", "scenarios.cli", "sheet", *words], capture_output=True, text=True, cwd=ROOT, check=False)
    return done.returncode, done.stdout, done.stderr


def test_the_command_writes_json_that_holds_what_the_table_shows(tmp_path: Path) -> None:
    path = tmp_path / "sheet.json"
    result = CliRunner().invoke(command, [str(WORKTOP), str(ROOF), "--json", str(path), "--quiet"])

    assert (result.exit_code, result.output) == (0, "")
    written = json.loads(path.read_text())
    assert [one["lift"] for one in written] == ["worktop", "roof"]
    rows = {(row["name"], row["case"]): row for row in written[0]["rows"]}
    assert rows["current", FULL_UP]["values"] == [derive(load_lift(WORKTOP)).value("current", FULL_UP)]
    assert written[0]["caution"] == CAUTION
    assert list(tmp_path.iterdir()) == [path]


def test_json_on_standard_output_is_nothing_but_json() -> None:
    code, out, err = run(str(WORKTOP), "--json", "-")

    assert (code, err) == (0, "")
    assert json.loads(out)[0]["lift"] == "worktop"


def test_a_changed_value_changes_the_sheet() -> None:
    outputs = [CliRunner().invoke(command, [str(WORKTOP), *change]).output for change in ([], ["--set", "lift.every_leg.gear.ratio=13"])]

    assert "19.5 " in outputs[0]
    assert "   39 " in outputs[1]


def test_wrong_input_ends_with_code_2_and_names_all_files() -> None:
    code, out, err = run("missing-a.toml", "missing-b.toml")

    assert (code, out) == (2, "")
    assert "missing-a.toml" in err
    assert "missing-b.toml" in err
    assert "Traceback" not in err


def test_an_unknown_key_is_refused() -> None:
    with pytest.raises(InputError, match="ratio"):
        CliRunner().invoke(command, [str(WORKTOP), "--set", "lift.every_leg.gear.ratioo=3"], catch_exceptions=False)


@pytest.mark.parametrize(("hold_up_mf", "enough"), [(0.2, False), (4.0, True)])
def test_a_logic_on_its_own_capacitor_is_judged_by_that_one(hold_up_mf: float, enough: bool) -> None:
    lift = load_lift(WORKTOP, [("logic.hold_up_mf", hold_up_mf)])
    (row,) = [one for one in derive(lift).rows if one.name == "hold-up of the logic's own capacitor"]
    told = hold_up_mf * 1e-3 * (23.3**2 - 8.0**2) / (2.0 * 0.5)

    assert row.values[0] == pytest.approx(told)
    assert (row.warning == "") == enough
