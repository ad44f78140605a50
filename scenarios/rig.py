"""The rig: one nested record that holds a machine, its controller, the script of a rehearsal and what is scored.

Both clocks work on it.  ``rig_dtype()`` lays it out; ``TRACE_*`` name the columns of a trace.
"""

from __future__ import annotations

from enum import IntEnum
from functools import lru_cache

import numba
import numpy as np
from numpy.typing import NDArray

from plant.records import CAPACITY, world_dtype
from scenarios.conduct_records import conduct_dtype
from scenarios.wire_records import CLOCK, LOGIC
from sync.records import inputs_dtype, memory_dtype, outputs_dtype, settings_dtype

__all__ = [
    "MAX_EVENTS",
    "MAX_MOVES",
    "MAX_ROWS",
    "TRACE_GLOBAL",
    "TRACE_LEG",
    "Action",
    "Happening",
    "Trigger",
    "records",
    "rig_dtype",
    "trace_columns",
]

MAX_ROWS = 256
"""Rows of a script."""
MAX_MOVES = 64
MAX_EVENTS = 512
RING = 21

f8, i8 = np.float64, np.int64


class Trigger(IntEnum):
    """When a row of the script fires: at the first sub-step boundary at or after its condition, in row order."""

    TIME = 0  # simulated time >= at (us)
    ABOVE = 1  # mean true height >= at (m)
    BELOW = 2  # mean true height <= at (m)
    READY = 3  # the controller has been in READY or UNREFERENCED or FAULTED for `at` us, after the row before has fired
    AFTER = 4  # `at` us after the row before has fired
    MODE = 5  # the controller is in mode `of`
    EVENT = 6  # row `of` has fired
    COMMUTATION = 7  # leg `of` has passed `at` commutations
    START = 8  # leg `of` (-1: any) is driven
    COAST = 9  # leg `of` (-1: any) is switched off and still turns


class Action(IntEnum):
    """What a row of the script does."""

    COMMAND = 0  # order to the controller: values[0] sync.modes.Command, values[1] target (m)
    EXTRA_COUNTS = 1  # values[0] false pulses on the leg, values[1] s between them
    LOSE_COUNTS = 2  # the next values[0] commutations of the leg are not heard
    PAYLOAD = 3  # values[0] kg, values[1] x (m), values[2] y (m), values[3] s that it takes
    FRICTION = 4  # thread friction of the leg times values[0]
    POWER_OFF = 5  # the bridge of the leg (or all) is opened, bypassing the controller, and the controller is stopped
    POWER_ON = 6  # the bridge of the leg (or all) drives at duty values[0], bypassing the controller
    SUPPLY = 7  # open-circuit voltage becomes values[0]
    GUIDE = 8  # guide friction of the leg becomes values[0] N
    BRAKE = 9  # the bridge of the leg (or all) shorts the motor, bypassing the controller
    OBSTACLE = 10  # values: x, y, gap or height of the face (m), N/m, side (1 above, -1 below), 1: the third is a gap; or at the leg
    LEAN = 11  # values: x, y (m), N downwards; or at the leg
    JAM = 12  # values[0] N of guide friction hold the leg
    BINDING = 13  # guide friction grows to values[0] N from travel values[1] to values[2] (m)
    SLIP = 14  # the nut falls by values[0] m behind its rotor
    DEBRIS = 15  # values[0] m of values[1] N/m on a stop of the leg, values[2]: 1 high, 0 low
    HAND = 16  # the spindle is turned by values[0] m of lift at values[1] m/s
    VIBRATION = 17  # break-away friction of the leg times values[0]
    END = 30  # what row values[0] changed becomes what it was before
    RATES = 31  # probabilities: values[0] miss, [1] false pulse, [2] double, [3] mean false pulses per switching; negative: as it was
    WEAK = 32  # the commutation of index values[0] is missed with probability values[1]
    TAIL = 33  # coasting, nothing is heard below values[0] rad/s
    DEAD = 34  # the channel gives no pulse
    STUCK_HIGH = 35  # the channel goes high, one pulse, and stays there
    SWAP = 36  # the counting inputs of the leg and of leg values[0] are exchanged
    SPRINGBACK = 37  # values[0] false pulses whenever the leg has come to rest
    INTERFERENCE = 38  # values[0] false pulses per s; values[1] 1: at the same instants on all legs
    CROSSTALK = 39  # a commutation of leg values[1] (-1: any other) is heard with probability values[0]
    SUPPLY_STEP = 40  # values[0] false pulses, in the mean, at a step of the supply of values[1] V
    REVERSED = 41  # the motor's wires are exchanged
    BROKEN_WIRE = 42  # a wire of the motor is broken
    BRIDGE_STUCK = 43  # values[0] 1 stays open, 2 stays on at duty values[1], 3 shorts the motor instead of opening it
    NO_LIMIT = 44  # the current limit does not act
    SOURCE = 45  # source resistance becomes values[0] ohm
    POWER_FAIL = 46  # the mains is away
    JITTER = 47  # the outputs come up to values[0] s later, another time each tick
    MISSED_TICKS = 48  # the next values[0] calls of the controller are left out
    CLOCK_RATE = 49  # relative error of the controller's clock becomes values[0]
    DRAG = 50  # Coulomb drag of the motor times values[0], viscous drag times values[1]
    SAVE_DAMAGED = 51  # a bit of what the controller has saved without power flips


