"""What the controller never does, whatever is ordered and whatever goes wrong: one function each on a watched flight.

Each returns "" where it holds, else what was seen first.  A row is a guard tick: the controller has been called, the bridges
still do what it commanded before.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray
from sequences import Sequence
from watching import Watched

from scenarios.rig import Action
from sync.modes import Mode

__all__ = ["INVARIANTS", "broken"]

DRIVE = 1
DRIVING = (Mode.HOMING, Mode.MOVING, Mode.RETREATING)
STUCK_ON = 2
MOVED = {Action.SLIP: 1.0, Action.HAND: 2.0, Action.DEBRIS: 1.0}
"""Faults that move a leg past its counts, or its zero: by so many times their first value.  A hand may turn against the last way."""
CLOCK_SHARE = 1.12
"""What an error of the controller's clock of 5 % makes of a time, and then some."""
STALL_S = 0.025
"""Shortest silence that is called a stall (``stall.least_ms`` of all shipped lifts)."""
REVERSED_S = 0.02
"""Silence after which a leg that was reversed out of its motion is taken to stand (``sync.retreat``)."""


def _first(bad: NDArray[np.bool_], flown: Watched, text: str) -> str:
    """Words for the first row that is bad, and its leg."""
    if not bad.any():
        return ""
    row, *leg = (int(place[0]) for place in np.nonzero(bad))
    where = f", leg {leg[0]}" if leg else ""
    return f"{text} at {flown.whole('time_s')[row]:.3f} s{where} (row {row}, {Mode(int(flown.whole('mode')[row])).name}, {bad.sum()} rows)"


def _called(flown: Watched) -> NDArray[np.bool_]:
    return flown.whole("called") == 1


def _commanded(flown: Watched) -> NDArray[np.bool_]:
    """Whether the controller commands a leg to be driven, shape (rows, legs)."""
    return flown.each("told_mode") == DRIVE


def unpowered_when_faulted(flown: Watched, sequence: Sequence) -> str:
    """Faulted, and in every mode but homing, moving and retreating, no leg is commanded to be driven; bridges obey within a tick.

    Left out: bridges that do not obey.
    """
    del sequence
    driven = _commanded(flown)
    idle = ~np.isin(flown.whole("mode"), DRIVING)
    text = _first(driven & (idle & _called(flown))[:, None], flown, "commanded to be driven")
    if text:
        return text
    sound = flown.each("stuck")[1:] == 0
    late = (flown.each("bridge_mode")[1:] == DRIVE) & ~driven[:-1] & sound & (flown.each("stuck")[:-1] == 0)
    return _first(late, flown, "driven a tick after it was commanded off")


def off_the_obstacle(flown: Watched, sequence: Sequence) -> str:
    """From a pinch's decision on no leg is commanded, nor a tick later driven, the way that led into it, until the lift is at rest.

    Left out: bridges that do not obey; a logic that lost its power, and with it the memory of the pinch.
    """
    del sequence
    trips, mode, way = flown.whole("trips"), flown.whole("mode"), flown.whole("direction")
    duty, force = flown.each("told_duty"), flown.each("duty")
    obeys = np.all(flown.each("stuck") == 0)
    for row in np.flatnonzero(np.diff(trips) > 0) + 1:
        if mode[row - 1] == Mode.RETREATING:
            continue  # met while going back: all off, which is held by the invariant of unpowered modes
        into = way[row - 1] if mode[row - 1] == Mode.MOVING else 0.0
        rest = np.flatnonzero(mode[row:] != Mode.RETREATING)
        end = row + (int(rest[0]) if len(rest) else len(mode) - row)
        if mode[row] not in (Mode.RETREATING, Mode.SETTLING, Mode.FAULTED):
            return f"a pinch at {flown.whole('time_s')[row]:.3f} s is followed by {Mode(int(mode[row])).name}"
        wrong = np.zeros(len(mode), dtype=bool)
        wrong[row:end] = np.any(duty[row:end] * into > 0.0, axis=1)
        if obeys:
            wrong[row + 1 : end + 1] |= np.any(force[row + 1 : end + 1] * into > 0.0, axis=1)
        text = _first(wrong, flown, "driven on into the obstacle")
        if text:
            return text
    return ""


def _runs(rows: NDArray[np.bool_]) -> int:
    """Longest run of true rows, and where it ends: length * 2**32 + end."""
    edges = np.diff(np.concatenate(([0], rows.astype(np.int8), [0])))
    begins, ends = np.flatnonzero(edges == 1), np.flatnonzero(edges == -1)
    if len(begins) == 0:
        return 0
    k = int(np.argmax(ends - begins))
    return int(ends[k] - begins[k]) * 2**32 + int(ends[k])


