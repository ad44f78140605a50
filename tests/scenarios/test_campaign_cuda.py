"""The engine on a card: the kernel runs on numba's simulator of one, where none need be there.

On an H100 (numba-cuda 0.30.4, numba 0.68.0, Python 3.12) 10,000 of 10,000 rows of the worktop's campaign were those of the cores to the
byte, with product and sum kept apart.  While link-time optimisation still fused them it was 1 of 10,000, all verdicts equal even so.
"""

from __future__ import annotations

import os
import re
import subprocess
import sys
from importlib.util import find_spec
from pathlib import Path

import numpy as np
import pytest

from scenarios.build import build_rig
from scenarios.campaign.compact import WHOLE, Compact, compact_of
from scenarios.campaign.cuda import build_lifts, judge_lifts
from scenarios.campaign.plan import Plan, load_plan
from scenarios.campaign.rows import fly_lifts
from scenarios.cli import main
from scenarios.runner import fly_rig

EXAMPLES = Path(__file__).parents[2] / "examples"
FOUR = ["campaign", str(EXAMPLES / "worktop" / "campaign.toml"), "--lifts", "4", "--batch", "2", "--jobs", "1"]


@pytest.fixture(scope="module")
def plan() -> Plan:
    return load_plan(EXAMPLES / "worktop" / "campaign.toml", lifts=6)


def test_a_compact_rig_is_the_whole_one_again_when_unpacked(plan: Plan) -> None:
    rig = build_rig(plan.nominal, 1)
    layout = compact_of(rig)
    assert layout.unpack(layout.pack(rig)).tobytes() == rig.tobytes()
    assert layout.dtype.itemsize < rig.nbytes / 20
    assert WHOLE.pack(rig).tobytes() == rig.tobytes()


def test_a_rig_with_more_legs_or_rows_does_not_fit(plan: Plan) -> None:
    rig = build_rig(plan.nominal, 1)
    assert compact_of(rig).fits(rig)
    assert not Compact(1, 3, 1).fits(rig)
    assert not Compact(2, 3, 0).fits(rig)


def test_lifts_without_room_are_flown_by_their_judge(plan: Plan) -> None:
    """Runs that were refused, that have more rows than there is room, or that logged more than was kept: the rows are the same."""
    layout = compact_of(build_rig(plan.nominal, 1))
    runs, rigs = build_lifts(plan, layout, 0, 6)
    assert runs.tolist() == list(range(6))
    flown = []
    for packed in rigs:
        rig = layout.unpack(np.array([packed]))
        fly_rig(rig)
        flown.append(layout.pack(rig))
    there = np.concatenate(flown)
    assert not layout.overflowed(there).any()
    there["events"][2] = layout.events + 1  # the log was cut short
    there["world"]["legs"]["height"][2] = 0.0  # and must not be read
    expected = fly_lifts(plan, 0, 6)
    judged = judge_lifts(plan, layout, (0, 6), np.delete(runs, 4), np.delete(there, 4))
    assert judged.table.tobytes() == expected.table.tobytes()
    assert judged.notes == expected.notes


def _on_simulator(folder: Path, *more: str) -> subprocess.CompletedProcess[str]:
    told = {**os.environ, "NUMBA_ENABLE_CUDASIM": "1"}
    run = [sys.executable, "-W", "ignore", "-m", "scenarios.cli", *FOUR, "--engine", "cuda", "--folder", str(folder), *more]
    return subprocess.run(run, env=told, capture_output=True, text=True, check=False, cwd=folder.parent)


@pytest.mark.slow
def test_the_kernel_on_the_simulator_gives_the_bytes_of_the_cores(tmp_path: Path) -> None:
    done = _on_simulator(tmp_path / "card", "--quiet")
    assert done.returncode == 0, done.stderr
    with pytest.raises(SystemExit) as end:
        main([*FOUR, "--quiet", "--folder", str(tmp_path / "cores")])
    assert end.value.code == 0
    names = sorted(path.relative_to(tmp_path / "cores") for path in (tmp_path / "cores").rglob("*") if path.is_file())
    assert any(name.suffix == ".npz" for name in names)
    assert names == sorted(path.relative_to(tmp_path / "card") for path in (tmp_path / "card").rglob("*") if path.is_file())
    for name in names:
        assert (tmp_path / "cores" / name).read_bytes() == (tmp_path / "card" / name).read_bytes(), name


def test_without_a_card_the_engine_says_so_and_writes_nothing(tmp_path: Path) -> None:
    """Hidden from the program, where there is one."""
    hidden = {**os.environ, "CUDA_VISIBLE_DEVICES": ""}
    run = [sys.executable, "-W", "ignore", "-m", "scenarios.cli", *FOUR, "--engine", "cuda", "--folder", str(tmp_path / "card")]
    done = subprocess.run(run, env=hidden, capture_output=True, text=True, check=False, cwd=tmp_path)
    assert done.returncode == 2, done.stderr
    assert "--engine cuda" in done.stderr
    assert "--engine cores" in done.stderr or "levelrig[cuda]" in done.stderr
    assert "Traceback" not in done.stderr
    assert not list(tmp_path.iterdir())


@pytest.mark.slow
@pytest.mark.skipif(
    find_spec("numba_cuda") is None or find_spec("nvidia") is None, reason="needs pip install 'levelrig[cuda]', and no card"
)
def test_the_assembly_for_a_card_keeps_products_and_sums_apart() -> None:
    """``fma.rn.f64`` is what a fused product and sum becomes; a bare ``mul.f64`` or ``add.f64`` might still be fused by the assembler."""
    from scenarios.campaign.cuda_kernel import ptx_of

    text = ptx_of(Compact(2, 3, 1))
    assert "fma.rn.f64" not in text
    assert not re.search(r"\b(mul|add|sub)\.f64", text)
    assert text.count("mul.rn.f64") > 1000
