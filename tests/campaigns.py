"""Campaigns for the tests: a move of a second with a few values that vary, and flyers that go wrong on purpose."""

from __future__ import annotations

import os
from pathlib import Path

from rehearsals import EXAMPLES

from scenarios.campaign.engine import Batch
from scenarios.campaign.folder import Folder
from scenarios.campaign.plan import Plan, load_plan
from scenarios.campaign.rows import Rows, fly_lifts
from scenarios.campaign.run import write_table

__all__ = [
    "POISONED",
    "SERVICE",
    "SHORT",
    "flown_folder",
    "fly_fragile",
    "fly_poisoned",
    "results",
    "service_plan",
    "short_plan",
    "shuffled",
]

POISONED = 5

SHORT = """
kind = "campaign"
name = "short"
rehearsal = "short.toml"
lifts = {lifts}
seed = 3

[vary]
"payload.mass_kg" = {{ distribution = "uniform", low = 0.0, high = 90.0 }}
"lift.leg.spindle.friction" = {{ distribution = "triangular", low = 0.9, mode = 1.0, high = 1.2, relative = true, each_leg = true }}
"""


def short_plan(folder: Path, lifts: int = 12) -> Plan:
    """A campaign in ``folder`` over a move of 20 mm; the limit on the time is broken by some lifts and kept by others."""
    folder.mkdir(parents=True, exist_ok=True)
    for name in ("worktop.toml", "settings.toml"):
        (folder / name).write_bytes((EXAMPLES / "worktop" / name).read_bytes())
    text = (EXAMPLES / "worktop" / "raise.toml").read_text(encoding="utf-8")
    text = text.replace("to_mm = 320.0", "to_mm = 40.0").replace("move_time_s = 14.0", "move_time_s = 1.55")
    (folder / "short.toml").write_text(text, encoding="utf-8")
    (folder / "mine.toml").write_text(SHORT.format(lifts=lifts), encoding="utf-8")
    return load_plan(folder / "mine.toml")


def flown_folder(plan: Plan, out: Path) -> Folder:
    """All lifts of a campaign flown here, as one batch in a folder ``out``."""
    folder = Folder(out, plan, plan.file.lifts)
    folder.keep(folder.batches[0], fly_lifts(plan, 0, plan.file.lifts))
    return folder


def results(folder: Folder) -> bytes:
    """The table of a finished campaign as its file holds it."""
    return write_table(folder)[0].read_bytes()


def shuffled(batches: tuple[Batch, ...]) -> list[Batch]:
    """Batches in another order, the same each time."""
    return sorted(batches, key=lambda batch: (batch.number * 7) % 5 + batch.number / 100.0)


def fly_poisoned(plan: Plan, first: int, last: int) -> Rows:
    """Flies as the real one, but the process dies at one lift."""
    if first <= POISONED < last:
        os._exit(9)
    return fly_lifts(plan, first, last)


def fly_fragile(plan: Plan, first: int, last: int) -> Rows:
    """Flies as the real one, but the first process that comes to one lift dies; the file named in the environment remembers it."""
    died = Path(os.environ["LEVELRIG_TEST_DIED"])
    if first <= POISONED < last and not died.exists():
        died.touch()
        os._exit(9)
    return fly_lifts(plan, first, last)


SERVICE = """
kind = "campaign"
name = "service"
rehearsal = "cycle.toml"
lifts = {lifts}
seed = 3

[service]
{service}

[set]
"settings.plausibility.running" = "plausibility"
"limits.move_time_s" = 5.0
"""


def service_plan(folder: Path, service: str, lifts: int = 2) -> Plan:
    """A campaign of service runs in ``folder``: 20 mm up and down again, with these lines in ``[service]``."""
    short_plan(folder)
    text = (folder / "short.toml").read_text(encoding="utf-8")
    (folder / "cycle.toml").write_text(text.replace("to_mm = 40.0", "to_mm = 40.0\n\n[[move]]\nto_mm = 20.0", 1), encoding="utf-8")
    (folder / "service.toml").write_text(SERVICE.format(lifts=lifts, service=service), encoding="utf-8")
    return load_plan(folder / "service.toml")