def no_push_without_end(flown: Watched, sequence: Sequence) -> str:
    """No leg is commanded to be driven for longer than the stall guard states while it truly stands and nothing is heard of it.

    The longest of start grace and the time after which one sign alone is enough, and three ticks; ticks that were missed come on
    top.  A leg that is reversed out of its motion begins a new push, the other way, and passes through standstill where no pulse
    tells when: it is taken to stand after ``REVERSED_S`` without one, and only then its guard begins anew.
    It stands in for every obstacle: with false pulses on its wires or swapped inputs a leg that stands cannot be known to.
    """
    if sequence.fired(Action.SWAP):
        return ""
    settings = flown.told
    longest = max(float(settings["start_grace"]), float(settings["stall_alone"])) + 3 * flown.tick
    longest *= CLOCK_SHARE if sequence.fired(Action.CLOCK_RATE) else 1.0
    heard = flown.each("heard")
    still = (flown.each("speed_m_s")[1:] == 0.0) & (np.diff(heard, axis=0) == 0) & (np.diff(flown.each("commuted"), axis=0) == 0)
    pushed = still & _commanded(flown)[1:] & (flown.each("duty")[1:] != 0.0)
    missed = int(np.sum(flown.whole("called") == 0))
    back = (flown.whole("mode") == Mode.RETREATING)[1:]
    for rows, more in ((~back, 0.0), (back, REVERSED_S)):
        for q in range(flown.legs):
            length, end = divmod(_runs(pushed[:, q] & rows), 2**32)
            if (length - missed) * flown.tick > longest + more:
                return f"leg {q} is driven for {length * flown.tick:.3f} s where it stands, until {flown.whole('time_s')[end]:.3f} s"
    return ""


def nothing_inserted_at_a_stall(flown: Watched, sequence: Sequence) -> str:
    """No count is inserted while a leg truly stands, and has stood for the shortest silence that is called a stall.

    Left out: a leg whose bridge stays on at a duty of its own while pulses that are not its own reach its channel. Its motor
    stands by a voltage that nobody commanded, and the pulses speak for the one that was: nothing that is measured tells.
    """
    rows = max(1, round(STALL_S / flown.tick))
    stands = (flown.each("speed_m_s") == 0.0).astype(np.int64)
    total = np.cumsum(np.vstack((np.zeros((1, flown.legs), dtype=np.int64), stands)), axis=0)
    stood = (total[rows:] - total[:-rows]) == rows
    made = np.diff(flown.each("inserted"), axis=0)[rows - 2 :] > 0
    at = np.zeros(stands.shape, dtype=bool)
    at[rows - 1 :] = stood & made
    for q in range(flown.legs):
        own_will = any(step.values[0] == STUCK_ON for step in sequence.of_leg(q, Action.BRIDGE_STUCK))
        if own_will and (sequence.of_leg(q, Action.INTERFERENCE, Action.CROSSTALK) or sequence.fired(Action.SWAP)):
            at[:, q] = False
    return _first(at, flown, "a count is inserted where nothing turns")


def all_stop_together(flown: Watched, sequence: Sequence) -> str:
    """In the tick in which a guard decides (faulted, or a pinch) no leg is commanded on the way it went; all bridges are off a tick later.

    The stop at a target is none of this: there each leg is cut by its own coast.
    """
    del sequence
    mode, trips = flown.whole("mode"), flown.whole("trips")
    decided = np.zeros(len(mode), dtype=bool)
    decided[1:] = (np.diff(trips) > 0) | ((mode[1:] == Mode.FAULTED) & (mode[:-1] != Mode.FAULTED))
    way = np.concatenate(([0.0], flown.whole("direction")[:-1]))
    on = _commanded(flown) & (flown.each("told_duty") * way[:, None] > 0.0)
    text = _first(on & decided[:, None], flown, "left on by a guard's decision")
    if text:
        return text
    sound = (flown.each("stuck") == 0).all(axis=0)
    after = np.zeros_like(on)
    after[1:] = (decided[:-1] & ~decided[1:])[:, None] & (flown.each("duty")[1:] * way[:-1, None] > 0.0) & sound[None, :]
    return _first(after, flown, "not off a tick after a guard's decision")


def believed_tilt_is_kept(flown: Watched, sequence: Sequence) -> str:
    """Where the controller drives, the tilt that it believes is at most the limit, but for one tick.

    That one is the call in which an order is taken up at rest. A homing has a budget of its own: its counts may mean nothing.
    """
    del sequence
    limit = float(flown.told["tilt_limit"])
    watched = np.isin(flown.whole("mode"), (Mode.MOVING, Mode.RETREATING)) & _called(flown)
    over = watched & _commanded(flown).any(axis=1) & (flown.whole("believed_error_m") > limit + 1e-12)
    over[1:] &= over[:-1].copy()
    over[0] = False
    return _first(over, flown, "driven beyond the tilt limit")


def _disobeyed(flown: Watched) -> int:
    """First row in which a bridge or the wiring of motor or counts does not do what the controller must believe it does."""
    end = len(flown.trace)
    for row in flown.rig["script"][0][: int(flown.rig["rows"][0])]:
        wrong = row["action"] in (Action.REVERSED, Action.SWAP) or (row["action"] == Action.BRIDGE_STUCK and row["values"][0] == STUCK_ON)
        if wrong and row["fired"]:
            end = min(end, int(row["fired_us"] * 1e-6 / flown.tick))
    return end


