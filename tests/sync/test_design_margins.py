"""Margins against a dense search, python-control, closed-loop poles and definitions."""

from __future__ import annotations

from math import inf, pi

import control
import numpy as np
import pytest
from numpy.typing import NDArray

from sync.design.basis import relative_basis
from sync.design.continuous import RationalLoop, delayed, loop_margins, unstable_roots
from sync.design.lift_model import LegModel, LiftModel, SupplyModel, mode_constants, state_space
from sync.design.loop import Loop, closed_loop, coupling_law, margins, mean_coupling, poles, respond, unstable_poles
from sync.design.margins import tracked, winding
from sync.design.quantum import QuantumVerdict, check_quantum
from sync.design.sampled import sample
from sync.loop import DifferentialLoop, rational
from sync.loop import margins as differential_margins

SQUARE = [(-0.6, -0.4), (0.6, -0.4), (-0.6, 0.4), (0.6, 0.4)]


def random_motor_loops(number: int) -> list[DifferentialLoop]:
    """Delayed motor loops with P or PI, most of them stable."""
    draw = np.random.default_rng(20)
    found = []
    for k in range(number):
        speed, lag, delay = 10.0 ** draw.uniform((-2.0, -3.0, -3.0), (-1.0, -1.3, -1.0))
        rate = 10.0 ** draw.uniform(-2.5, 0.6) / (lag + delay)
        gain = rate / (2.0 * speed)
        integral = gain * rate * 10.0 ** draw.uniform(-3.0, -0.7) if k % 2 else 0.0
        found.append(DifferentialLoop(gain, integral, speed, lag, delay))
    return found


def dense(loop: DifferentialLoop) -> tuple[float, float, float]:
    """Gain margin, phase margin [deg] and sensitivity peak of a stable loop, by brute force along the Nyquist curve."""
    rate, delay = 2.0 * loop.gain * loop.speed_per_duty, loop.delay
    slow = min(rate, loop.integral_gain / loop.gain or rate)
    s = 1j * np.geomspace(1e-3 * slow, 30.0 / delay, 40_000)
    value = rate * (1.0 + loop.integral_gain / loop.gain / s) * np.exp(-s * delay) / (s * (s * loop.time_constant + 1.0))
    turn = np.flatnonzero((value.imag[1:] >= 0.0) != (value.imag[:-1] >= 0.0))
    share = value.imag[turn] / (value.imag[turn] - value.imag[turn + 1])
    ends = value.real[turn] + share * (value.real[turn + 1] - value.real[turn])
    size = np.log(np.abs(value))
    unity = np.flatnonzero((size[1:] >= 0.0) != (size[:-1] >= 0.0))
    share = size[unity] / (size[unity] - size[unity + 1])
    angle = np.angle(-value[unity]) + share * np.angle(value[unity + 1] / value[unity])
    gains = -1.0 / ends[ends < 0.0]
    peak = float((1.0 / np.abs(1.0 + value)).max())
    return float(gains[gains > 1.0].min()), float(np.degrees(np.abs(angle).min())), peak


def test_margins_of_many_random_delayed_motor_loops_are_those_of_a_dense_search() -> None:
    loops = random_motor_loops(400)
    stable = [(loop, found) for loop in loops if (found := differential_margins(loop)).stable]
    wrong = 0
    for loop, found in stable:
        gain, phase, peak = dense(loop)
        right = abs(found.gain / gain - 1.0) < 1e-4 and abs(found.phase - phase) < 0.01 and abs(found.sensitivity / peak - 1.0) < 5e-4
        wrong += not right
    print(f"{len(stable)} stable of {len(loops)} loops, wrong: {wrong}")

    assert len(stable) >= 300
    assert wrong == 0


def test_an_unstable_loop_is_called_unstable_where_a_pade_approximation_says_so() -> None:
    """The dead time as a Pade quotient of order 8 turns the loop into one whose roots can be found."""
    checked = 0
    for loop in random_motor_loops(60):
        one = rational(loop)
        pade = control.pade(loop.delay, 8)
        whole = np.polyadd(np.polymul(one.denominator, pade[1]), np.polymul(one.numerator, pade[0]))
        found = differential_margins(loop)
        if 0.97 < found.gain < 1.03:
            continue
        checked += 1

        assert found.stable == bool(np.roots(whole).real.max() < 0.0)
    assert checked > 50


