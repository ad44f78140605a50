"""Importance sampling: weights that are ratios of what was asked to what was flown, and estimates that brute force agrees with."""

from __future__ import annotations

from math import exp, log
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from campaigns import flown_folder, short_plan
from machines import leg_of, set_a
from numpy.typing import NDArray
from scipy import integrate

from plant.counting import hear
from plant.kernel import kernel
from scenarios.campaign.answers import answers_of
from scenarios.campaign.draws import value_of
from scenarios.campaign.folder import Folder
from scenarios.campaign.plan import Plan, load_plan
from scenarios.campaign.rare import chances, estimate, estimate_words, log_density, log_ratio_of_chances
from scenarios.campaign.replay import replayed
from scenarios.campaign.rows import column_names
from scenarios.campaign.statistics import exact_interval
from scenarios.errors import InputError
from scenarios.files.spread import Spread

SPREADS = (
    Spread(distribution="uniform", low=1.0, high=3.0),
    Spread(distribution="triangular", low=1.0, mode=1.5, high=3.0),
    Spread(distribution="normal", mean=2.0, sd=0.5),
    Spread(distribution="truncated-normal", mean=0.5, sd=0.5, low=1.0, high=3.0),
    Spread(distribution="log-normal", median=2.0, spread=1.3),
)
COMMUTATIONS = 300
MISSED = 8
"""Missed of 300 at a chance of 0.5 %: a binomial probability of 1.7e-4."""
BRUTE = (21, 100_000)
"""Lifts beyond 0.52 mm of all that were flown untilted, once, by this file's campaign with seed 4."""
RATES = (0.005, 0.003, 0.001)


@pytest.mark.parametrize("spread", SPREADS, ids=lambda one: one.distribution)
def test_a_density_is_the_slope_of_the_distribution_it_draws_from(spread: Spread) -> None:
    """Integrated between two quantiles it gives the probability between them."""
    low, high = (float(value_of(spread, share)) for share in (0.1, 0.85))
    area, _ = integrate.quad(lambda x: exp(log_density(spread, x)), low, high)

    assert area == pytest.approx(0.75, abs=1e-6)


def test_the_probability_of_a_discrete_value_is_its_weight() -> None:
    spread = Spread(distribution="discrete", values=(1.0, "wet", 3.0), weights=(1.0, 2.0, 5.0))

    assert [exp(log_density(spread, value)) for value in (1.0, "wet", 3.0)] == pytest.approx([0.125, 0.25, 0.625])


@kernel
def _walk(machine: Any, found: Any) -> None:
    """Commutations missed, doubled and joined by a false pulse in every lift; shape (lifts, 2): missed, extra."""
    leg = machine.legs[0]
    detector = leg.detector
    for run in range(len(found)):
        machine.run = run
        leg.motor.ordinal = 0
        leg.motor.commuted = 0
        detector.words_of = -1
        detector.missed = 0
        detector.extra = 0
        for _ in range(COMMUTATIONS):
            detector.waiting = 0
            hear(machine, leg, 1000.0)
        found[run, 0] = detector.missed
        found[run, 1] = detector.extra


@kernel
def _walk_of(machines: Any, found: Any) -> None:
    _walk(machines[0], found)


def heard(rates: tuple[float, float, float], lifts: int, seed: int = 7) -> tuple[NDArray[np.int64], int]:
    """Missed and extra pulses of many lifts of 300 commutations, drawn by the shipped kernel, and the key of the leg."""
    world = set_a()
    leg = leg_of(world)
    leg["detector"]["run_miss"], leg["detector"]["run_double"], leg["detector"]["run_false"] = rates
    leg["bridge"]["mode"] = 1
    world["seed"] = seed
    found = np.zeros((lifts, 2), np.int64)
    _walk_of(world, found)
    return found, int(leg["key"])


def test_the_draws_of_the_detector_are_drawn_again_from_the_number_of_commutations() -> None:
    found, key = heard((0.05, 0.03, 0.02), 20)
    for run in range(20):
        drawn = chances(7, run, key, COMMUTATIONS)

        assert int(np.sum(drawn < 0.05)) == found[run, 0]
        assert int(np.sum((drawn >= 0.05) & (drawn < 0.1))) == found[run, 1]


