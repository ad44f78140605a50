"""Fills what the controller is told of trust: how doubt grows, and the limits of its tests of the counts."""

from __future__ import annotations

import numpy as np

from scenarios.files.settings import Settings
from sync.cusum import decision_interval
from sync.modes import Answer

__all__ = ["ALLOWANCE", "BLOCK_S", "TESTS_PER_LEG", "drift_limit", "fill_trust"]

ANSWERS = {"warn": Answer.WARN, "finish-and-home": Answer.FINISH_AND_HOME, "stop": Answer.STOP}
ALLOWANCE = 0.5
"""k of the CUSUM: half of the shift of one standard deviation that it is to find soonest."""
BLOCK_S = 0.1
"""Length of a block of the back-EMF residual; three of them are judged together."""
NOISE_COUNTS = 0.4
"""Standard deviation of what a block counts: its two ends fall between counts."""
SPREADS = 5.0
TESTS_PER_LEG = 2
"""Residuals of a move that go into a CUSUM: the coast, and a homing."""


def drift_limit(settings: Settings, legs: int) -> float:
    """Decision interval h of the CUSUM tests [standard deviations] for the false alarms that the settings allow."""
    return decision_interval(TESTS_PER_LEG * legs, settings.trust.false_alarms * 1e-3, ALLOWANCE)


def fill_trust(record: np.void, settings: Settings, legs: int) -> None:
    """Fill the trust settings of a controller.

    Parameters
    ----------
    record
        Settings record of a controller.
    settings
        The settings file.
    legs
        Number of legs.
    """
    trust, drift = settings.trust, record["drift"]
    record["doubt_per_count"] = trust.travel_percent * 1e-2
    record["doubt_per_start"] = trust.start_counts
    record["doubt_per_stop"] = trust.stop_counts
    record["doubt_per_rejected"] = trust.rejected_counts
    record["doubt_per_inserted"] = trust.inserted_counts
    record["doubt_homing"] = trust.homing_counts
    record["doubt_budget"] = trust.budget_mm * 1e-3
    record["save_time"] = trust.save_ms * 1e-3
    record["trust_answer"] = ANSWERS[trust.answer]
    drift["on"] = trust.watch
    drift["block"] = max(1, round(BLOCK_S / (settings.timing.guard_tick_ms * 1e-3)))
    drift["least"] = trust.burst_counts
    drift["spreads"] = SPREADS
    drift["noise"] = NOISE_COUNTS
    drift["corrections"] = trust.corrections
    drift["allowance"] = ALLOWANCE
    drift["limit"] = drift_limit(settings, legs)
    drift["coast_share"] = trust.coast_percent * 1e-2
    drift["coast_least"] = trust.coast_counts
    drift["move_counts"] = trust.move_counts
