"""What a campaign varies: values that depend on seed and run alone, of the distributions that the file names."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from rehearsals import EXAMPLES
from scipy import stats

from scenarios.campaign.draws import value_of
from scenarios.campaign.plan import Plan, load_plan, restored
from scenarios.campaign.sampling import Sampler, uniforms
from scenarios.errors import InputError
from scenarios.files.campaign import CampaignFile
from scenarios.files.spread import Spread

NINE = 'distribution = "uniform", low = 0.0, high = 9.0'
WORKTOP = EXAMPLES / "worktop" / "campaign.toml"


def sampler(count: int = 3, groups: Any = (), **keys: Any) -> Sampler:
    unit = Spread(distribution="uniform", low=0.0, high=1.0)
    names = [f"n{k}" for k in range(count)]
    file = CampaignFile(kind="campaign", name="x", rehearsal="raise.toml", vary=dict.fromkeys(names, unit), **keys)
    return Sampler(file, names, [unit] * count, groups)


def written(folder: Path, text: str) -> Path:
    """A campaign of the shipped worktop, with another [vary]."""
    for name in ("raise.toml", "worktop.toml", "settings.toml"):
        (folder / name).write_bytes((EXAMPLES / "worktop" / name).read_bytes())
    path = folder / "mine.toml"
    path.write_text(f'kind = "campaign"\nname = "mine"\nrehearsal = "raise.toml"\nlifts = 4\n{text}\n')
    return path


def complaints(folder: Path, text: str) -> str:
    with pytest.raises(InputError) as told:
        load_plan(written(folder, text))
    return str(told.value)


@pytest.mark.parametrize("first", [0, 1, 2, 3, 5, 100])
def test_the_draws_of_a_run_do_not_depend_on_where_a_batch_begins(first: int) -> None:
    whole = uniforms(9, "payload", 0, 110)

    assert np.array_equal(uniforms(9, "payload", first, 110), whole[first:])
    assert not np.array_equal(uniforms(10, "payload", first, 110), whole[first:])
    assert not np.array_equal(uniforms(9, "supply", first, 110), whole[first:])


@pytest.mark.parametrize("sampling", ["random", "latin-hypercube", "sobol"])
def test_batches_of_any_size_have_the_same_values(sampling: str) -> None:
    made = sampler(lifts=64, sampling=sampling, groups=[((0, 2), 0.6)])
    whole = made.values(0, 64)

    assert [row for first in range(0, 64, 7) for row in made.values(first, min(first + 7, 64))] == whole
    assert sampler(lifts=64, sampling=sampling, groups=[((0, 2), 0.6)]).values(13, 20) == whole[13:20]


@pytest.mark.parametrize("sampling", ["latin-hypercube", "sobol"])
def test_a_design_puts_one_lift_into_every_sixty_fourth_of_each_range(sampling: str) -> None:
    values = np.array(sampler(lifts=64, sampling=sampling).values(0, 64))

    assert [sorted(np.floor(64 * column)) for column in values.T] == [list(range(64))] * 3


LAWS = {
    "uniform": ({"low": -1.0, "high": 3.0}, stats.uniform(-1.0, 4.0)),
    "normal": ({"mean": 2.0, "sd": 0.5}, stats.norm(2.0, 0.5)),
    "truncated-normal": ({"mean": 2.0, "sd": 0.5, "low": 1.2, "high": 4.0}, stats.truncnorm(-1.6, 4.0, 2.0, 0.5)),
    "triangular": ({"low": 0.0, "mode": 1.0, "high": 5.0}, stats.triang(0.2, 0.0, 5.0)),
    "log-normal": ({"median": 3.0, "spread": 1.5}, stats.lognorm(np.log(1.5), scale=3.0)),
}


@pytest.mark.parametrize("name", LAWS)
def test_values_have_the_quantiles_that_scipy_gives_their_distribution(name: str) -> None:
    figures, law = LAWS[name]
    spread = Spread(distribution=name, **figures)  # type: ignore[arg-type]

    for share in (1e-6, 0.01, 0.2, 0.5, 0.8, 0.99, 1.0 - 1e-6):
        assert value_of(spread, share) == pytest.approx(law.ppf(share), rel=1e-9)


def test_a_normal_distribution_cut_far_above_its_mean_keeps_its_digits() -> None:
    spread = Spread(distribution="truncated-normal", mean=0.0, sd=1.0, low=9.0, high=12.0)
    values = [value_of(spread, share) for share in (0.1, 0.5, 0.9)]

    assert values == pytest.approx(stats.truncnorm(9.0, 12.0).ppf([0.1, 0.5, 0.9]), rel=1e-9)


def test_discrete_values_come_as_often_as_their_weights_say() -> None:
    spread = Spread(distribution="discrete", values=(1.0, "spikes", 3.0), weights=(1.0, 2.0, 1.0))
    taken = [value_of(spread, (k + 0.5) / 400) for k in range(400)]

    assert [taken.count(value) for value in (1.0, "spikes", 3.0)] == [100, 200, 100]


def test_correlated_values_keep_their_own_distribution() -> None:
    made = sampler(lifts=4000, groups=[((0, 1), 0.7)])
    values = np.array(made.values(0, 4000))
    scores = stats.norm.ppf(values)

    assert np.corrcoef(scores.T)[0, 1] == pytest.approx(0.7, abs=3.0 * (1.0 - 0.49) / np.sqrt(4000))
    assert abs(np.corrcoef(scores.T)[0, 2]) < 3.0 / np.sqrt(4000)
    assert min(stats.kstest(column, "uniform").pvalue for column in values.T) > 0.001


def test_corners_and_grids_hold_every_combination_once() -> None:
    corners, grid = sampler(lifts=8, sampling="corners"), sampler(lifts=27, sampling="grid")

    assert sorted(corners.values(0, 8)) == sorted((float(a), float(b), float(c)) for a in (0, 1) for b in (0, 1) for c in (0, 1))
    assert (grid.combinations, len(set(grid.values(0, 27)))) == (27, 27)


def test_each_leg_draws_for_itself_and_further_keys_take_the_same_factor(tmp_path: Path) -> None:
    plan = load_plan(WORKTOP)
    scenario = plan.scenario(plan.sampler.values(2, 3)[0])
    left, right = (leg.spindle for leg in scenario.lift.leg)

    assert left.friction != right.friction
    assert left.static_friction / left.friction == pytest.approx(0.17 / 0.13)
    assert "lift.leg.left.spindle.friction_factor" in plan.columns


def test_a_plan_comes_back_from_its_texts_when_the_files_are_gone(tmp_path: Path) -> None:
    path = written(tmp_path, '[vary]\n"payload.mass_kg" = { distribution = "uniform", low = 0.0, high = 90.0 }')
    plan = load_plan(path)
    for file in tmp_path.iterdir():
        file.unlink()
    again: Plan = restored(plan.ticket)

    assert again.scenario(again.sampler.values(3, 4)[0]) == plan.scenario(plan.sampler.values(3, 4)[0])


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ('[vary]\n"payload.mas_kg" = { distribution = "uniform", low = 0.0, high = 9.0 }', "did you mean"),
        ('[vary]\n"payload.mass_kg" = { distribution = "uniform", low = 0.0 }', "needs low and high; high is missing"),
        ('[vary]\n"payload.mass_kg" = { distribution = "uniform", low = 0.0, high = 9.0, sd = 1.0 }', "no sd"),
        ('[vary]\n"payload.mass_kg" = { distribution = "uniform", low = 9.0, high = 0.0 }', "low = 9 must be below high = 0"),
        ('[vary]\n"payload.mass_kg" = { distribution = "normal", mean = 5.0, sd = 9.0 }', "truncate it"),
        ('[vary]\n"lift.leg.spindle.friction" = { distribution = "uniform", low = 0.1, high = 0.9 }', "takes the value 0.9"),
        ('[vary]\n"payload.mass_kg" = { distribution = "uniform", low = 0.0, high = 9.0, each_leg = true }', "lift.leg.PART.KEY"),
        ('[vary]\n"lift.supply.current_limit" = { distribution = "uniform", low = 0.0, high = 9.0 }', "did you mean"),
        ('[vary]\n"lift.leg.left.name" = { distribution = "uniform", low = 0.0, high = 9.0 }', "holds a word"),
        ('sampling = "sobol"', "[vary] is empty"),
        (
            'sampling = "grid"\n[vary]\n"payload.mass_kg" = { distribution = "uniform", low = 0.0, high = 9.0, points = 5 }',
            "5 combinations",
        ),
        ('[[correlated]]\nkeys = ["a", "b"]\ncoefficient = 0.5', '"a" does not vary'),
        ('[[correlated]]\nkeys = ["a", "b", "c"]\ncoefficient = -0.6', "cannot all be correlated below -0.5"),
    ],
)
def test_what_cannot_be_flown_is_told_with_its_remedy(tmp_path: Path, text: str, told: str) -> None:
    assert told in complaints(tmp_path, text)


def test_a_sobol_set_of_another_size_than_a_power_of_two_is_refused(tmp_path: Path) -> None:
    path = written(tmp_path, 'sampling = "sobol"\n[vary]\n"payload.mass_kg" = { distribution = "uniform", low = 0.0, high = 9.0 }')

    with pytest.raises(InputError, match="write 64 or 128"):
        load_plan(path, lifts=100)
