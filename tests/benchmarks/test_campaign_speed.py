"""Speed of campaigns: two-leg worktop, a move of about 15 s, the full controller, the detector at the level of counts.

Ratios within one run; processor time where neighbours on the machine must not count, time on the wall where processes are compared.
"""

from __future__ import annotations

import os
import tracemalloc
from collections.abc import Callable
from functools import partial
from pathlib import Path
from time import perf_counter, process_time

import numpy as np
import pytest
from campaigns import short_plan
from rehearsals import EXAMPLES

from scenarios.campaign.answers import Answers, answers_of
from scenarios.campaign.engine import Batch, Cores
from scenarios.campaign.folder import Folder
from scenarios.campaign.plan import Plan, load_plan
from scenarios.campaign.report import report_files
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
    """The short campaign over a lift with as many legs in two rows about its middle; load and supply grow with them."""
    short_plan(folder)
    text = (folder / "worktop.toml").read_text(encoding="utf-8")
    before, after = text.index("\n[[leg]]") + 1, text.index("\n[sensing]") + 1
    names = ["left", "right", *(f"leg{k}" for k in range(2, legs))]  # the settings know the first two
    rows = [
        f'[[leg]]\nname = "{names[k]}"\nat_mm = [{-600.0 + 1200.0 * k / (legs - 1)}, {(300.0 * (k % 2) - 150.0) * (legs > 2)}]\n'
        for k in range(legs)
    ]
    text = text[:before] + "".join(rows) + text[after:]
    for now, then in (
        ("current_limit_a = 12.0", f"current_limit_a = {6.0 * legs}"),
        ("resistance_ohm = 0.1\n", f"resistance_ohm = {0.2 / legs}\n"),
        ("capacitance_mf = 2.2", f"capacitance_mf = {1.1 * legs}"),
        ("rated_payload_kg = 90.0", f"rated_payload_kg = {45.0 * legs}"),
    ):
        assert now in text
        text = text.replace(now, then, 1)
    (folder / "worktop.toml").write_text(text, encoding="utf-8")
    settings = (folder / "settings.toml").read_text(encoding="utf-8")
    (folder / "settings.toml").write_text(settings.replace("overload_kg = 120.0", f"overload_kg = {60.0 * legs}"), encoding="utf-8")
    scenario = (folder / "short.toml").read_text(encoding="utf-8")
    (folder / "short.toml").write_text(scenario.replace("mass_kg = 90.0", f"mass_kg = {45.0 * legs}"), encoding="utf-8")
    (folder / "mine.toml").write_text(
        f'kind = "campaign"\nname = "legs"\nrehearsal = "short.toml"\nlifts = 40\n[set]\n"lift.deck.mass_kg" = {15.0 * legs}\n',
        encoding="utf-8",
    )
    return load_plan(folder / "mine.toml")


def test_the_cost_is_within_a_fifth_linear_in_the_legs(tmp_path: Path) -> None:
    """2 to 16 legs, against the straight line through all four, each counted by its share of itself; all fly the same move."""
    legs = np.array([2.0, 4.0, 8.0, 16.0])
    plans = [with_legs(tmp_path / str(n), int(n)) for n in legs]
    flown = np.array([fly_lifts(plan, 0, 1).table[0, column_names(plan).index("simulated_s")] for plan in plans])
    assert flown == pytest.approx(flown[0], rel=0.03)
    cost = np.array([per_lift_s(plan, 20) for plan in plans])
    line = np.polynomial.Polynomial.fit(legs, cost, 1, w=1.0 / cost)
    print("ms a lift:", dict(zip(legs.tolist(), (1e3 * cost).round(2).tolist(), strict=True)), "of the line:", (cost / line(legs)).round(3))

    assert cost == pytest.approx(line(legs), rel=0.2)
    assert line.convert().coef[1] > 0.0


def kept(path: Path, lifts: int, batch: int) -> Folder:
    """The folder of a campaign whose rows are made up: those of twenty lifts, again and again."""
    plan = campaign(lifts)
    table = np.tile(fly_lifts(plan, 0, 20).table, (batch // 20, 1))
    folder = Folder(path, plan, batch)
    for one in folder.batches:
        folder.keep(one, _made_up(one, table))
    return folder


def most_bytes(work: Callable[[], object]) -> int:
    """Largest memory that was held at a time while working."""
    tracemalloc.start()
    work()
    most = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    return most


def test_a_million_lifts_are_answered_in_less_than_a_gigabyte(tmp_path: Path) -> None:
    folder = kept(tmp_path / "out", A_MILLION, 50_000)
    found: list[Answers] = []
    most = most_bytes(lambda: found.append(answers_of(folder)))
    page = most_bytes(lambda: report_files(folder, found[0]))
    print(f"answers {most / 1e6:.0f} MB, page {page / 1e6:.0f} MB, {len(column_names(folder.plan))} columns")

    assert sum(found[0].outcomes.values()) == A_MILLION
    assert max(most, page) < 1e9


def test_the_table_is_written_a_batch_at_a_time(tmp_path: Path) -> None:
    """Four times the lifts in batches as large need no more memory, so that a million do not."""
    folders = [kept(tmp_path / str(lifts), lifts, 1000) for lifts in (2000, 8000)]
    peaks = [most_bytes(partial(write_table, folder)) for folder in folders]
    print(f"{peaks[0] / 1e6:.1f} and {peaks[1] / 1e6:.1f} MB")

    assert peaks[1] < 1.3 * peaks[0] < 50e6


def _made_up(batch: Batch, table: np.ndarray) -> Rows:  # type: ignore[type-arg]
    rows = table.copy()
    rows[:, 0] = np.arange(batch.first, batch.last)
    return Rows(rows, ("",) * len(rows))