def test_python_control_finds_the_same_margins_on_our_grid() -> None:
    for loop in random_motor_loops(6):
        one = rational(loop)
        found = loop_margins(one)
        if not found.stable:
            continue
        data = control.FrequencyResponseData(one(one.omega), one.omega, smooth=True)
        gain, phase, distance, _, crossover, _ = control.stability_margins(data)

        assert found.gain == pytest.approx(gain, rel=1e-3)
        assert found.phase == pytest.approx(phase, abs=0.05)
        assert found.crossover == pytest.approx(crossover, rel=1e-3)
        # the least distance it finds is one on its own grid, and never below the true one
        assert found.sensitivity >= (1.0 - 1e-4) / distance


@pytest.mark.parametrize("loop", [RationalLoop((3.0,), (1.0, 3.0, 3.0, 1.0)), RationalLoop((1.0,), (1.0, 2.0, 1.0, 0.0))])
def test_that_much_more_dead_time_puts_the_curve_on_the_critical_point(loop: RationalLoop) -> None:
    found = loop_margins(loop)
    late = delayed(loop, found.delay)

    assert found.delay == pytest.approx(np.radians(found.phase) / found.crossover, rel=1e-12)
    assert abs(late(np.array([found.crossover]))[0] + 1.0) < 1e-6
    assert unstable_roots(delayed(loop, 0.99 * found.delay)) == 0
    assert unstable_roots(delayed(loop, 1.01 * found.delay)) == 2


def leg(**changes: float) -> LegModel:
    given = {
        "resistance": 0.91,
        "inductance": 1e-3,
        "torque_constant": 0.055,
        "inertia": 4.6e-5,
        "damping": 4e-5,
        "load_torque": 2.7e-4,
        "travel_per_radian": 9.8e-5,
        "volts_per_duty": 24.0,
        "duty": 0.88,
        "current": 4.0,
    }
    return LegModel(**(given | changes))


def square_lift(spread: float, seed: int, stiffness: float = 0.0) -> LiftModel:
    """Four legs on a rectangle, their constants drawn within +-``spread``; ``stiffness`` [N/m] of warp."""
    draw = np.random.default_rng(seed)
    names = ("resistance", "torque_constant", "inertia", "travel_per_radian", "volts_per_duty")
    base = leg()
    legs = tuple(leg(**{name: getattr(base, name) * (1.0 + spread * draw.uniform(-1.0, 1.0)) for name in names}) for _ in SQUARE)
    warp = np.outer([0.5, -0.5, -0.5, 0.5], [0.5, -0.5, -0.5, 0.5])
    return LiftModel(legs, stiffness * warp, SupplyModel(0.1, 2.2e-3), relative_basis(SQUARE))


def square_loop(gain: float, spread: float = 0.3, seed: int = 1, integral: float = 0.0, delay: float = 1e-4, tick: float = 0.01) -> Loop:
    lift = square_lift(spread, seed)
    return Loop(sample(state_space(lift), tick, delay), mean_coupling(lift.basis, gain, integral), lift.basis.names)


def test_alike_legs_have_three_alike_modes_each_with_the_loop_of_two() -> None:
    lift = square_lift(0.0, 1)
    plant = sample(state_space(lift), 0.01, 1e-4)
    whole = Loop(plant, mean_coupling(lift.basis, 50.0, 50.0), lift.basis.names)
    pair = LiftModel(lift.legs[:2], np.zeros((2, 2)), SupplyModel(), relative_basis(SQUARE[:2]))
    two = Loop(sample(state_space(pair), 0.01, 1e-4), mean_coupling(pair.basis, 50.0, 50.0), pair.basis.names)
    one = two.along()[:, 0, 0]

    np.testing.assert_allclose(whole.along(), one[:, None, None] * np.eye(3), rtol=1e-7, atol=1e-9 * np.abs(one).max())
    assert margins(whole).gain == pytest.approx(margins(two).gain, rel=1e-6)


def test_alike_legs_in_a_ring_have_the_gains_of_the_ring() -> None:
    """Neighbours only: modes see 4 sin^2(pi j/N) of what mean coupling gives; so the fastest mode of four sees 4, the others 2."""
    order = [(-0.6, -0.4), (0.6, -0.4), (0.6, 0.4), (-0.6, 0.4)]
    lift = LiftModel((leg(),) * 4, np.zeros((4, 4)), SupplyModel(), relative_basis(order))
    ring = 2.0 * np.eye(4) - np.roll(np.eye(4), 1, axis=0) - np.roll(np.eye(4), -1, axis=0)
    plant = sample(state_space(lift), 0.01, 1e-4)
    ringed = np.sort(np.abs(np.linalg.eigvals(Loop(plant, coupling_law(ring, lift.basis, 1.0, 0.0), lift.basis.names).along()[200])))
    mean = abs(np.linalg.eigvals(Loop(plant, coupling_law(np.eye(4) - 0.25, lift.basis, 1.0, 0.0), lift.basis.names).along()[200])[0])

    assert ringed / mean == pytest.approx([2.0, 2.0, 4.0], rel=1e-9)


