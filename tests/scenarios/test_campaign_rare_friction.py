"""Importance sampling on friction: a starting current that only a stiff spindle asks for, against brute force and the exact tail."""

from __future__ import annotations

from math import log
from pathlib import Path

import pytest
from campaigns import flown_folder, short_plan
from scipy.special import ndtr

from scenarios.campaign.answers import LimitAnswer, answers_of
from scenarios.campaign.edge import find_edges
from scenarios.campaign.plan import Plan, load_plan
from scenarios.campaign.rare import Estimate
from scenarios.campaign.statistics import exact_interval

ONE = '"fault.1.factor" = {{ distribution = "log-normal", median = {median}, spread = {spread} }}'
"""Thread friction of one leg, as a factor. Two thirds within a tenth of the usual: a planning value, no source."""
BOTH = (
    '"lift.leg.spindle.friction" = {{ distribution = "log-normal", median = {median}, spread = {spread}, relative = true, '
    'each_leg = true, also = ["lift.leg.spindle.static_friction"] }}'
)
FAULT = '[[fault]]\nwhat = "thread-friction"\nleg = "right"\nat_s = 0.0\nfactor = 1.0\n\n[limits]'
BRUTE = {5.9: (645, 200_000), 6.1: (98, 200_000), 6.2: (32, 200_000)}
"""Lifts beyond a current [A] of all that were flown untilted, once, both spindles varying, half with seed 5 and half with seed 6."""
WIDE = (1.15, 1.2)
"""Median and spread of a proposal that reaches both: one spindle stiff and the other usual, and both stiff."""
FAR = (1.4, 1.1)
"""One that draws both spindles stiff: nearly all that breaks the limit in truth, one stiff spindle, it leaves out."""


def stiff_plan(
    folder: Path, key: str, lifts: int, limit: float, *, spread: float = 1.1, propose: tuple[float, float] | None = None
) -> Plan:
    """10 mm up with the full load; what the friction of the spindles varies by, and a limit on the current of any motor [A]."""
    short_plan(folder)
    text = (folder / "short.toml").read_text(encoding="utf-8").replace("to_mm = 40.0", "to_mm = 30.0")
    (folder / "short.toml").write_text(text.replace("[limits]", FAULT, 1), encoding="utf-8")
    rare = "" if propose is None else f"[rare]\n[rare.propose]\n{key.format(median=propose[0], spread=propose[1])}"
    text = f"""kind = "campaign"
name = "stiff"
rehearsal = "short.toml"
lifts = {lifts}
seed = 5
{rare}
[vary]
{key.format(median=1.0, spread=spread)}
[set]
"limits.move_time_s" = 9.0
"limits.peak_current_a" = {limit}
"""
    (folder / "stiff.toml").write_text(text, encoding="utf-8")
    return load_plan(folder / "stiff.toml")


def answered(plan: Plan, out: Path) -> LimitAnswer:
    return next(one for one in answers_of(flown_folder(plan, out)).limits if one.name == "peak_current_a")


def exact_tail(plan: Plan, spread: float) -> float:
    """Probability of a friction factor of one leg, median 1, beyond the one at which ``--edge`` finds the limit broken."""
    _, (_, above) = find_edges(plan.nominal.path, plan.changes, "fault.1.factor")
    print(above)
    assert (above.limit, above.up) == ("peak_current_a", True)
    assert above.broken is not None
    return float(ndtr(-log(0.5 * (above.kept + above.broken)) / log(spread)))


def estimated(plan: Plan, out: Path) -> Estimate:
    found = answered(plan, out).estimate
    assert found is not None
    return found


@pytest.mark.parametrize(
    ("spread", "limit", "about"),
    [
        (1.1, 5.9, 1.3e-3),
        (1.1, 6.1, 2.0e-4),
        (1.07, 6.1, 3.0e-7),
    ],
)
def test_the_tail_beyond_the_edge_is_what_weighted_lifts_estimate(tmp_path: Path, spread: float, limit: float, about: float) -> None:
    """One spindle: its starting current rises with its friction alone, so ``--edge`` finds the factor at which the limit
    breaks (1.332 and 1.401), and the probability of more is that of the distribution, far beyond what can be flown untilted."""
    plan = stiff_plan(tmp_path, ONE, 400, limit, spread=spread, propose=(1.4, 1.1))
    tail = exact_tail(plan, spread)
    found = estimated(plan, tmp_path / "out")
    print(f"exact {tail:.3e}, tilted {found}")

    assert tail == pytest.approx(about, rel=0.1)
    assert found.high is not None
    assert found.low < tail < found.high
    assert found.effective_broken > 30.0
    assert found.mean_weight == pytest.approx(1.0, abs=0.3)


