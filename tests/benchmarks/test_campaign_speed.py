"""Speed of campaigns: two-leg worktop, a move of about 15 s, the full controller, the detector at the level of counts.

Ratios within one run; processor time where neighbours on the machine must not count, time on the wall where processes are compared.
"""

from __future__ import annotations

import os
import tracemalloc
from pathlib import Path
from time import perf_counter, process_time

import numpy as np
import pytest
from campaigns import short_plan
from rehearsals import EXAMPLES

from scenarios.campaign.answers import answers_of
from scenarios.campaign.engine import Batch, Cores
from scenarios.campaign.folder import Folder
from scenarios.campaign.plan import Plan, load_plan
from scenarios.campaign.rows import Rows, column_names, fly_lifts
from scenarios.campaign.run import fly_campaign, write_table
from scenarios.runner import fly

pytestmark = pytest.mark.benchmark

LONGER = ("move.1.to_mm", 430.0)
"""Makes the everyday move one of about 15 s."""
A_MILLION = 1_000_000


def campaign(lifts: int, *sets: tuple[str, object]) -> Plan:
    return load_plan(EXAMPLES / "worktop" / "campaign.toml", [LONGER, ("limits.move_time_s", 20.0), *sets], lifts=lifts)


def per_lift_s(plan: Plan, lifts: int) -> float:
    """Processor time of a lift, the best of three."""
    fly_lifts(plan, 0, 1)
    spans = []
    for _ in range(3):
        begin = process_time()
        fly_lifts(plan, 0, lifts)
        spans.append((process_time() - begin) / lifts)
    return min(spans)


def test_a_core_flies_at_least_fifty_lifts_in_a_second_of_its_time() -> None:
    assert 1.0 / per_lift_s(campaign(40), 40) >= 50.0


def test_the_flat_clock_is_at_least_twice_as_fast_as_the_event_clock_without_trace() -> None:
    """The event clock is given the scenarios ready made; the campaign makes them, judges them and keeps traces to judge by."""
    plan = campaign(8)
    made = [plan.scenario(values) for values in plan.sampler.values(0, 8)]
    fly(made[0], clock="event", trace=False)
    begin = process_time()
    for run, scenario in enumerate(made):
        fly(scenario, plan.file.seed, clock="event", trace=False, run=run)

    assert (process_time() - begin) / 8 >= 2.0 * per_lift_s(plan, 8)


@pytest.mark.skipif((os.cpu_count() or 1) < 2, reason="one core cannot show what two do")
def test_two_processes_fly_a_campaign_nearly_twice_as_fast_as_one(tmp_path: Path) -> None:
    """From the first batch kept to the last: the start of the processes is not counted, the writing is."""
    plan = campaign(800)
    spans = []
    for jobs in (1, 2):
        folder = Folder(tmp_path / str(jobs), plan, 20)
        instants: list[float] = []
        fly_campaign(folder, Cores(plan, jobs), lambda _, instants=instants: instants.append(perf_counter()))  # type: ignore[misc]
        spans.append((instants[-1] - instants[1]) / (len(instants) - 2))

    assert spans[0] / spans[1] >= 1.8
    assert 20.0 / spans[1] >= 100.0


def test_the_cost_grows_linearly_with_the_lifts() -> None:
    plan = campaign(120)
    fly_lifts(plan, 0, 1)
    spans = []
    for lifts in (30, 120):
        begin = process_time()
        fly_lifts(plan, 0, lifts)
        spans.append((process_time() - begin) / lifts)

    assert spans[1] == pytest.approx(spans[0], rel=0.2)


def with_legs(folder: Path, legs: int) -> Plan:
    """The short campaign over a lift with as many legs in two rows; load and supply grow with them."""
    short_plan(folder)
    text = (folder / "worktop.toml").read_text(encoding="utf-8")
    before, after = text.index("[[leg]]"), text.index("[sensing]")
    rows = [f'[[leg]]\nname = "leg{k}"\nat_mm = [{-600 + 1200 * k // (legs - 1)}, {300 * (k % 2) * (legs > 2)}]\n' for k in range(legs)]
    text = text[:before] + "".join(rows) + text[after:]
    text = text.replace("current_limit_a = 12.0", f"current_limit_a = {6.0 * legs}", 1)
    (folder / "worktop.toml").write_text(text, encoding="utf-8")
    scenario = (folder / "short.toml").read_text(encoding="utf-8")
    (folder / "short.toml").write_text(scenario.replace("mass_kg = 90.0", f"mass_kg = {45.0 * legs}"), encoding="utf-8")
    (folder / "mine.toml").write_text(
        f'kind = "campaign"\nname = "legs"\nrehearsal = "short.toml"\nlifts = 40\n[set]\n"lift.deck.mass_kg" = {15.0 * legs}\n',
        encoding="utf-8",
    )
    return load_plan(folder / "mine.toml")


def test_the_cost_is_within_a_fifth_linear_in_the_legs(tmp_path: Path) -> None:
    """2 to 16 legs, against the straight line through all four, each counted by its share of itself."""
    legs = np.array([2.0, 4.0, 8.0, 16.0])
    cost = np.array([per_lift_s(with_legs(tmp_path / str(n), int(n)), 20) for n in legs])
    line = np.polynomial.Polynomial.fit(legs, cost, 1, w=1.0 / cost)
    print("ms a lift:", dict(zip(legs.tolist(), (1e3 * cost).round(2).tolist(), strict=True)), "of the line:", (cost / line(legs)).round(3))

    assert cost == pytest.approx(line(legs), rel=0.2)
    assert line.convert().coef[1] > 0.0


def test_a_million_lifts_are_told_of_in_less_than_a_gigabyte(tmp_path: Path) -> None:
    """The rows are made up, a thousand times those of a small campaign; what is measured is keeping, tabling and answering."""
    plan = campaign(A_MILLION)
    few = fly_lifts(plan, 0, 20)
    folder = Folder(tmp_path / "out", plan, 10_000)
    table = np.tile(few.table, (500, 1))
    tracemalloc.start()
    for batch in folder.batches:
        folder.keep(batch, _made_up(batch, table))
    write_table(folder)
    answers = answers_of(folder)
    most = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()

    assert (sum(answers.outcomes.values()), len(column_names(plan))) == (A_MILLION, table.shape[1])
    assert most < 1e9


def _made_up(batch: Batch, table: np.ndarray) -> Rows:  # type: ignore[type-arg]
    rows = table.copy()
    rows[:, 0] = np.arange(batch.first, batch.last)
    return Rows(rows, ("",) * len(rows))