def test_the_mean_weight_is_one_and_a_single_draw_has_the_ratio_of_its_chances() -> None:
    flown = (0.02, 0.003, 0.002)
    weights = [exp(log_ratio_of_chances(chances(3, run, 11, COMMUTATIONS), RATES, flown, flown)) for run in range(4000)]
    tries = {"miss": 0.01, "double": 0.021, "false": 0.024, "nothing": 0.5}
    ratios = {name: exp(log_ratio_of_chances(np.array([chance]), RATES, flown, flown)) for name, chance in tries.items()}

    assert np.mean(weights) == pytest.approx(1.0, abs=4.0 * np.std(weights) / 4000**0.5)
    assert ratios == pytest.approx({"miss": 0.25, "double": 1.0, "false": 0.5, "nothing": (1 - 0.009) / (1 - 0.025)})


@pytest.mark.slow
def test_an_event_of_one_in_ten_thousand_is_estimated_as_brute_force_finds_it() -> None:
    """Eight or more of 300 commutations missed at 0.5 % each: 1.7e-4 by the binomial law, 1.6e-4 to 1.9e-4 of a million lifts flown
    untilted; 4,000 lifts with five times the misses must hold both in their interval."""
    from scipy.stats import binom

    rates, tilted = (0.005, 0.0, 0.0), (0.025, 0.0, 0.0)
    brute = heard(rates, 1_000_000)[0][:, 0] >= MISSED
    few, key = heard(tilted, 4000, seed=8)
    ratios = np.array([log_ratio_of_chances(chances(8, run, key, COMMUTATIONS), rates, tilted, tilted) for run in range(4000)])
    found = estimate(few[:, 0] >= MISSED, ratios, 0.99)
    exact = float(binom.sf(MISSED - 1, COMMUTATIONS, 0.005))
    print(f"exact {exact:.3e}, brute force {brute.mean():.3e} ({brute.sum()} of a million), tilted {found}")

    assert found.high is not None
    assert brute.mean() == pytest.approx(exact, abs=4.0 * (exact / 1e6) ** 0.5)
    assert found.low < exact < found.high
    assert found.low < brute.mean() < found.high
    assert found.high / found.low < 1.3
    assert found.effective_broken > 500
    assert found.mean_weight == pytest.approx(1.0, abs=0.4)


def rare_plan(folder: Path, lifts: int, rare: str, *, vary: str = "", sets: str = "") -> Plan:
    """The move of 20 mm with chances of a miss of 0.5 %, and a limit on the lost counts."""
    short_plan(folder)
    text = f"""kind = "campaign"
name = "rare"
rehearsal = "short.toml"
lifts = {lifts}
seed = 4
{rare}
[vary]
{vary}
[set]
"lift.every_leg.detector.run_miss" = 0.005
"lift.every_leg.detector.run_double" = 0.0
"limits.move_time_s" = 9.0
"limits.target_error_mm" = 9.0
{sets}
"""
    (folder / "rare.toml").write_text(text, encoding="utf-8")
    return load_plan(folder / "rare.toml")


TABLE = (
    '"lift.leg.spindle.friction" = {{ distribution = "log-normal", median = {}, spread = 1.1, relative = true, each_leg = true, '
    'also = ["lift.leg.spindle.static_friction"] }}'
)
FRICTION, HIGHER = TABLE.format(1.0), TABLE.format(1.2)


def answered(plan: Plan, out: Path) -> Any:
    return answers_of(flown_folder(plan, out))


ONE_LEG = """"settings.plausibility.running" = "none"
"lift.leg.right.detector.run_miss" = 0.0
"limits.position_error_mm" = {limit}"""


