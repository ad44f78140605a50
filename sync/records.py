"""Records of the controller: what the firmware is told, what it remembers, what it sees and what it commands.

They hold only what a small microcontroller would hold.  Positions are whole counts; heights and distances are in m, gains
in duty per m, times in s, instants in microseconds (``_us``).  None of them ever holds a true position.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from sync.guard_records import LEG_PINCH, LEG_PINCH_TOLD, LEG_WARMTH, LEG_WARMTH_TOLD, PINCH_MEMORY, PINCH_SETTINGS, WARMTH_SETTINGS
from sync.trust_records import DRIFT_MEMORY, DRIFT_SETTINGS, LEG_DRIFT, TRACK, saved_dtype

__all__ = ["CAPACITY", "MAX_PULSES", "inputs_dtype", "memory_dtype", "outputs_dtype", "settings_dtype"]

CAPACITY = 16
MAX_PULSES = 64
MAX_PERIODS = 64

f8, i8 = np.float64, np.int64

LEG_SETTINGS = np.dtype(
    [
        ("counts_per_metre", f8),
        ("counts_per_revolution", i8),
        ("pull", f8),  # counts/s2 per A: torque constant over inertia
        ("drag_rate", f8),  # 1/s: viscous drag over inertia
        ("load_guess", f8),  # counts/s2: resisting torque over inertia, before anything is learnt
        ("home_offset", f8),  # m: height of this leg's deck joint at its end stop
        ("resistance", f8),  # ohm: winding at 20 C and closed switches
        ("emf", f8),  # V per count/s
        ("brush_drop", f8),  # V
        ("drag", f8),  # counts/s2: constant drag over inertia
        ("lift_pull", f8),  # counts/s2 per N of nut force, raising
        ("own_force", f8),  # N at the nut without payload, raising
        ("off_drop", f8),  # V, of the diode that carries the off-time; 0 where a switch does
        ("pinch", LEG_PINCH_TOLD),
        ("warmth", LEG_WARMTH_TOLD),
        ("plane", f8, (3,)),  # orthonormal basis of height and tilts at this leg, for the modal law
    ],
    align=True,
)


@lru_cache
def settings_dtype(capacity: int = CAPACITY) -> np.dtype[np.void]:
    """What the firmware is told, for up to ``capacity`` legs."""
    return np.dtype(
        [
            ("n_legs", i8),
            ("tick", f8),  # s between two calls (the guards' tick)
            ("control_every", i8),  # calls per control tick
            ("compute_delay", f8),  # s
            # levelling
            ("law", i8),  # sync.modes.Law
            ("gain", f8),  # duty per m of difference between two legs
            ("integral_gain", f8),  # duty per m and s
            ("integral_limit", f8),  # duty
            ("gate_on", f8),  # counts of lead at which a leg is switched off
            ("gate_off", f8),  # counts of lead at which it is switched on again
            ("leader", i8),  # number of the leg that the others follow
            ("reference_speed", f8),  # m/s of the common reference at the base duty
            ("reference_slow", f8),  # m/s at the slow duty
            ("reference_window", f8),  # m of lag at which the reference waits
            ("warp_gain", f8),  # duty per m, of the modal law
            ("warp_integral_gain", f8),  # duty per m and s
            # speed
            ("base_duty", f8),
            ("slow_duty", f8),
            ("slow_distance", f8),  # m before the target, 0: none
            ("slow_ramp", f8),  # s from base to slow duty
            ("soft_start", f8),  # s
            ("current_limit", f8),
            ("brake_up", i8),  # off-state: 1 brakes, 0 coasts
            ("brake_down", i8),
            # stopping
            ("predict", i8),
            ("learn_gain", f8),
            ("coast_clamp", f8),  # learnt factor stays between its inverse and this
            ("observer_rate", f8),  # rad/s of the load observer
            ("quiet", f8),  # s without pulses that end the settling
            # plausibility
            ("reject_below", f8),  # share of the expected period, 0: off
            ("insert_from", f8),  # shares of the expected period between which one miss is inserted
            ("insert_to", f8),
            ("correction", i8),  # sync.modes.Correction, of what is counted while running
            ("coast_end", i8),  # 1: counts not heard at the end of a coast are added
            ("vote", i8),  # 1: a second channel is compared with the first
            # guards
            ("stall_periods", f8),  # expected periods without a pulse
            ("stall_least", f8),  # s, shortest time-out
            ("stall_current", f8),
            ("stall_confirm", f8),  # s of current above it
            ("stall_alone", f8),  # s after which one sign alone is enough
            ("tilt_limit", f8),  # m, highest minus lowest leg, as counted
            ("start_grace", f8),  # s after a switch-on without a stall decision
            ("move_timeout", f8),  # s
            ("over_current", f8),  # A, 0: off
            ("over_current_time", f8),  # s
            ("supply_low", f8),  # V, 0: off
            ("supply_low_time", f8),  # s
            ("overload", f8),  # kg of payload, 0: off
            ("stagger", f8),  # s from the start of one leg to that of the next
            ("pinch", PINCH_SETTINGS),
            ("warmth", WARMTH_SETTINGS),
            # homing
            ("homing_duty", f8),
            ("homing_current", f8),
            ("homing_stall_current", f8),
            ("homing_budget", f8),  # m of travel after the first leg met its stop
            ("homing_second_duty", f8),  # of the second approach
            ("back_off", f8),  # m above the stop from which the second approach starts, 0: one approach
            ("debris", f8),  # m by which two contacts may disagree
            # trust: how fast the doubt about a count grows
            ("drift", DRIFT_SETTINGS),
            ("doubt_per_count", f8),
            ("doubt_per_start", f8),  # counts
            ("doubt_per_stop", f8),
            ("doubt_per_rejected", f8),
            ("doubt_per_inserted", f8),
            ("doubt_homing", f8),  # counts left after a homing
            ("doubt_budget", f8),  # m
            ("trust_answer", i8),  # sync.modes.Answer
            ("save_time", f8),  # s that writing the position takes
            # travel
            ("travel_low", f8),
            ("travel_high", f8),
            ("legs", LEG_SETTINGS, (capacity,)),
        ],
        align=True,
    )


LEG_MEMORY = np.dtype(
    [
        ("counts", i8),
        ("pulse_us", f8),  # instant of the last accepted pulse
        ("pulses", i8),  # accepted since the switch-on
        ("period", f8),  # s, last accepted
        ("periods", f8, (MAX_PERIODS,)),  # of the last revolution
        ("period_sum", f8),
        ("period_place", i8),
        ("period_number", i8),
        ("pending_insert", i8),
        ("track", TRACK),
        ("second", i8),  # what the second channel has counted so far
        ("cut_pulses", i8),  # accepted before the last cut
        ("cut_part", f8),  # of a count, run since the last pulse at that cut
        ("rejected", i8),
        ("halves", i8),  # pulses in a row rejected at about half the expected period
        ("refused_last", i8),  # 1: the last pulse heard was rejected
        ("inserted", i8),
        # observer
        ("place", f8),  # counts of progress since the switch-on
        ("progress", i8),  # accepted counts of progress since the switch-on
        ("rate", f8),  # counts/s
        ("load", f8),  # counts/s2, resisting torque over inertia
        ("load_known", f8, (2,)),  # the same, held from the last steady stretch; up, down
        ("steady_since_us", f8),
        ("duty_before", f8),
        # drive
        ("on", i8),
        ("cut", i8),  # switched off for the target
        ("gated", i8),  # switched off by the gating law
        ("duty", f8),
        ("integral", f8),
        ("on_us", f8),
        ("dark_us", f8),  # last instant without power
        ("switch_offs", i8),
        # stop
        ("cut_us", f8),
        ("cut_place", f8),  # counts, with the part of a count
        ("rate_at_cut", f8),  # counts/s
        ("coast_law", f8),  # counts, before the learnt factor
        ("coast_told", f8),  # counts, predicted
        ("factor", f8, (2,)),  # learnt; up, down
        ("learnt", i8, (2,)),  # moves that taught it
        # guards
        ("current", f8),
        ("over_since_us", f8),
        ("stalled", i8),
        ("start_counts", i8),
        # homing
        ("residual", i8),  # counts at the first contact of the last homing, by the zero before it
        ("doubt", f8),  # counts by which the position may be off, either way
        ("drift", LEG_DRIFT),
        ("again", i8),  # counts of its second contact, by the zero of the first
        ("excess_since_us", f8),  # current above the over-current threshold
        ("opposed", i8),  # 1: reversed, and still turning the old way
        ("carried", f8),  # N of payload, estimated in the last steady raise
        ("pinch", LEG_PINCH),
        ("warmth", LEG_WARMTH),
    ],
    align=True,
)


@lru_cache
def memory_dtype(capacity: int = CAPACITY) -> np.dtype[np.void]:
    """What the firmware remembers from call to call."""
    return np.dtype(
        [
            ("mode", i8),  # sync.modes.Mode
            ("reason", i8),  # sync.modes.Reason
            ("refused", i8),  # orders refused so far
            ("refusal", i8),  # sync.modes.Reason of the last one
            ("referenced", i8),
            ("direction", i8),  # 1 up, -1 down, 0 none
            ("goal", f8),  # m
            ("since_us", f8),  # of the mode
            ("calls", i8),
            ("order", i8),  # last order taken (serial number)
            ("pressed", i8),  # the move is that of a held key: 1 held, 2 let go
            ("waiting", i8),  # sync.modes.Command of an order that is kept until the lift is at rest
            ("waiting_target", f8),  # m
            ("homing", i8),  # step of a homing: 0 none, 1 first approach, 2 back off, 3 second approach
            ("culprit", i8),  # 1 + index of the leg that the reason means, 0: none
            ("first_contact", i8),  # a leg has met its stop
            ("slow", i8),  # the slow-down before the goal has begun
            ("slow_us", f8),  # when
            ("reference", f8),  # m, height that the common reference has reached
            ("ask", i8),  # sync.modes.Reason for which homing is asked for, 0: none
            ("uncertain", i8),  # 1: power failed in a move; moves run at homing speed until the next homing
            ("power_failed", i8),  # 1: the supply has failed and has not come back
            ("fail_us", f8),  # when it failed
            ("saved", saved_dtype(capacity)),
            ("drift", DRIFT_MEMORY),
            ("believed_error", f8),  # m, highest minus lowest as counted
            ("off_us", f8),  # when the last leg was switched off
            ("low_since_us", f8),  # supply below its threshold
            ("payload", f8),  # kg, estimated in the last steady raise
            ("pinch", PINCH_MEMORY),
            ("legs", LEG_MEMORY, (capacity,)),
        ],
        align=True,
    )


LEG_INPUTS = np.dtype(
    [
        ("pulses", i8),  # heard since the last call, all of them
        ("stamp_us", f8, (MAX_PULSES,)),  # their instants, the first MAX_PULSES
        ("current", f8),
        ("second", i8),  # pulses heard by a second channel so far, 0: none
        # what a detector may also report; zero: not reported
        ("direction", i8),  # 1 up, -1 down, 0 unknown
        ("confidence", f8),  # 0 to 1
        ("wear", f8),
        ("power_off_us", f8),  # instant at which the detector saw the power go
    ],
    align=True,
)


@lru_cache
def inputs_dtype(capacity: int = CAPACITY) -> np.dtype[np.void]:
    """What the firmware sees at a call."""
    return np.dtype(
        [
            ("time_us", i8),
            ("supply", f8),  # V
            ("power_good", i8),  # 0 while the supply is below the threshold at which its failure is reported
            ("wake", i8),  # 1 at the first call after the logic was without power
            ("order", i8),  # serial number of the operator's last order
            ("command", i8),  # sync.modes.Command
            ("target", f8),  # m, for Command.GO
            ("legs", LEG_INPUTS, (capacity,)),
        ],
        align=True,
    )


LEG_OUTPUTS = np.dtype(
    [
        ("mode", i8),  # 0 coast, 1 drive, 2 brake
        ("duty", f8),  # -1 to 1
        ("limit", f8),  # A
    ],
    align=True,
)


@lru_cache
def outputs_dtype(capacity: int = CAPACITY) -> np.dtype[np.void]:
    """What the firmware commands after a call."""
    return np.dtype([("legs", LEG_OUTPUTS, (capacity,))], align=True)
