"""Sobol indices of a campaign's design, and how far one number may go."""

from __future__ import annotations

from math import pi
from pathlib import Path

import numpy as np
import pytest
from campaigns import short_plan
from numpy.typing import NDArray
from rehearsals import EXAMPLES

from scenarios.campaign.answers import answers_of, rank_correlation
from scenarios.campaign.edge import find_edges
from scenarios.campaign.folder import Folder
from scenarios.campaign.plan import load_plan
from scenarios.campaign.rows import fly_lifts
from scenarios.campaign.sampling import Sampler
from scenarios.campaign.sensitivity import shares_of
from scenarios.errors import InputError
from scenarios.files.campaign import CampaignFile
from scenarios.files.spread import Spread

BASE = 1024
NAMES = ("x1", "x2", "x3")


def design() -> Sampler:
    wide = Spread(distribution="uniform", low=-pi, high=pi)
    vary = dict.fromkeys(NAMES, wide)
    file = CampaignFile(kind="campaign", name="x", rehearsal="raise.toml", lifts=BASE * 5, sampling="sensitivity", vary=vary)
    return Sampler(file, NAMES, [wide] * 3)


def places() -> NDArray[np.float64]:
    return np.array(design().values(0, BASE * 5), dtype=np.float64)


def test_the_indices_of_the_ishigami_function_are_those_of_its_closed_form() -> None:
    """T. Ishigami, T. Homma (1990): sin x1 + 7 sin^2 x2 + 0.1 x3^4 sin x1; closed form recomputed here from its variances."""
    x1, x2, x3 = places().T
    values = np.sin(x1) + 7.0 * np.sin(x2) ** 2 + 0.1 * x3**4 * np.sin(x1)
    one, two, both = 0.5 * (1.0 + 0.1 * pi**4 / 5.0) ** 2, 49.0 / 8.0, 0.01 * pi**8 * (1.0 / 18.0 - 1.0 / 50.0)
    whole = one + two + both
    first = {"x1": one / whole, "x2": two / whole, "x3": 0.0}
    total = {"x1": (one + both) / whole, "x2": two / whole, "x3": both / whole}
    found = shares_of(values, NAMES, 0.99, 1)

    assert [share.column for share in found] == ["x1", "x2", "x3"]
    for share in found:
        assert share.first == pytest.approx(first[share.column], abs=0.03)
        assert share.total == pytest.approx(total[share.column], abs=0.03)
        assert share.first_low <= first[share.column] <= share.first_high
        assert share.total_low <= total[share.column] <= share.total_high
    assert (first["x1"], first["x2"], total["x3"]) == pytest.approx((0.3139, 0.4424, 0.2437), abs=1e-4)  # as published


def test_the_share_that_no_input_makes_is_that_of_chance() -> None:
    """Half of the variance is drawn for the run whose chances a lift has: the input is left with the other half."""
    made = design()
    x1 = places()[:, 0]
    chance = np.random.default_rng(5).uniform(-pi, pi, 2 * BASE)
    values = x1 + np.array([chance[made.chance(run)] for run in range(BASE * 5)])
    found = {share.column: share for share in shares_of(values, NAMES, 0.95, 1)}

    assert found["x1"].first == pytest.approx(0.5, abs=0.05)
    assert found["x1"].total == pytest.approx(0.5, abs=0.05)
    assert abs(found["x2"].total) < 0.01


def test_indices_come_out_the_same_twice() -> None:
    values = np.sin(places()).sum(axis=1)

    assert shares_of(values, NAMES, 0.95, 3) == shares_of(values, NAMES, 0.95, 3)
    assert shares_of(np.ones(BASE * 5), NAMES, 0.95, 3) == ()


def test_a_campaign_for_indices_names_the_payload_as_what_makes_the_current(tmp_path: Path) -> None:
    short_plan(tmp_path)
    text = (tmp_path / "mine.toml").read_text().replace("lifts = 12", 'lifts = 40\nsampling = "sensitivity"')
    (tmp_path / "mine.toml").write_text(text)
    plan = load_plan(tmp_path / "mine.toml")
    folder = Folder(tmp_path / "out", plan, 40)
    folder.keep(folder.batches[0], fly_lifts(plan, 0, 40))
    answers = answers_of(folder)
    current = next(limit for limit in answers.limits if limit.name == "peak_current_a")

    assert current.shares[0].column == "payload.mass_kg"
    assert current.shares[0].total > 0.5
    assert (answers.interval, current.interval) == (None, None)
    assert "no share of all lifts follows" in answers.claim


def test_a_design_of_another_size_is_refused_with_sizes_that_fit(tmp_path: Path) -> None:
    short_plan(tmp_path)
    text = (tmp_path / "mine.toml").read_text().replace("lifts = 12", 'lifts = 50\nsampling = "sensitivity"')
    (tmp_path / "mine.toml").write_text(text)

    with pytest.raises(InputError, match="write 40 or 80"):
        load_plan(tmp_path / "mine.toml")


def test_a_rank_correlation_is_scipys() -> None:
    from scipy.stats import spearmanr

    rng = np.random.default_rng(2)
    first = rng.normal(size=200)
    second = np.exp(first) + rng.normal(size=200)
    found, low, high = rank_correlation(first, np.round(second, 1))

    assert found == pytest.approx(spearmanr(first, np.round(second, 1)).statistic, abs=1e-12)
    assert low < found < high


def test_the_edge_of_a_number_is_where_the_first_limit_breaks() -> None:
    """Below some voltage the move takes longer than 12.3 s; with more than in the file nothing breaks at once."""
    path = EXAMPLES / "worktop" / "raise.toml"
    sets = (("limits.move_time_s", 12.3),)
    nominal, (below, above) = find_edges(path, sets, "lift.supply.open_voltage_v")

    assert nominal == 24.0
    assert below.limit == "move_time_s"
    assert below.broken is not None
    assert below.broken < below.kept <= 24.0
    assert below.kept - below.broken <= 1e-3 * 24.0
    assert above.kept > 24.0


def test_the_edge_of_an_unknown_key_or_of_a_rehearsal_that_fails_is_refused() -> None:
    path = EXAMPLES / "worktop" / "raise.toml"

    with pytest.raises(InputError, match="unknown key"):
        find_edges(path, (), "lift.supply.open_voltage")
    with pytest.raises(InputError, match="does not pass as it stands"):
        find_edges(path, (("limits.move_time_s", 2.0),), "lift.supply.open_voltage_v")