@pytest.mark.slow
def test_whole_lifts_that_are_tilted_tell_what_untilted_ones_tell(tmp_path: Path) -> None:
    """Counts lost on one leg of a whole lift, nothing corrected: 3,000 lifts untilted against 1,500 with twice the misses."""
    untilted = answered(rare_plan(tmp_path / "a", 3000, "", sets=ONE_LEG.format(limit=0.35)), tmp_path / "a" / "out")
    tilted = answered(rare_plan(tmp_path / "b", 1500, "[rare]\nmiss_factor = 2.0", sets=ONE_LEG.format(limit=0.35)), tmp_path / "b" / "out")
    plain, weighed = (next(one for one in found.limits if one.name == "position_error_mm") for found in (untilted, tilted))
    print(f"untilted {plain.broken} of 3000, {plain.interval}; tilted {weighed.estimate}")

    assert plain.interval is not None
    assert weighed.estimate is not None
    assert weighed.estimate.high is not None
    assert 0.003 < plain.broken / plain.judged < 0.1
    assert weighed.estimate.low < plain.interval.high
    assert plain.interval.low < weighed.estimate.high
    assert weighed.estimate.effective_broken > 30


@pytest.mark.slow
def test_an_event_of_one_in_ten_thousand_lifts_is_estimated_as_brute_force_found_it(tmp_path: Path) -> None:
    """A limit of 0.52 mm, which takes about nine lost counts: brute force, flown once, found 21 in 100,000
    (1.3e-4 to 3.2e-4); 4,000 tilted lifts, drawn otherwise, gave 1.38e-4 (1.21e-4 to 1.56e-4), 1,141 of them beyond, which count as 227."""
    plan = rare_plan(tmp_path, 3000, "[rare]\nmiss_factor = 4.0", sets=ONE_LEG.format(limit=0.52))
    found = next(one for one in answered(plan, tmp_path / "out").limits if one.name == "position_error_mm").estimate
    brute = exact_interval(*BRUTE, 0.95)
    print(f"tilted {found}; brute force {BRUTE}, {brute}")

    assert found is not None
    assert found.high is not None
    assert found.low < brute.high
    assert brute.low < found.high
    assert 5e-5 < found.low < found.high < 3e-4
    assert found.effective_broken > 100


def test_tilted_lifts_carry_weights_and_the_answers_use_them(tmp_path: Path) -> None:
    plan = rare_plan(tmp_path, 60, f"[rare]\nmiss_factor = 2.0\n[rare.propose]\n{HIGHER}", vary=FRICTION)
    found = answered(plan, tmp_path / "out")
    error = next(one for one in found.limits if one.name == "position_error_mm")
    table = Folder(tmp_path / "out", plan, 60).table()
    weights = np.exp(table[:, column_names(plan).index("log_weight")])

    assert error.estimate is not None
    assert error.estimate.share == pytest.approx(np.sum(weights[table[:, column_names(plan).index("position_error_mm.ok")] == 0.0]) / 60)
    assert np.max(weights) <= 10.0
    assert np.ptp(weights) > 0.1
    assert error.quantiles == ()
    assert "mean weight" in error.claim or "no bound follows" in error.claim
    assert sum(plan.sampler.untilted(run) for run in range(1000)) == pytest.approx(100, abs=30)


def test_a_tilted_run_is_replayed_tilted(tmp_path: Path) -> None:
    plan = rare_plan(tmp_path, 20, "[rare]\nmiss_factor = 2.0")
    Folder(tmp_path / "out", plan)
    run = next(run for run in range(20) if not plan.sampler.untilted(run))

    assert {leg.detector.run_miss for leg in replayed(tmp_path / "out", run)[1].lift.leg} == {0.01}


def test_estimates_that_rest_on_little_say_so() -> None:
    none = estimate(np.zeros(50, dtype=bool), np.zeros(50), 0.95)
    few = estimate(np.arange(50) < 3, np.full(50, log(0.01)), 0.95)

    assert (none.share, none.low, none.high) == (0.0, 0.0, None)
    assert "no bound follows" in estimate_words(none, 0.95)
    assert few.share == pytest.approx(3 * 0.01 / 50)
    assert few.effective_broken == pytest.approx(3.0)
    assert "too few to rest on" in estimate_words(few, 0.95)


@pytest.mark.parametrize(
    ("rare", "told"),
    [
        ("[rare]", "tilts nothing"),
        ("[rare]\nmiss_factor = 200.0", "add up to 1"),
        (f"[rare]\n[rare.propose]\n{HIGHER}", "is not in"),
    ],
)
def test_tilts_that_cannot_be_flown_are_refused(tmp_path: Path, rare: str, told: str) -> None:
    with pytest.raises(InputError, match=told):
        rare_plan(tmp_path, 10, rare)