class Happening(IntEnum):
    """What the event log says."""

    MODE = 0  # value: new mode
    ROW = 1  # value: index of the script row that fired
    LEG_OFF = 2  # a leg was switched off
    LEG_ON = 3
    STANDSTILL = 4  # a switched-off leg came to rest
    STALLED = 5  # the controller called a leg blocked
    REASON = 6  # value: reason of a fault
    REFUSED = 7  # value: reason of a refused order
    REJECTED = 8  # pulses of the move were rejected as doubles; value: how many
    INSERTED = 9  # single misses of the move were inserted; value: how many
    OVERFLOW = 10  # pulses found the buffer full; value: how many so far
    TOUCHED = 20  # the deck came against an obstacle; value: its number, from 1
    RELEASED = 21  # it is free again; value: largest force of the attempt (N)
    LOGIC_DOWN = 30  # the logic has stopped for want of power; value: its voltage
    LOGIC_UP = 31  # it has started again; value: its voltage
    SUPPLY_FAILS = 32  # the supply fell below the threshold of its failure report; value: V
    SUPPLY_BACK = 33  # it is good again; value: V
    DRIFT = 50  # the count of a leg is suspected; value: counts, negative lost
    CAUSE = 51  # value: sync.modes.Cause, negative where counts were lost
    HOMING_ASKED = 52  # value: reason
    RESIDUAL = 53  # a homing is done; value: counts at the stop by the zero before
    SAVED = 54  # the position was saved after a power failure; value: 1 while coasting, 2 at rest
    PINCHED = 40  # the controller decided that a leg pinches; value: deviation of its current [A]
    RETREATED = 41  # a retreat has ended; value: how far, as counted [m]


SCRIPT_ROW = np.dtype(
    [
        ("trigger", i8),
        ("at", f8),
        ("action", i8),
        ("leg", i8),  # -1: all
        ("values", f8, (6,)),
        ("move", i8),  # 1: starts a scored move
        ("of", i8),  # what the trigger looks at: leg (-1: mean height, any leg), mode or row
        ("needs", i8),  # 1 + index of the row that must have fired before the condition is looked at, 0: none
        ("delay", f8),  # us from the condition to the row
        ("seen", i8),  # the condition has been met
        ("seen_us", i8),
        ("fired", i8),
        ("fired_us", i8),
        ("kept", f8, (5,)),  # what stood before, for the row that ends this one
    ],
    align=True,
)

LEG_SCORE = np.dtype(
    [
        ("start_height", f8),
        ("run_speed", f8),  # m/s, magnitude, mean over the last second before slow-down or cut
        ("run_current", f8),  # A, mean over the same time
        ("peak_current", f8),
        ("peak_current_us", f8),  # when, to the tick
        ("off_us", f8),  # last power-off for the target
        ("off_travel", f8),
        ("off_commuted", i8),
        ("still_us", f8),  # standstill after it, 0: not reached
        ("still_travel", f8),
        ("still_commuted", i8),
        ("coast_told", f8),  # m, predicted by the controller at the cut
        ("height", f8),  # at the end of the move
        ("believed", f8),  # height as the controller counts it, at the end
        ("peak_height", f8),  # at the instant of the peak level error
        ("peak_believed", f8),
        ("commuted", i8),  # during the move
        ("heard", i8),
        ("missed", i8),
        ("extra", i8),
        ("hall", i8),
        ("switch_offs", i8),
        ("play", f8),  # m, at the end
        ("sag", f8),  # m, axial compression at the end
        # running sums for the run window
        ("start_commuted", i8),
        ("start_heard", i8),
        ("start_missed", i8),
        ("start_extra", i8),
        ("start_hall", i8),
        ("start_switch_offs", i8),
        ("charge", f8),  # C, integral of |current|
        ("ring_travel", f8, (RING,)),
        ("ring_charge", f8, (RING,)),
    ],
    align=True,
)


@lru_cache
def move_dtype(capacity: int) -> np.dtype[np.void]:
    """Score of one move."""
    return np.dtype(
        [
            ("command", i8),
            ("goal", f8),  # m, of Command.GO
            ("direction", i8),
            ("homing", i8),
            ("start_us", f8),
            ("end_us", f8),  # at rest again, 0: not reached
            ("first_off_us", f8),
            ("last_off_us", f8),
            ("peak", f8),  # m, level error while moving, true
            ("peak_us", f8),
            ("peak_high", i8),
            ("peak_low", i8),
            ("seen_peak", f8),  # m, as the controller counts
            ("start_peak", f8),  # m, true, in the first half second
            ("square_sum", f8),
            ("believed_sum", f8),  # of the counted level error over the run, for the droop
            ("samples", i8),
            ("at_cut", f8),
            ("after_coast", f8),
            ("worst_tilt_x", f8),
            ("worst_tilt_y", f8),
            ("warp_peak", f8),
            ("warp_us", f8),
            ("lowest_supply", f8),
            ("ring_place", i8),
            ("ring_number", i8),
            ("ring_us", f8, (RING,)),
            ("run_from_us", f8),
            ("run_to_us", f8),
            ("legs", LEG_SCORE, (capacity,)),
        ],
        align=True,
    )