@pytest.mark.parametrize("seed", range(6))
def test_at_the_gain_margin_of_unequal_legs_a_closed_loop_pole_meets_the_unit_circle(seed: int) -> None:
    loop = square_loop(50.0, seed=seed, integral=60.0, delay=0.012)
    found = margins(loop)
    edge = square_loop(50.0 * found.gain, seed=seed, integral=60.0 * found.gain, delay=0.012)

    assert found.stable
    assert np.abs(poles(edge)).max() == pytest.approx(1.0, abs=1e-6)


@pytest.mark.parametrize("seed", range(4))
def test_at_the_delay_margin_of_unequal_legs_a_closed_loop_pole_meets_the_unit_circle(seed: int) -> None:
    """With the further delay sampled exactly; the margin takes it as a dead time at every frequency, which it nearly is."""
    found = margins(square_loop(200.0, seed=seed, tick=0.002))
    edge = square_loop(200.0, seed=seed, delay=1e-4 + found.delay, tick=0.002)

    assert np.abs(poles(edge)).max() == pytest.approx(1.0, abs=2e-5)


def test_encirclements_count_the_poles_outside() -> None:
    counts = []
    for seed, gain in enumerate([20.0, 50.0, 200.0, 600.0, 1000.0, 1400.0, 1800.0, 2600.0, 4000.0]):
        loop = square_loop(gain, seed=seed, integral=gain, delay=0.012)
        counts.append(int(np.sum(np.abs(poles(loop)) > 1.0)))

        assert unstable_poles(loop) == counts[-1]
    assert min(counts) == 0
    assert max(counts) >= 6  # all three modes


def test_a_stiffness_that_pushes_apart_makes_an_open_loop_pole_outside_that_is_counted_in() -> None:
    """Lowering a self-locking spindle, the leg that carries more is the slower: racking then drives the legs apart."""
    base = square_lift(0.1, 3, stiffness=4e5)
    lift = LiftModel(tuple(leg(load_torque=-2.9e-4, duty=-0.88, current=-1.0) for _ in base.legs), base.stiffness, base.supply, base.basis)
    plant = sample(state_space(lift), 0.01, 1e-4)
    weak, strong = (Loop(plant, mean_coupling(lift.basis, gain, 0.0), lift.basis.names) for gain in (0.5, 50.0))

    assert np.abs(np.linalg.eigvals(plant.phi)).max() > 1.001
    assert [unstable_poles(loop) for loop in (weak, strong)] == [1, 0]
    assert [margins(loop).stable for loop in (weak, strong)] == [False, True]
    assert 0.0 < margins(strong).gain_low < 1.0


def test_modes_taken_alone_are_those_of_the_whole_lift_where_legs_are_alike() -> None:
    """Pole of a mode under its stiffness: s^2 tau + s + rate = 0 within the electrical time constant."""
    base = square_lift(0.0, 1, stiffness=4e4)
    found = mode_constants(LiftModel(base.legs, base.stiffness, SupplyModel(), base.basis))
    whole = np.linalg.eigvals(state_space(LiftModel(base.legs, base.stiffness, SupplyModel(), base.basis)).a)
    warp = found[-1]

    assert [mode.name for mode in found] == ["mean", "tilt x", "tilt y", "warp"]
    assert [mode.return_rate for mode in found[:3]] == pytest.approx([0.0] * 3, abs=1e-12)
    assert warp.stiffness == pytest.approx(4e4)
    slow = np.roots([warp.time_constant, 1.0, warp.return_rate]).max()
    assert np.abs(whole - slow).min() < 0.02 * abs(slow)
    assert all(mode.speed_per_duty == pytest.approx(base.legs[0].speed_per_duty) for mode in found)


def test_the_sensitivity_bounds_hold_for_every_locus() -> None:
    found = margins(square_loop(400.0, delay=0.008))

    assert found.gain >= found.sensitivity / (found.sensitivity - 1.0)
    assert found.phase >= np.degrees(2.0 * np.arcsin(0.5 / found.sensitivity))


