"""The lifts of a campaign on a cluster are the bytes of those flown here, workers lost or not."""

from __future__ import annotations

import warnings
from collections.abc import Iterator
from pathlib import Path

import pytest
from campaigns import POISONED, fly_fragile, fly_poisoned, results, short_plan, shuffled

from scenarios.campaign.answers import answers_of
from scenarios.campaign.cluster import Cluster
from scenarios.campaign.engine import Flyer
from scenarios.campaign.folder import Folder
from scenarios.campaign.rows import fly_lifts
from scenarios.campaign.run import fly_campaign
from scenarios.errors import InputError

pytest.importorskip("distributed")


@pytest.fixture(scope="module")
def alone(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, bytes]:
    """Folder of a short campaign, and its table flown in this process in one piece."""
    home = tmp_path_factory.mktemp("cluster")
    plan = short_plan(home)
    folder = Folder(home / "alone", plan, 12)
    folder.keep(folder.batches[0], fly_lifts(plan, 0, 12))
    return home, results(folder)


@pytest.fixture(autouse=True)
def _closing_sockets() -> Iterator[None]:
    """The cluster's own threads close sockets and loops when they are collected, at whatever test that falls into."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", ResourceWarning)
        warnings.simplefilter("ignore", DeprecationWarning)
        yield


def flown(home: Path, out: Path, flyer: Flyer = fly_lifts) -> Folder:
    """The campaign flown by two workers, three lifts a batch, handed out in another order."""
    plan = short_plan(home)
    folder = Folder(out, plan, 3)
    for one, rows in Cluster(plan, 2, flyer=flyer).fly(shuffled(folder.batches)):
        folder.keep(one, rows)
    return folder


@pytest.mark.slow
def test_two_workers_of_a_cluster_fly_the_same_bytes(alone: tuple[Path, bytes], tmp_path: Path) -> None:
    assert results(flown(alone[0], tmp_path / "out")) == alone[1]


@pytest.mark.slow
def test_a_worker_lost_midway_changes_no_byte(alone: tuple[Path, bytes], tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("LEVELRIG_TEST_DIED", str(tmp_path / "died"))
    folder = flown(alone[0], tmp_path / "out", fly_fragile)

    assert (tmp_path / "died").exists()
    assert results(folder) == alone[1]


@pytest.mark.slow
def test_a_lift_that_kills_every_worker_is_named_and_all_others_are_flown(alone: tuple[Path, bytes], tmp_path: Path) -> None:
    folder = flown(alone[0], tmp_path / "out", fly_poisoned)
    whole, lines = alone[1].splitlines(), results(folder).splitlines()

    assert [line for k, line in enumerate(lines) if k != 1 + POISONED] == [line for k, line in enumerate(whole) if k != 1 + POISONED]
    assert answers_of(folder).lost == ((POISONED, "crashed", "the worker that flew it ended, twice"),)


def test_a_scheduler_that_is_not_there_is_named(alone: tuple[Path, bytes], tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("scenarios.campaign.cluster.REACHED_WITHIN", "1s")
    plan = short_plan(alone[0])
    folder = Folder(tmp_path / "out", plan)

    with pytest.raises(InputError, match=r"--scheduler tcp://127\.0\.0\.1:9: cannot be reached"):
        fly_campaign(folder, Cluster(plan, scheduler="tcp://127.0.0.1:9"))
