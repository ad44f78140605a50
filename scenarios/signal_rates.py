"""The hand-over to the count level: miss and false rates by speed and current, found on the wires, written for a lift file."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from plant.bridge import DRIVE
from plant.detector_records import RATE_BANDS, RATE_SPEEDS
from scenarios.build_motor import RPM
from scenarios.files.rates import RateBand, Rates
from scenarios.signal_detectors import Setting, chains
from scenarios.signal_run import listen, truth
from scenarios.signal_score import match
from scenarios.signal_study import Flown

__all__ = ["DEEPEST", "find_rates", "rates_text"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

DEEPEST = 1.0 / 24.0
"""Lowest speed of the table over the highest; the last commutation of a coast of 150 counts is passed at a twelfth."""
MOST = 0.95
"""A rate is never written higher: then a detector would hear nothing, and chances could not add up."""


@dataclass
class Tally:
    """Counts by band and speed."""

    true: Floats = field(default_factory=lambda: np.zeros((RATE_BANDS, RATE_SPEEDS)))
    missed: Floats = field(default_factory=lambda: np.zeros((RATE_BANDS, RATE_SPEEDS)))
    doubled: Floats = field(default_factory=lambda: np.zeros((RATE_BANDS, RATE_SPEEDS)))
    false: Floats = field(default_factory=lambda: np.zeros((RATE_BANDS, RATE_SPEEDS)))
    edges: dict[bool, list[int]] = field(default_factory=lambda: {True: [0, 0], False: [0, 0]})
    """For switch-ons (true) and switch-offs: how many, and the false pulses in their blanked time and just after."""


def _weights(speeds: Floats, pace: Floats) -> tuple[Ints, Floats]:
    """Node below each speed and the part of the way to the next, as the count level goes between them."""
    node = np.clip(np.searchsorted(speeds, pace, side="right") - 1, 0, RATE_SPEEDS - 2)
    part = np.clip((pace - speeds[node]) / (speeds[node + 1] - speeds[node]), 0.0, 1.0)
    return node.astype(np.int64), part


def _spread(table: Floats, band: Ints, node: Ints, part: Floats) -> None:
    """Add one event at each point, shared between the two nodes around it."""
    np.add.at(table, (band, node), 1.0 - part)
    np.add.at(table, (band, node + 1), part)


def _bands(mode: Ints, current: Floats, limits: Sequence[float]) -> Ints:
    return np.where(mode == DRIVE, 1 + np.searchsorted(np.asarray(limits), np.abs(current), side="right"), 0).astype(np.int64)


def _count_move(tally: Tally, flown: Flown, true: Floats, heard: Floats, grid: tuple[Floats, Sequence[float], float]) -> None:
    """Take one move into the tally."""
    speeds, limits, blanked_us = grid
    history, step_us = flown.bench.history, 1e6 * flown.bench.step
    mode = history["mode"][:-1]
    made = match(true, heard)
    row = np.clip((true / step_us).astype(np.int64), 0, len(mode) - 1)
    switched = np.flatnonzero((mode[1:] == DRIVE) != (mode[:-1] == DRIVE)) + 1
    near = np.zeros(len(true), bool)
    for k in switched:
        on = bool(mode[k] == DRIVE)
        inside = (heard >= k * step_us) & (heard < k * step_us + 2.0 * blanked_us) & (made.kind != 0)
        tally.edges[on][0] += 1
        tally.edges[on][1] += int(np.count_nonzero(inside))
        if not on:
            near |= (true >= k * step_us) & (true < k * step_us + blanked_us)
    band = _bands(mode[row], history["current"][row], limits)
    node, part = _weights(speeds, np.abs(history["speed"][row]))
    keep = ~near
    _spread(tally.true, band[keep], node[keep], part[keep])
    gone = keep & (made.hit < 0)
    _spread(tally.missed, band[gone], node[gone], part[gone])
    for kind, table in ((1, tally.doubled), (2, tally.false)):
        extra = (made.kind == kind) & ~_at_edges(heard, switched, step_us, 2.0 * blanked_us)
        owner = made.owner[extra]
        _spread(table, band[owner], node[owner], part[owner])


def _at_edges(heard: Floats, switched: Ints, step_us: float, reach_us: float) -> NDArray[np.bool_]:
    near = np.zeros(len(heard), bool)
    for k in switched:
        near |= (heard >= k * step_us) & (heard < k * step_us + reach_us)
    return near


def _rate(events: Floats, trials: Floats) -> Floats:
    """Rates of a band; where nothing was tried that of the nearest speed at which something was."""
    if not np.any(trials > 0.0):
        return np.zeros(RATE_SPEEDS)
    seen = np.flatnonzero(trials > 0.0)
    rate = np.zeros(RATE_SPEEDS)
    rate[seen] = np.minimum(events[seen] / trials[seen], MOST)
    nearest = seen[np.argmin(np.abs(seen[None, :] - np.arange(RATE_SPEEDS)[:, None]), axis=1)]
    return np.asarray(rate[nearest], dtype=np.float64)


def _band(tally: Tally, k: int) -> RateBand:
    missed, doubled, false = (_rate(table[k], tally.true[k]) for table in (tally.missed, tally.doubled, tally.false))
    doubled, false = np.minimum(doubled, 0.5 * (1.0 - missed)), np.minimum(false, 0.5 * (1.0 - missed))
    return RateBand(
        missed=tuple(np.floor(1e6 * missed) / 1e6),
        doubled=tuple(np.floor(1e6 * doubled) / 1e6),
        false=tuple(np.floor(1e6 * false) / 1e6),
        commutations=tuple(round(float(one)) for one in tally.true[k]),
    )


def _limits(moves: Sequence[Flown]) -> tuple[float, ...]:
    """Currents that part what a driven motor takes into bands of equally many sub-steps [A], rounded."""
    sizes = np.concatenate([np.abs(one.bench.history["current"][:-1][one.bench.history["mode"][:-1] == DRIVE]) for one in moves])
    cuts = np.quantile(sizes, np.arange(1, RATE_BANDS - 1) / (RATE_BANDS - 1))
    cuts = np.maximum(np.round(cuts, 2), 0.01)
    return tuple(float(cut) + 0.01 * k for k, cut in enumerate(cuts))


def find_rates(moves: Sequence[Flown], condition: str, detector: str, setting: Setting, seeds: range) -> Rates:
    """Find the rates of a detector on flown moves.

    Parameters
    ----------
    moves
        Flown moves of one leg.
    condition
        "new" or "worn".
    detector
        "spikes", "shape" or "ripple".
    setting
        Of the spike detector.
    seeds
        Of sparks and noise; every move is heard once with each.

    Returns
    -------
    Rates
        An event between two speeds of the table counts for both by its distance, as the count level reads them.
    """
    top = max(float(np.max(np.abs(one.bench.history["speed"]))) for one in moves)
    speeds = np.geomspace(DEEPEST * top, top, RATE_SPEEDS)
    limits = _limits(moves)
    blanked_us = moves[0].leg.spike_detector.blank_switch_us
    tally = Tally()
    for flown in moves:
        for seed in seeds:
            source = flown.source(condition == "worn", seed)
            chain = chains(flown.leg, setting)[detector]
            listen(source, [chain])
            _count_move(tally, flown, truth(source), chain.heard(), (speeds, limits, blanked_us))
    return Rates(
        kind="rates",
        about=f"{detector} detector on a {condition} motor, {len(moves)} moves with {len(seeds)} seeds each",
        speed_rpm=tuple(round(float(speed) / RPM, 3) for speed in speeds),
        current_a=limits,
        blanked_us=blanked_us,
        false_on=_mean(tally.edges[True]),
        false_off=_mean(tally.edges[False]),
        coasting=_band(tally, 0),
        driven=tuple(_band(tally, k) for k in range(1, RATE_BANDS)),
    )


def _mean(events: list[int]) -> float:
    return round(events[1] / events[0], 6) if events[0] else 0.0


def _row(values: Sequence[float]) -> str:
    return "[" + ", ".join(f"{value:g}" if isinstance(value, float) else str(value) for value in values) + "]"


def rates_text(rates: Rates) -> str:
    """The table as a TOML file."""
    lines = [
        "# Miss and false rates per commutation, found on the wires by levelrig signal.",
        '# A lift names this file in a detector table: rates = "..."',
        'kind = "rates"',
        f'about = "{rates.about}"',
        f"speed_rpm = {_row(rates.speed_rpm)}",
        f"current_a = {_row(rates.current_a)}",
        f"blanked_us = {rates.blanked_us!r}",
        f"false_on = {rates.false_on!r}",
        f"false_off = {rates.false_off!r}",
    ]
    for head, band in (("[coasting]", rates.coasting), *(("[[driven]]", one) for one in rates.driven)):
        lines += ["", head]
        lines += [f"{name} = {_row(getattr(band, name))}" for name in ("missed", "doubled", "false", "commutations")]
    return "\n".join(lines) + "\n"
