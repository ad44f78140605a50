"""The closed loop measured: a sine on the duties of one mode in the non-linear rehearsal, against the linear prediction.

The rig is flown on the flat clock up or down a spindle without end, its counts right, so that slow sines find room; the guide
stays as it is at the start.  Heights are those of the true deck joints at the control ticks.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil, log, pi
from typing import Any

import numpy as np
from numpy.typing import NDArray

from scenarios.build import build_rig
from scenarios.files.scenario import Scenario
from scenarios.loop_model import basis_of, loop_of
from scenarios.operating_point import Condition
from scenarios.rig import TRACE_GLOBAL, TRACE_LEG
from scenarios.runner import fly_rig
from sync.design.basis import Array, Complex
from sync.design.loop import Loop, margins, poles
from sync.modes import Command, Mode

__all__ = ["ModePoint", "ModeResponse", "measure_mode", "measure_modes", "mode_crossover", "predicted_heights"]

_FAR = 1e4  # m
_PERIODS = 2
_LEAST = 4.0  # s of measuring
_START = 0.5  # s until it runs
_DECAY = 1e-4  # of the start is left when measuring begins


@dataclass(frozen=True)
class ModePoint:
    """One frequency: height of the mode per duty of the mode [m], measured and predicted.

    ``amplitude`` is the measured amplitude of the leg that moves most [counts]; ``clipped`` how often a duty left 0 to 1.
    """

    omega: float
    measured: complex
    predicted: complex
    amplitude: float
    clipped: int

    @property
    def decibel(self) -> float:
        """Measured over predicted [dB]."""
        return float(20.0 * np.log10(abs(self.measured / self.predicted)))

    @property
    def degrees(self) -> float:
        """Phase of measured over predicted [deg]."""
        return float(np.degrees(np.angle(self.measured / self.predicted)))


@dataclass(frozen=True)
class ModeResponse:
    """One mode: its name, its crossover [rad/s] and the measured points."""

    mode: str
    crossover: float
    points: tuple[ModePoint, ...]


def mode_crossover(loop: Loop, mode: int) -> float:
    """Frequency [rad/s] at which the loop of one mode alone, the others left open, crosses magnitude one."""
    size = np.log(np.abs(loop.along()[:, mode, mode]))
    place = int(np.flatnonzero((size[1:] < 0.0) & (size[:-1] >= 0.0))[0])
    share = size[place] / (size[place] - size[place + 1])
    ends = np.log(loop.plant.omega[place : place + 2])
    return float(np.exp(ends[0] + share * (ends[1] - ends[0])))


def predicted_heights(loop: Loop, omega: float, duty: Array) -> Complex:
    """Heights of all modes [m], shape (M,), under a sine of the ``duty`` amplitudes, shape (N,), added at the control ticks."""
    z = np.asarray(np.exp(1j * omega * loop.plant.tick))
    plant = loop.plant.at(z)
    closed = np.eye(len(loop.modes)) + plant @ loop.controller(z)
    return np.asarray(np.linalg.solve(closed, plant @ duty), dtype=np.complex128)


def _endless(rig: NDArray[np.void], direction: int) -> None:
    """Take ends, time-outs, script and miscounts out of a prepared rig, in place, and order a move to the far end."""
    one = rig[0]
    settings, world = one["settings"], one["world"]
    for leg in world["legs"][: int(world["n_legs"])]:
        leg["guide_overlap"] -= leg["guide_overlap_loss"] * leg["travel"]
        leg["guide_overlap_loss"] = 0.0
        leg["stop_low"], leg["stop_high"] = -_FAR, _FAR
        detector = leg["detector"]
        for name in ("edge_false_on", "edge_false_off", "start_miss_mean", "start_miss_sd", "run_miss", "run_false", "run_double"):
            detector[name] = 0.0
    settings["travel_low"], settings["travel_high"], settings["move_timeout"] = -_FAR, _FAR, 1e9
    settings["pinch"]["on"], settings["overload"] = 0, 0.0  # a probe is what they would answer to
    one["rows"] = 0
    one["inputs"]["order"] += 1
    one["inputs"]["command"], one["inputs"]["target"] = Command.GO, direction * 0.9 * _FAR


def _started(rig: NDArray[np.void]) -> None:
    """Fly to just before the first control tick after the start, and let the trace count from there."""
    one = rig[0]
    for ticks in range(1, 100):
        fly_rig(rig, None, ticks)
        if one["memory"]["mode"] == Mode.MOVING:
            break
    every = int(one["settings"]["control_every"])
    one["trace_every"] = every
    # the move began at the tick just flown: the next control tick is every - 1 ticks away
    one["ticks"] = 1


@dataclass(frozen=True)
class _Plan:
    """One sine: frequency [rad/s], duties [-] of shape (N,), and when it begins and ends [s]."""

    omega: float
    duty: Array
    begin: float
    measure: float
    end: float


def _flown(scenario: Scenario, direction: int, plan: _Plan) -> tuple[Array, Array, int]:
    """Time from the start of the sine [s], true heights [m], shape (K, N), and how often a duty was clipped."""
    rig = build_rig(scenario)
    one = rig[0]
    _endless(rig, direction)
    _started(rig)
    n = int(one["world"]["n_legs"])
    probe = one["probe"]
    probe["on"], probe["hz"], probe["from_us"] = 1, plan.omega / (2.0 * pi), plan.begin * 1e6
    probe["amplitude"][:n] = plan.duty
    one["end_us"] = round(plan.end * 1e6)
    tick = float(one["settings"]["tick"])
    rows = np.zeros((round(plan.end / tick) // int(one["trace_every"]) + 2, len(TRACE_GLOBAL) + n * len(TRACE_LEG)))
    used = fly_rig(rig, rows)
    if one["memory"]["mode"] != Mode.MOVING:
        raise ValueError(f"the move ended while it was measured (mode {Mode(int(one['memory']['mode'])).name.lower()}): less amplitude")
    rows = rows[:used]
    rows = rows[rows[:, 0] >= plan.measure]
    at = len(TRACE_GLOBAL) + np.arange(n) * len(TRACE_LEG) + TRACE_LEG.index("height_m")
    return rows[:, 0] - plan.begin, rows[:, at], int(probe["clipped"])


def _fitted(time: Array, heights: Array, omega: float) -> Complex:
    """Complex amplitude of cos(omega t) in each column, beside an offset and a slow drift."""
    turn = omega * time
    span = (time - time[0]) / (time[-1] - time[0])
    columns = np.stack([np.cos(turn), -np.sin(turn), np.ones_like(span), span, span * span], axis=1)
    found = np.linalg.lstsq(columns, heights, rcond=None)[0]
    return np.asarray(found[0] + 1j * found[1], dtype=np.complex128)


def _plan(loop: Loop, omega: float, mode: Array, size: float) -> _Plan:
    """Sine whose largest leg moves by ``size`` [m], begun when the start has died away, measured over whole periods."""
    heights = predicted_heights(loop, omega, mode)
    most = float(np.max(np.abs(mode)))
    duty = mode * (size / (abs(heights[int(np.argmax(np.abs(heights)))]) * most))
    radius = float(np.max(np.abs(poles(loop))))
    decay = log(_DECAY) / log(radius) * loop.plant.tick
    period = 2.0 * pi / omega
    periods = max(_PERIODS, ceil(_LEAST / period))
    begin = _START + decay
    measure = begin + decay
    return _Plan(omega, duty, begin, measure, measure + periods * period)


def measure_mode(
    scenario: Scenario, mode: int, shares: Sequence[float], direction: int = 1, counts: float = 6.0, condition: Condition | None = None
) -> ModeResponse:
    """Measure one mode at multiples of its crossover.

    Parameters
    ----------
    scenario
        Lift, settings, load and temperatures.
    mode
        Index of the mode.
    shares
        Frequencies over the crossover of the mode [-].
    direction
        1 up, -1 down.
    counts
        Amplitude of the leg that moves most [counts].
    condition
        What the prediction takes beside the direction; left out: as the scenario stands.

    Raises
    ------
    ValueError
        If the loop is unstable, or the move ends while it is measured.
    """
    loop = loop_of(scenario, Condition(direction) if condition is None else condition)
    if not margins(loop).stable:
        raise ValueError("the loop is unstable: it has no frequency response to measure")
    rig = build_rig(scenario)[0]
    basis = basis_of(rig["world"])
    per_metre = float(np.max(rig["settings"]["legs"]["counts_per_metre"]))
    column, crossover = basis.columns[:, mode], mode_crossover(loop, mode)
    points = []
    for share in shares:
        plan = _plan(loop, share * crossover, column, counts / per_metre)
        time, heights, clipped = _flown(scenario, direction, plan)
        seen = _fitted(time, heights, plan.omega)
        duty = float(column @ plan.duty)
        told = predicted_heights(loop, plan.omega, plan.duty)[mode] / duty
        amplitude = float(np.max(np.abs(seen - np.mean(seen)))) * per_metre
        points.append(ModePoint(plan.omega, complex(column @ seen) / duty, complex(told), amplitude, clipped))
    return ModeResponse(loop.modes[mode], crossover, tuple(points))


def measure_modes(scenario: Scenario, shares: Sequence[float], direction: int = 1) -> list[ModeResponse]:
    """Measure every relative mode of a lift, see ``measure_mode``."""
    world: Any = build_rig(scenario)[0]["world"]
    return [measure_mode(scenario, mode, shares, direction) for mode in range(len(basis_of(world).names))]