@pytest.mark.parametrize("delay", [0.0, 0.0037, 0.01, 0.0249])
def test_the_sampled_plant_is_that_of_a_fine_march(delay: float) -> None:
    """Duty steps held over ticks and delayed: the states at the ticks, marched through the continuous model in small steps."""
    space = state_space(square_lift(0.3, 2, stiffness=1e4))
    plant = sample(space, 0.01, delay)
    duties = np.random.default_rng(1).normal(size=(12, 4))
    fine = 100
    small = sample(space, 1e-4, 0.0)
    state = np.zeros(len(space.a))
    seen = []
    for k in range(12 * fine):
        if k % fine == 0:
            seen.append(space.c @ state)
        at = int(np.floor((k * 1e-4 - delay) / 0.01 + 1e-9))
        state = small.phi @ state + small.new @ (duties[at] if at >= 0 else np.zeros(4))
    state, past, told = np.zeros(len(space.a)), [np.zeros(4)] * 4, []
    for k in range(12):
        told.append(plant.c @ state)
        past = [duties[k], *past[:3]]
        state = plant.phi @ state + plant.new @ past[plant.whole] + plant.old @ past[plant.whole + 1]

    np.testing.assert_allclose(told, seen, rtol=1e-9, atol=1e-13)


@pytest.mark.parametrize("delay", [0.0, 0.004, 0.01, 0.023])
def test_responses_in_time_are_those_of_the_closed_loop_matrix(delay: float) -> None:
    loop = square_loop(40.0, integral=30.0, delay=delay)
    step, entry = closed_loop(loop)
    duty = np.array([0.01, -0.02, 0.0, 0.01])
    state, heights = np.zeros(len(step)), []
    for _ in range(200):
        heights.append(state[8:11])
        state = step @ state + entry @ duty

    np.testing.assert_allclose(respond(loop, 200, duty=duty).heights, heights, rtol=1e-9, atol=1e-14)


def test_an_integral_takes_the_level_error_of_a_load_step_away() -> None:
    load = np.array([100.0, 0.0, 0.0, 0.0])
    held = respond(square_loop(50.0, integral=50.0), 1500, force=load).heights
    drooping = respond(square_loop(50.0), 1500, force=load).heights

    assert np.abs(held[-1]).max() < 1e-3 * np.abs(drooping[-1]).max()
    assert np.abs(drooping[-1]).max() > 1e-5


def test_loci_are_followed_by_continuity() -> None:
    t = np.linspace(0.0, 1.0, 200)
    curves = np.stack([np.exp(2j * pi * t), 0.5 * np.exp(-2j * pi * t) + 0.1, 2.0 - t + 0.3j], axis=1)
    shuffled: NDArray[np.complex128] = np.array([np.random.default_rng(k).permutation(row) for k, row in enumerate(curves)])
    shuffled[0] = curves[0]

    np.testing.assert_array_equal(tracked(shuffled), curves)


def test_turns_are_counted_with_their_sense_and_a_coarse_curve_is_refused() -> None:
    round_ = np.exp(1j * np.linspace(0.0, 2.0 * pi, 100))

    assert [winding(round_), winding(round_**-2), winding(round_ + 3.0)] == [1, -2, 0]
    with pytest.raises(ValueError, match="coarse"):
        winding(round_[::30])


def test_the_count_quantum_may_cycle_only_between_gain_margins_of_one_and_4_over_pi() -> None:
    boundary = margins(square_loop(50.0, spread=0.0)).gain * 50.0
    verdicts = [check_quantum(margins(square_loop(boundary / gain, spread=0.0))) for gain in (0.9, 1.05, 1.26, 1.29, 3.0)]

    assert [one.verdict for one in verdicts] == [QuantumVerdict.UNSTABLE, *[QuantumVerdict.MAY_CYCLE] * 2, *[QuantumVerdict.NONE] * 2]
    assert verdicts[0].amplitude == inf
    assert verdicts[1].amplitude > verdicts[2].amplitude > 0.5**0.5


def test_one_leg_and_a_law_that_moves_the_mean_are_refused() -> None:
    with pytest.raises(ValueError, match="two legs"):
        relative_basis([(0.0, 0.0)])
    with pytest.raises(ValueError, match="sum to zero"):
        coupling_law(np.eye(4), relative_basis(SQUARE), 1.0, 0.0)
    with pytest.raises(ValueError, match="kc_per_mm"):
        margins(square_loop(0.0))
    with pytest.raises(ValueError, match="tick"):
        sample(state_space(square_lift(0.0, 1)), 0.0, 0.0)