EVENT = np.dtype([("time_us", i8), ("what", i8), ("leg", i8), ("value", f8)], align=True)

WATCHED = np.dtype(
    [("mode", i8), ("on", i8), ("moving", i8), ("stalled", i8), ("rejected", i8), ("inserted", i8), ("lost", i8)], align=True
)


TRUST_SEEN = np.dtype([("number", i8), ("ask", i8), ("homing", i8), ("known", i8), ("stage", i8)], align=True)


@lru_cache
def probe_dtype(capacity: int) -> np.dtype[np.void]:
    """Sine added to the duties between controller and bridges, to measure the closed loop; off unless ``on`` is 1."""
    return np.dtype(
        [
            ("on", i8),
            ("hz", f8),
            ("from_us", f8),  # cosine phase zero here; nothing is added before
            ("share", f8),  # value of the cosine, taken at each control tick and held
            ("clipped", i8),  # guard ticks and legs at which the sum left 0 to 1
            ("amplitude", f8, (capacity,)),  # duty, up positive
        ],
        align=True,
    )


@lru_cache
def rig_dtype(capacity: int = CAPACITY, moves: int = MAX_MOVES, rows: int = MAX_ROWS, events: int = MAX_EVENTS) -> np.dtype[np.void]:
    """Everything of one rehearsal, with room for so many legs, scored moves, script rows and logged events."""
    return np.dtype(
        [
            ("world", world_dtype(capacity)),
            ("settings", settings_dtype(capacity)),
            ("memory", memory_dtype(capacity)),
            ("inputs", inputs_dtype(capacity)),
            ("outputs", outputs_dtype(capacity)),
            ("logic", LOGIC),
            ("clock", CLOCK),
            ("tick_due", i8),  # 1: the controller is called in the present tick
            ("swapped", i8),  # 1: a counting input hears another leg, named in ``hears``
            ("hears", i8, (capacity,)),
            ("rows", i8),
            ("due_soon", i8),  # 1: a row may fire at a sub-step boundary inside the present tick
            ("script", SCRIPT_ROW, (rows,)),
            ("bypass", i8),  # 1: the script holds the bridges, the controller is not obeyed
            ("moves", i8),  # scored so far
            ("move_waiting", i8),  # 1 + row whose order the controller keeps until it is at rest, 0: none
            ("move_open", i8),  # 1: the last of them is still going on
            ("move", move_dtype(capacity), (moves,)),
            ("events", i8),  # all that happened, the log keeps the first MAX_EVENTS
            ("log", EVENT, (events,)),
            ("trust_seen", TRUST_SEEN),
            ("mode_before", i8),
            ("refused_before", i8),
            ("reason_before", i8),
            ("trips_before", i8),
            ("retreats_before", i8),
            ("watched", WATCHED, (capacity,)),
            ("conduct", conduct_dtype(capacity)),
            ("end_us", i8),  # the rehearsal ends here at the latest
            ("settle_us", i8),  # it ends this long after the last row has fired and the controller is at rest
            ("rest_since_us", i8),
            ("fired_us", i8),  # when the last row of the script fired
            ("finished", i8),
            ("trace_every", i8),  # ticks per trace row
            ("ticks", i8),  # flown so far
            ("stored_start", f8),  # J, energy stored at the start
            ("probe", probe_dtype(capacity)),
        ],
        align=True,
    )


TRACE_GLOBAL = (
    "time_s",
    "mode",
    "supply_v",
    "supply_a",
    "measured_supply_v",
    "level_error_m",
    "believed_error_m",
    "tilt_x_rad",
    "tilt_y_rad",
    "warp_m",
    "contact_n",
)
TRACE_LEG = (
    "height_m",
    "believed_m",
    "speed_m_s",
    "current_a",
    "measured_current_a",
    "duty",
    "bridge_mode",
    "force_n",
    "commuted",
    "counts",
    "heard",
    "missed",
    "extra",
    "hall",
    "winding_c",
    "rate_hz",
)


def records(array: NDArray[np.void]) -> NDArray[np.void]:
    """View an array of records as the kernels want it: as it stands, or with attributes where they run as plain Python."""
    return array.view(np.recarray) if numba.config.DISABLE_JIT else array  # type: ignore[attr-defined]


def trace_columns(names: list[str]) -> list[str]:
    """Column names of a trace, legs after the globals, ``leg.signal_unit``."""
    return [*TRACE_GLOBAL, *(f"{name}.{column}" for name in names for column in TRACE_LEG)]
