"""The compiled kernels against the same arithmetic in C on the same record, built by the C compiler of this machine."""

from __future__ import annotations

import ctypes
import shutil
import statistics
import subprocess
import time
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from machines import DRIVE, World, leg_of, order, ready, run, set_a, view

from plant.kernel import kernel
from plant.sensing import follow
from plant.step import sub_step

pytestmark = pytest.mark.skipif(shutil.which("gcc") is None, reason="no C compiler here to compare with")

STEPS = 20_000
REPEATS = 21
SOURCE = Path(__file__).with_name("step.c")
# C types of nested records that the program names; any other is called after its owner and its field
NAMES = {
    "motor": "Motor",
    "bridge": "Bridge",
    "spindle": "Spindle",
    "detector": "Detector",
    "current_sensor": "Sensor",
    "supply_sensor": "Sensor",
    "energy": "Energy",
    "scratch": "Scratch",
    "resist": "Flank",
    "assist": "Flank",
    "legs": "Leg",
    "deck": "Deck",
    "supply": "Supply",
}
BASIC = {"f8": "double", "i8": "long", "u8": "unsigned long"}


@kernel
def _advance(machine: Any, steps: int) -> None:
    for _ in range(steps):
        sub_step(machine, machine.sub_step, float(machine.time_us))
        machine.time_us += machine.sub_step_us
        for q in range(machine.n_legs):
            follow(machine.legs[q].current_sensor, machine.legs[q].motor.current)
        follow(machine.supply_sensor, machine.supply.voltage)


def _declare(dtype: np.dtype[np.void], name: str, done: dict[str, str]) -> None:
    """Write the C declaration of a record, after those of the records inside it."""
    lines = []
    for field, (kind, *_) in (dtype.fields or {}).items():
        base, shape = (kind.base, kind.shape) if kind.subdtype else (kind, ())
        inside = NAMES.get(field, f"{name}{field.title()}")
        if base.fields and inside not in done:
            _declare(base, inside, done)
        c_type = inside if base.fields else BASIC[base.str[1:]]
        word = f"{field}_" if field == "case" else field
        lines.append(f"    {c_type} {word}{''.join(f'[{n}]' for n in shape)};")
    done[name] = "typedef struct {\n" + "\n".join(lines) + f"\n}} {name};\n"


@pytest.fixture(scope="module")
def library(tmp_path_factory: pytest.TempPathFactory) -> ctypes.CDLL:
    folder = tmp_path_factory.mktemp("c")
    done: dict[str, str] = {}
    _declare(set_a().dtype, "World", done)
    size = f'_Static_assert(sizeof(World) == {set_a().dtype.itemsize}, "layout");\n'
    (folder / "world.h").write_text("\n".join(done.values()) + size)
    target = folder / "step.so"
    options = ["-O3", "-march=native", "-ffp-contract=off", "-fno-math-errno", "-Wall", "-Werror", "-shared", "-fPIC"]
    subprocess.run(["gcc", *options, f"-I{folder}", str(SOURCE), "-o", str(target), "-lm"], check=True, timeout=120)
    built = ctypes.CDLL(str(target))
    built.advance.restype = ctypes.c_long
    built.advance.argtypes = [ctypes.c_void_p, ctypes.c_long]
    return built


def _running_lift() -> World:
    """Two legs in the middle of a raise with racking, guides that feel it, Stribeck friction, a soft supply and filters."""
    world = set_a(payload=90.0, n_legs=2)
    machine = world[0]
    machine["deck"]["payload_x"], machine["deck"]["tilt_stiffness_x"] = 0.1, 8000.0
    for field, value in {"resistance": 0.1, "capacitance": 4.7e-3, "current_limit": 20.0, "back_feed": 0}.items():
        machine["supply"][field] = value
    for q in range(2):
        leg = leg_of(world, q)
        leg["guide_coefficient"], leg["guide_overlap"], leg["guide_overlap_loss"] = 0.15, 0.4, 0.1
        leg["stop_low"], leg["travel"], leg["moving_mass"] = -0.01, 0.001 * q, 2.0
        leg["bridge"]["resistance"], leg["bridge"]["synchronous"] = 0.04, 0
        leg["motor"]["static_ratio"], leg["motor"]["stribeck_speed"] = 1.4, 20.0
        leg["motor"]["pitch"][:12] = np.random.default_rng(q).normal(0.0, 0.05, 12)
        leg["spindle"]["stribeck_speed"], leg["spindle"]["collar_friction"], leg["spindle"]["collar_radius"] = 2e-3, 0.1, 5e-3
        leg["current_sensor"]["gain"], leg["current_sensor"]["filter_share"] = 1.01, 0.3
    machine["supply_sensor"]["gain"], machine["supply_sensor"]["filter_share"] = 1.0, 0.3
    ready(world)
    order(world, DRIVE, 0.9, limit=25.0)
    run(world, 1.0)
    for q in range(2):
        leg_of(world, q)["detector"]["waiting"] = 0
    return world


def test_the_c_code_moves_the_same_lift_to_the_same_bits(library: ctypes.CDLL) -> None:
    world = _running_lift()
    twin = world.copy()
    _advance(view(world), STEPS)

    assert library.advance(twin.ctypes.data, STEPS) == STEPS
    assert twin.tobytes() == world.tobytes()


@pytest.mark.benchmark
def test_the_kernels_take_at_most_1_3_times_as_long_as_c(library: ctypes.CDLL) -> None:
    start = _running_lift()
    world = start.copy()
    _advance(view(world), 1)
    ratios, paces = [], []
    for _ in range(REPEATS):
        world[:] = start
        begun = time.perf_counter()
        _advance(view(world), STEPS)
        between = time.perf_counter()
        world[:] = start
        again = time.perf_counter()
        library.advance(world.ctypes.data, STEPS)
        ended = time.perf_counter()
        ratios.append((between - begun) / (ended - again))
        paces.append((between - begun) / (2 * STEPS) * 1e9)
    ratio, pace = statistics.median(ratios), statistics.median(paces)
    print(f"kernels {pace:.1f} ns per leg and sub-step, C {pace / ratio:.1f} ns, ratio {ratio:.2f}")

    assert ratio <= 1.3, f"kernels {pace:.1f} ns per leg and sub-step, {ratio:.2f} times the C code"