@pytest.mark.slow
@pytest.mark.parametrize("limit", [5.9, 6.1, 6.2])
def test_two_stiff_spindles_are_estimated_as_brute_force_found_them(tmp_path: Path, limit: float) -> None:
    """Either spindle may ask for the current.  Brute force, flown once, against 12,000 tilted lifts, flown once:

    5.9 A: 3.23e-3 (2.98e-3 to 3.48e-3), 3.08e-3 (2.89e-3 to 3.29e-3), 4,153 broken, which count as 876;
    6.1 A: 4.90e-4 (3.98e-4 to 5.97e-4), 4.51e-4 (4.16e-4 to 4.89e-4), 2,869 broken, which count as 565;
    6.2 A: 1.60e-4 (1.09e-4 to 2.26e-4), 1.59e-4 (1.46e-4 to 1.74e-4), 2,311 broken, which count as 468.
    """
    found = estimated(stiff_plan(tmp_path, BOTH, 1500, limit, propose=WIDE), tmp_path / "out")
    brute = exact_interval(*BRUTE[limit], 0.95)
    print(f"tilted {found}; brute force {brute}")

    assert found.high is not None
    assert found.low < brute.high
    assert brute.low < found.high
    assert found.high / found.low < 2.5
    assert found.effective_broken > 30.0


@pytest.mark.slow
def test_brute_force_flown_here_agrees_with_weighted_lifts(tmp_path: Path) -> None:
    """4,000 lifts untilted, 1,000 tilted, both spindles, 5.9 A."""
    plain = answered(stiff_plan(tmp_path / "a", BOTH, 4000, 5.9), tmp_path / "a" / "out")
    found = estimated(stiff_plan(tmp_path / "b", BOTH, 1000, 5.9, propose=WIDE), tmp_path / "b" / "out")
    print(f"untilted {plain.broken} of 4000, {plain.interval}; tilted {found}")

    assert plain.interval is not None
    assert found.high is not None
    assert plain.broken > 3
    assert found.low < plain.interval.high
    assert plain.interval.low < found.high


def test_a_proposal_that_leaves_out_how_it_breaks_counts_for_little_and_says_so(tmp_path: Path) -> None:
    """Both spindles drawn stiff: most tilted lifts break the limit, and yet they count as a few, for it breaks by one stiff spindle."""
    plan = stiff_plan(tmp_path, BOTH, 400, 6.1, propose=FAR)
    answer = answered(plan, tmp_path / "out")
    found = answer.estimate
    print(found)

    assert found is not None
    assert found.broken > 200
    assert found.effective_broken < 30.0
    assert "too few to rest on" in answer.claim


@pytest.mark.slow
def test_misses_tilted_beside_the_friction_cost_effective_lifts_and_no_truth(tmp_path: Path) -> None:
    """The starting current does not hear of misses: with the chances of both legs doubled as well the estimate must be the same.

    1.99e-4 exact; 1,500 lifts: friction alone 1.96e-4 (1.76e-4 to 2.18e-4), 676 broken lifts that count as 269; with the misses
    1.97e-4 (1.64e-4 to 2.37e-4), and they count as 104.
    """
    alone = stiff_plan(tmp_path, ONE, 1500, 6.1, propose=FAR)
    path = tmp_path / "stiff.toml"
    path.write_text(path.read_text(encoding="utf-8").replace("[rare]\n", "[rare]\nmiss_factor = 2.0\n"), encoding="utf-8")
    both = load_plan(path, ["lift.every_leg.detector.run_miss=0.005"])
    plain, found = estimated(alone, tmp_path / "alone"), estimated(both, tmp_path / "both")
    tail = exact_tail(alone, 1.1)
    print(f"exact {tail:.3e}, friction alone {plain}, with misses {found}")

    for one in (plain, found):
        assert one.high is not None
        assert one.low < tail < one.high
        assert one.effective_broken > 30.0
        assert one.mean_weight == pytest.approx(1.0, abs=0.3)
    assert found.effective_broken < 0.7 * plain.effective_broken