def _injected(flown: Watched, sequence: Sequence) -> NDArray[np.float64]:
    """By how much two legs may be wrongly counted against each other, by what was injected so far [m], shape (rows,).

    Commutations not heard and false pulses of the two worst legs; slipping gears and spindles turned by hand, from the start
    on; what came while the logic was without power, and the doubt that it then states; the budget of a homing once there
    was one.
    """
    told = flown.told
    per_count = 1.0 / float(told["legs"]["counts_per_metre"][0])
    wrong = np.sort(flown.each("missed") + flown.each("extra"), axis=1)[:, -2:].sum(axis=1) * per_count
    for step in sequence.steps:
        if step.action in MOVED:
            wrong += abs(step.values[0]) * MOVED[step.action]
    logic = flown.rig["logic"][0]
    if logic["downs"] > 0:
        wrong += (float(logic["deaf"]) + 2.0 * flown.extremes["legs.doubt"]) * per_count
    homed = np.maximum.accumulate(flown.whole("mode") == Mode.HOMING)
    return wrong + homed * float(told["homing_budget"])


def _between(flown: Watched, sequence: Sequence) -> NDArray[np.float64]:
    """Nuts against counts [m], shape (rows,): two counts, play of gear and nut, and the difference of the speeds times the reaction."""
    spindles = flown.rig["world"]["legs"][0][: flown.legs]["spindle"]
    slack = 2.0 / float(flown.told["legs"]["counts_per_metre"][0]) + float(np.max(spindles["gear_play"] + spindles["nut_play"]))
    ticks = 2 + sum(int(step.values[0]) for step in sequence.steps if step.action == Action.MISSED_TICKS)
    return np.asarray(slack + ticks * flown.tick * np.ptp(flown.each("speed_m_s"), axis=1))


def true_tilt_is_bounded(flown: Watched, sequence: Sequence) -> str:
    """The true level error is at most the limit and the count error injected so far; switched off, the difference of the coasts more.

    To it come what lies between nuts and counts (play, two counts) and the difference of the speeds times the reaction: one tick
    to see it, one until all legs are switched (the tilt guard has neither filter nor confirmation), and ticks that were missed.
    A homing may begin beyond the limit; where heights mean nothing it may part the legs by as much again, as the limit then
    holds what they have moved apart.  A coast is physics, no decision: it is measured, leg by leg.  Taken at the nuts: a deck
    that is lifted off a nut which only pushes, no controller can hold.  Ends with the first fault after which the controller
    cannot do what it decides: exchanged wires, exchanged counts, a bridge that stays on.
    """
    level, mode = np.ptp(flown.each("travel"), axis=1), flown.whole("mode")
    end = _disobeyed(flown)
    base = np.full(len(level), float(flown.told["tilt_limit"]))
    starts = np.flatnonzero((mode[1:] == Mode.HOMING) & (mode[:-1] != Mode.HOMING)) + 1
    for start in starts:
        stop = np.flatnonzero(mode[start:] == Mode.READY)
        apart = base[0] if mode[start - 1] == Mode.UNREFERENCED else 0.0
        base[start : start + int(stop[0]) if len(stop) else None] = max(base[0], level[start] + apart)
    allowed = base + _injected(flown, sequence) + _between(flown, sequence)
    driven = np.flatnonzero((flown.each("bridge_mode") == DRIVE).any(axis=1))
    last = np.searchsorted(driven, np.arange(len(level)), side="right") - 1
    since = np.where(last >= 0, driven[last] if len(driven) else 0, 0)
    way = flown.each("travel") - flown.each("travel")[since]
    coast = np.ptp(way, axis=1)
    return _first((level > np.maximum(allowed, allowed[since]) + coast)[:end], flown, "truly tilted beyond what was injected")


def memory_stays_finite(flown: Watched, sequence: Sequence) -> str:
    """Every float of the memory is finite and of a size that it can have."""
    del sequence
    for name, size in flown.extremes.items():
        if not size <= sane(name, flown):
            return f"memory.{name} has been {size:g}"
    return ""


def sane(name: str, flown: Watched) -> float:
    """Largest magnitude that a field of the memory can have."""
    settings = flown.told
    last = name.rpartition(".")[2]
    clock = CLOCK_SHARE * float(flown.rig["end_us"][0]) + 1e6
    if last.endswith("_us"):
        return clock
    bounds = {
        "duty": 1.0,
        "duty_before": 1.0,
        "integral": float(settings["integral_limit"]),
        "factor": float(settings["coast_clamp"]),
    }
    return bounds.get(last, 1e12)


Invariant = Callable[[Watched, Sequence], str]
INVARIANTS: dict[str, Invariant] = {
    function.__name__: function
    for function in (
        unpowered_when_faulted,
        off_the_obstacle,
        no_push_without_end,
        nothing_inserted_at_a_stall,
        all_stop_together,
        believed_tilt_is_kept,
        true_tilt_is_bounded,
        memory_stays_finite,
    )
}


def broken(flown: Watched, sequence: Sequence) -> dict[str, str]:
    """Invariants that do not hold, and what was seen."""
    found = {name: holds(flown, sequence) for name, holds in INVARIANTS.items()}
    return {name: text for name, text in found.items() if text}
