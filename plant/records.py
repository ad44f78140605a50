"""Records of the machine: every parameter and every state of the plant, in SI units.

Parameters and state of one noun stand together, so that one nested record is one machine: a single argument for a kernel
and a plain C struct for anything else.  ``capacity`` legs are laid out, ``n_legs`` of them are used.

Units: m, s, kg, N, N m, A, V, ohm, H, rad, rad/s, K, W, J unless a field says otherwise; times in integer microseconds end
in ``_us``.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from plant.contact_records import CONTACT, MAX_CONTACTS
from plant.detector_records import DETECTOR, MAX_PULSES
from plant.step_records import ENERGY, FLANK, PLANE, SCRATCH
from plant.trouble_records import BRIDGE_TROUBLE

__all__ = ["CAPACITY", "MAX_COMMUTATIONS", "MAX_PULSES", "world_dtype"]

CAPACITY = 16
MAX_COMMUTATIONS = 64
"""Most commutations per motor revolution (22 segments on 4 poles make 44)."""

f8, i8, u8 = np.float64, np.int64, np.uint64

MOTOR = np.dtype(
    [
        # electrical parameters at 20 C
        ("resistance", f8),
        ("inductance", f8),
        ("torque_constant", f8),
        ("brush_drop", f8),
        ("brush_current", f8),
        ("copper_coefficient", f8),  # 1/K, of the winding
        ("magnet_coefficient", f8),  # 1/K, of the torque constant, with the case temperature
        # mechanical parameters, at the motor shaft
        ("inertia", f8),  # rotor alone
        ("coulomb", f8),
        ("viscous", f8),
        ("static_ratio", f8),  # break-away over running Coulomb drag
        ("stribeck_speed", f8),  # rad/s; 0: the drag drops at once
        # two-node thermal model
        ("winding_capacity", f8),  # J/K
        ("case_capacity", f8),
        ("winding_to_case", f8),  # K/W
        ("case_to_air", f8),
        ("ambient", f8),  # deg C
        # commutation
        ("commutations", i8),  # per revolution
        ("ripple_emf", f8),  # relative back-EMF ripple, peak to peak
        ("ripple_resistance", f8),  # relative resistance ripple, peak to peak
        ("pitch", f8, (MAX_COMMUTATIONS,)),  # offset of each commutation, in commutation pitches
        # derived by ``setup.prepare``: divisions cost more than all else in a sub-step
        ("inverse_inductance", f8),
        ("inverse_brush_current", f8),
        ("stribeck_end", f8),  # rad/s: from here on the drag is its running value
        # derived from the temperatures, once per advance
        ("hot_resistance", f8),
        ("hot_constant", f8),
        # state
        ("current", f8),
        ("speed", f8),
        ("angle", f8),
        ("winding", f8),  # deg C
        ("case", f8),
        ("hottest", f8),  # deg C, of the winding, and when
        ("hottest_us", i8),
        ("place", i8),  # index of the commutation last passed
        ("above", f8),  # angle of the next commutation going up
        ("below", f8),  # angle of the next commutation going down
        ("peak_current", f8),  # largest magnitude since the last reset
        ("commuted", i8),  # true commutations, both directions
        ("ordinal", i8),  # commutations ever, keys the random draws
    ],
    align=True,
)

BRIDGE = np.dtype(
    [
        ("resistance", f8),  # of the two closed switches
        ("diode_drop", f8),
        ("synchronous", i8),  # 1: the off-time is switched, current may reverse; 0: a diode carries it
        ("freewheel", i8),  # coast: 1 one switch stays closed, 0 all open and the current returns to the supply
        ("current_limit", f8),  # A, of the hardware; the controller may ask for less
        # command in force
        ("mode", i8),  # 0 coast, 1 drive, 2 brake
        ("duty", f8),  # -1 to 1
        ("limit", f8),  # A in force
        # command waiting for the compute delay
        ("next_mode", i8),
        ("next_duty", f8),
        ("next_limit", f8),
        # bookkeeping
        ("switched_us", f8),  # instant of the last change of mode
        ("starts", i8),  # switch-ons so far
        ("stops", i8),  # switch-offs so far
        # at the last switch-off
        ("off_us", f8),
        ("off_travel", f8),
        ("off_commuted", i8),
        ("trouble", BRIDGE_TROUBLE),
    ],
    align=True,
)

SPINDLE = np.dtype(
    [
        ("ratio", f8),  # gear: motor turns per spindle turn
        ("efficiency", f8),  # motor drives spindle
        ("back_efficiency", f8),  # spindle drives motor
        ("lead", f8),
        ("mean_radius", f8),
        ("lead_tangent", f8),  # tan and sin of the lead angle
        ("lead_sine", f8),
        ("flank_cosine", f8),  # cos of half the thread angle
        ("friction", f8),  # running
        ("static_friction", f8),
        ("stribeck_speed", f8),  # sliding m/s; 0: friction drops at once
        ("collar_friction", f8),
        ("collar_radius", f8),
        ("inertia", f8),  # about the spindle axis
        ("gear_play", f8),  # m of lift, opens at each reversal
        ("nut_play", f8),  # m of lift, opens where the nut force reverses
        ("captive", i8),  # 1: the nut can also pull the deck down; 0: the deck only lies on it
        ("travel_per_radian", f8),  # m of lift per motor radian
        ("stribeck_end", f8),  # rad/s of the motor: from here on thread friction is its running value
        # derived by ``spindle.refresh_spindle``: what the gear makes of 1 N m at the spindle, and inverses
        ("drive_torque", f8),  # N m at the motor where the motor drives
        ("back_torque", f8),  # where the spindle drives
        ("drive_heat", f8),  # W per rad/s of the motor
        ("back_heat", f8),
        ("inverse_ratio", f8),
        ("inverse_flank_cosine", f8),
    ],
    align=True,
)

SENSOR = np.dtype(
    [
        ("gain", f8),
        ("offset", f8),
        ("noise", f8),  # rms
        ("filter_share", f8),  # of the new value per sub-step, 1: no filter
        ("quantum", f8),  # 0: none
        ("full_scale", f8),
        # state
        ("filtered", f8),
        ("reading", f8),
        ("samples", i8),
        ("spare", f8),  # normal number for the next reading
    ],
    align=True,
)


@lru_cache
def leg_dtype() -> np.dtype[np.void]:
    """Record of one leg: motor, bridge, spindle, guide, stops, detector and current sensor."""
    return np.dtype(
        [
            ("motor", MOTOR),
            ("bridge", BRIDGE),
            ("spindle", SPINDLE),
            ("detector", DETECTOR),
            ("current_sensor", SENSOR),
            ("energy", ENERGY),
            ("scratch", SCRATCH),
            ("x", f8),  # of the leg in the plan of the deck
            ("y", f8),
            ("key", u8),  # of the leg's name, for the random draws
            ("moving_mass", f8),  # of the leg itself
            ("guide_friction", f8),  # N
            ("guide_coefficient", f8),  # of the tilt friction
            ("guide_overlap", f8),  # m, retracted
            ("guide_overlap_loss", f8),  # m lost per m of travel
            ("axial_stiffness", f8),  # N/m, 0: rigid
            ("stop_low", f8),  # travel at which the lower end stop is met
            ("stop_high", f8),
            ("stop_stiffness", f8),  # N/m
            # what is wrong with the leg
            ("jam", f8),  # N of guide friction that holds it
            ("bind_force", f8),  # N of guide friction that grows from one travel to another
            ("bind_from", f8),
            ("bind_to", f8),
            ("guide_extra", f8),  # N, what of ``guide_friction`` these two make now
            ("debris_low", f8),  # m that lie on the stop; ``stop_low`` is where they are met
            ("debris_high", f8),
            ("debris_stiffness", f8),  # N/m
            ("hand_left", f8),  # m, way by which somebody still has to turn the spindle by hand, up positive
            ("hand_at", f8),  # m, travel at which the hand has it
            ("hand_speed", f8),  # m/s, up positive, 0: nobody does
            ("carried_mass", f8),  # share of deck and payload, for the inertia
            ("share", f8),  # N, static share of deck and payload
            ("inverse_inertia", f8),  # 1/(kg m2), all at the motor shaft
            ("free_inverse_inertia", f8),  # the same inside the gear play
            # derived from the thread's friction by ``spindle.refresh_spindle``
            ("resist", FLANK),  # the load resists the motion
            ("assist", FLANK),  # the load helps it
            ("break_resist", f8),  # motor torque at break-away per N of nut force, against the load
            ("break_assist", f8),  # with the load; negative: it moves by itself
            # factor of the deck: columns of the orthonormal basis and the slopes per m of this leg
            ("basis", f8, (3,)),
            ("slope_x", f8),
            ("slope_y", f8),
            # state
            ("travel", f8),  # of the nut above its retracted datum
            ("play", f8),  # how far the rotor is from the raising flank, m of lift, 0 to -width
            ("deck_force", f8),  # N on the leg, down positive
            ("height", f8),  # of the deck joint above the level plane
            ("lifted", i8),  # 1: the deck has left this nut
            ("stuck", i8),  # 1 at rest, 2 or -2 just breaking away
            ("still_us", f8),  # instant at which the rotor last came to rest
            ("heat_before", f8),  # J, heat of the winding already taken up
            ("stop_peak", f8),  # N, largest force of an end stop, to the tick, and when
            ("stop_peak_us", f8),
        ],
        align=True,
    )


SUPPLY = np.dtype(
    [
        ("open_voltage", f8),
        ("resistance", f8),
        ("current_limit", f8),
        ("capacitance", f8),
        ("conductance", f8),  # inverses, derived; 0 where there is no resistance, no capacitor
        ("elastance", f8),
        ("back_feed", i8),  # 1: takes returned current (battery), 0: a rectifier blocks it
        # state
        ("voltage", f8),
        ("current", f8),
        ("lowest", f8),
        ("given", f8),  # by the source at the start of the step
        ("rate", f8),  # V/s, at the start of the step
        ("load", f8),  # current of all bridges at the start and, predicted, at the end of the step
        ("end_load", f8),
        ("end_voltage", f8),
        ("energy_in", f8),
        ("energy_heat", f8),
        ("failed", i8),  # 1: the mains is away, the source gives nothing
        ("before", f8),  # V, followed over some ticks, where steps of the supply are heard
    ],
    align=True,
)

DECK = np.dtype(
    [
        ("mass", f8),
        ("payload", f8),
        ("payload_x", f8),
        ("payload_y", f8),
        ("centre_x", f8),  # of the deck's own mass
        ("centre_y", f8),
        ("tilt_stiffness_x", f8),  # N m/rad against a slope along x
        ("tilt_stiffness_y", f8),
        ("warp_stiffness", f8),  # N/m of the warp mode
        ("elastic", i8),  # 1: any of the three acts
        ("bending", f8),  # N m that racking puts on the guides, now
        ("rank", i8),
        ("walk_ticks", i8),  # ticks in which the payload still changes, and what it becomes
        ("walk_mass", f8),
        ("walk_x", f8),
        ("walk_y", f8),
        # state
        ("tilt_x", f8),  # rad, slope along x
        ("tilt_y", f8),
        ("warp", f8),  # m, largest distance of a joint from the mean plane
        ("level_error", f8),  # m, highest minus lowest joint
        ("plane", PLANE),
    ],
    align=True,
)


@lru_cache
def world_dtype(capacity: int = CAPACITY) -> np.dtype[np.void]:
    """Record of one machine with room for ``capacity`` legs (1 to 16)."""
    return np.dtype(
        [
            ("n_legs", i8),
            ("legs", leg_dtype(), (capacity,)),
            ("deck", DECK),
            ("supply", SUPPLY),
            ("supply_sensor", SENSOR),
            ("outside", i8),  # contacts and hands: what acts on the machine from outside
            ("contacts", i8),  # put so far; those taken away keep their place and their score
            ("contact", CONTACT, (MAX_CONTACTS,)),
            ("clock_force", f8),  # N that starts the clock of an attempt
            ("late_after", f8),  # s on that clock
            ("last_after", f8),
            ("taken", f8),  # J, that obstacles and people took along when they went
            ("sub_step", f8),  # s
            ("sub_step_us", i8),
            ("steps_per_tick", i8),
            ("delay_steps", i8),  # compute delay of the outputs
            ("sample_steps", i8),  # sub-steps before the tick at which the ADC samples
            ("timer_us", f8),  # resolution of the pulse time stamps, 0: exact
            ("pwm_quantum", f8),  # resolution of the duty, 0: exact
            ("ideal_sensing", i8),
            ("seed", u8),
            ("run", u8),
            ("time_us", i8),
            ("troubled", i8),  # 1: false pulses that come without a commutation, derived by ``trouble.refresh_trouble``
            ("splits", i8),  # sub-steps that had to be split
            ("diverged", i8),  # 0, or 1 + index of the first leg that was not finite
        ],
        align=True,
    )
