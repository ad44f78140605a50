"""Records of the signal level: what sparks, what the wires add, the front end, comparators; parameters before state.

One ``LINE`` is one motor with its wires, one ``FRONT`` one analogue chain, one ``COMPARATOR`` one decision at its end.
None of them is part of the world record: the waveform is made from a recorded history of the plant.

Units: s, V, A, rad, Hz unless a field says otherwise; instants in microseconds (float) end in ``_us``.
"""

from __future__ import annotations

import numpy as np

from plant.records import MAX_COMMUTATIONS

__all__ = [
    "AMPS",
    "CHANNELS",
    "COMMON",
    "COMPARATOR",
    "EDGE",
    "FRONT",
    "HISTORY",
    "LINE",
    "MAX_QUEUE",
    "ORDER",
    "REASONS",
    "SHAPE",
    "SHAPE_BEFORE",
    "SHAPE_PLACES",
    "SPARK",
    "SPIKE",
    "VOLTS",
]

f8, i8, u8 = np.float64, np.int64, np.uint64

MAX_QUEUE = 96
"""Pulse edges that can lie ahead of the sample at hand."""

VOLTS, COMMON, AMPS, EDGE, SPIKE = 0, 1, 2, 3, 4
CHANNELS = 5
"""Rows of a block: voltage between the wires, mean voltage of both against ground, motor current, switching edges, spikes alone.

An edge is 1 where the carrier of the duty switches, 2 where the bridge begins to drive, 3 where it ends or brakes, 0 elsewhere.
"""

HISTORY = np.dtype(
    [
        ("speed", f8),
        ("current", f8),
        ("angle", f8),
        ("supply", f8),  # V
        ("duty", f8),  # that is in force during the sub-step that begins here, the current limit included
        ("mode", i8),  # of the bridge during that sub-step
        ("sense", i8),  # 1 up, -1 down as ordered, 0 not driven; at its limit the current may need a duty of the other sign
    ],
    align=True,
)
"""State at the start of one sub-step, and what the bridge does during it."""

ORDER = np.dtype(
    [
        ("step", i8),  # sub-step at whose start it comes into force
        ("mode", i8),  # of the bridge
        ("duty", f8),
        ("payload", f8),  # kg
    ],
    align=True,
)
"""One order of a bench run: what the bridge does and what is carried from a sub-step on."""

SPARK = np.dtype(
    [
        ("amplitude", f8),  # V, largest at the terminals
        ("current_scale", f8),  # A, residual current at which the amplitude bends
        ("driven", f8),  # share of the amplitude left by the supply while driven
        ("coasting", f8),
        ("under_commutation", f8),  # zeta
        ("off_neutral", f8),  # gamma
        ("coil_resistance", f8),  # ohm, coil and contact
        ("arc_voltage", f8),
        ("base_width", f8),  # s
        ("rise", f8),  # s
        ("ring", f8),  # Hz, of the bare motor
        ("quality", f8),
        ("spread", f8),  # sigma of the logarithm, pulse by pulse
        ("segment_spread", f8),  # sigma of the logarithm, segment by segment
        ("weak_segment", i8),  # index, -1: none
        ("weak_factor", f8),
        ("jitter", f8),  # rms, counts
        ("double", f8),  # probability
        ("cluster", f8),  # probability that a double has one more
        ("double_low", f8),  # s
        ("double_high", f8),
        ("bounce_rate", f8),  # 1/s
        ("bounce_low", f8),  # s, shortest lift-off
        ("bounce_high", f8),
        ("bounce_gain", f8),  # its spike against the usual one
        ("brush_width", f8),  # segment pitches
        ("make", f8),  # make pulse over what the change of impedance gives
        ("remake", f8),  # second make pulse over the first
        ("remake_delay", f8),  # s after the end of the break
        ("intensity", f8),  # of the sparks by air and temperature
        ("polarity_driven", i8),  # sign of the break pulse over the sign of the drive
        ("polarity_coasting", i8),
        ("wire_share", f8),  # kappa, of the coil's energy that reaches the wires
    ],
    align=True,
)

WIRES = np.dtype(
    [
        ("driven", f8),  # share of a spike left at the sensing point
        ("coasting", f8),
        ("ring", f8),  # Hz, with cable and suppression parts
        ("capacitance", f8),  # F, suppression capacitor across the motor
        ("noise", f8),  # V rms, white up to half the sampling rate
        ("current_noise", f8),  # A rms
        ("mains", f8),  # V peak to peak on the supply
        ("mains_frequency", f8),
        ("switcher", f8),  # V peak to peak on the supply
        ("switcher_frequency", f8),
        ("carrier", f8),  # Hz, of the duty
        ("burst_rate", f8),  # 1/s, of outside interference
        ("burst", f8),  # V at the wires
        ("burst_common", f8),  # common-mode over difference
        ("crosstalk", f8),  # share of the neighbour's spikes
    ],
    align=True,
)

LINE = np.dtype(
    [
        ("spark", SPARK),
        ("wires", WIRES),
        # of the plant
        ("resistance", f8),  # hot
        ("inductance", f8),
        ("constant", f8),
        ("commutations", i8),
        ("segments", i8),
        ("pitch", f8, (MAX_COMMUTATIONS,)),
        ("ripple_emf", f8),
        ("ripple_resistance", f8),
        ("brush_drop", f8),
        ("bridge_resistance", f8),
        ("source_resistance", f8),  # of supply and bridge
        ("diode_drop", f8),
        ("synchronous", i8),
        ("freewheel", i8),
        ("pace_scale", f8),  # rad/s, no-load speed
        ("key", u8),
        ("seed", u8),
        ("run", u8),
        ("step", f8),  # s, sub-step
        ("dt", f8),  # s, sample period
        ("samples", i8),  # per sub-step
        # derived by ``prepare_line``
        ("coil_inductance", f8),
        ("segment", f8, (MAX_COMMUTATIONS,)),  # amplitude factor of each commutation of a revolution
        ("rise_decay", f8),  # per sample
        ("ring_real", f8),  # turn and decay per sample
        ("ring_imag", f8),
        ("switcher_real", f8),
        ("switcher_imag", f8),
        # state
        ("placed", i8),
        ("place", i8),  # index of the break last passed
        ("above", f8),  # rad, next break going up, jitter included
        ("below", f8),
        ("shift", f8),  # rad, jitter of the next break
        ("make_direction", i8),
        ("make_place", i8),
        ("ordinal", i8),  # breaks so far, keys the draws
        ("steps", i8),  # sub-steps so far, keys noise and chance events
        ("mode", i8),  # of the last sub-step
        ("on", i8),  # the switches at the last sample
        ("standing", f8),  # V, pulses that stand
        ("rising", f8),  # V, what their flanks still lack
        ("swing_real", f8),  # V, ringing
        ("swing_imag", f8),
        ("ripple_real", f8),  # switching supply
        ("ripple_imag", f8),
        ("notch_until_us", f8),  # the brush is off its segment until then
        ("waiting", i8),
        ("lost", i8),  # pulse edges that found the queue full
        ("at_us", f8, (MAX_QUEUE,)),
        ("height", f8, (MAX_QUEUE,)),
        ("lack", f8, (MAX_QUEUE,)),  # of the flank at the end of the pulse; a begin has none
        ("ends", i8, (MAX_QUEUE,)),
    ],
    align=True,
)

FRONT = np.dtype(
    [
        # shares of a new value per sample, 1: the stage is not there
        ("damping", f8),  # across the pair
        ("band", f8),  # of the difference stage
        ("low", f8),  # of the band-pass
        ("high", f8),  # of the coupling: what passes is the value less its slow part
        ("high_again", f8),  # a second high-pass, 0: none
        ("one_wire", i8),  # 1: one wire against ground is sensed
        ("rejection", f8),  # difference that 1 V of common mode makes
        ("gain", f8),
        ("swing", f8),  # V, output at most, 0: no bound
        ("rectify", i8),
        ("fed", i8),  # 1: lives on the motor wires
        ("feed_rise", f8),  # share per sample
        ("feed_fall", f8),
        ("feed_least", f8),  # V, below it it is dead
        ("wake_samples", i8),
        ("current", i8),  # 1: takes the motor current, not the voltage
        ("clamp_carrier", i8),  # samples for which an edge of the carrier clamps the coupling
        ("clamp_switch", i8),  # the same for a change of the bridge
        # state
        ("damped", f8),
        ("coupled", f8),
        ("slow", f8),
        ("differed", f8),
        ("passed", f8),
        ("feed", f8),
        ("awake", i8),
        ("clamp", i8),  # samples left
        ("begun", i8),
    ],
    align=True,
)

COMPARATOR = np.dtype(
    [
        ("threshold", f8),  # V at the output of the front end
        ("tracking", f8),  # share of the held peak, 0: fixed
        ("hold_decay", f8),  # of the held peak per sample
        ("hysteresis", f8),  # share of the threshold
        ("lockout", i8),  # samples
        ("adaptive", f8),  # lockout as a share of the last period, 0: fixed; ``lockout`` is then the least
        ("rest", i8),  # samples from which on a gap is a rest, no period
        ("blank_carrier", i8),  # samples after each edge of the carrier
        ("blank_switch", i8),  # samples after each change of the bridge
        ("delay_us", f8),  # of the comparator
        ("least_current", f8),  # A: below it nothing is heard (ripple), 0: no gate
        # state
        ("high", i8),
        ("held", f8),
        ("since", i8),  # samples since the last pulse
        ("period", f8),  # samples between the last two
        ("blank", i8),  # samples of blanking left
        ("pulses", i8),
        ("lost", i8),  # pulses that found no room
    ],
    align=True,
)

SHAPE_PLACES = 32
"""Values of a digitised group."""
SHAPE_BEFORE = 8
"""Of them before the candidate."""
REASONS = 4
"""Ways in which the shape check ends: accepted, too soon, too small, unlike."""

SHAPE = np.dtype(
    [
        ("threshold", f8),  # V at the output of the front end, for a candidate
        ("plain_threshold", f8),  # V, of the plain Schmitt trigger
        ("hysteresis", f8),
        ("lockout", i8),  # samples
        ("every", i8),  # samples per value of a digitised group
        ("likeness", f8),
        ("least_size", f8),
        ("least_period", f8),
        ("learning", f8),
        ("commutations", i8),
        ("rest", i8),  # samples from which on a gap is a rest
        ("blank_switch", i8),
        ("blank_carrier", i8),
        ("polarity_driven", i8),
        ("polarity_coasting", i8),
        ("delay_us", f8),
        # state
        ("armed", i8),
        ("cut", i8),  # samples for which a group counts as cut by blanking
        ("blank", i8),
        ("tick", i8),  # samples since the last value
        ("recent", f8, (SHAPE_BEFORE,)),  # the values before, oldest first
        ("filled", i8),  # values of the group at hand, 0: none
        ("group", f8, (SHAPE_PLACES,)),
        ("begun_us", f8),  # of the candidate
        ("since", i8),  # samples since the last accepted candidate began
        ("period", f8),  # samples, expected
        ("phase", f8),  # periods since the last accepted commutation, as foretold
        ("flux", f8),  # V samples of generator voltage for one commutation, 0: not known yet
        ("coasted", i8),  # groups accepted since the power was cut
        ("doubts", i8),  # groups of full size where none was due, less those that fitted
        ("favour_driven", f8),  # -1 to 1, sign of a break over that of the voltage of the wires
        ("favour_coasting", f8),
        ("periods", i8),  # accepted since the last rest
        ("place", i8),  # commutations since the start, as believed
        ("level", f8),  # V, size of a group of an even segment, now
        ("learnt", i8, (MAX_COMMUTATIONS,)),
        ("share", f8, (MAX_COMMUTATIONS,)),  # size of a segment's groups over the level
        ("pattern", f8, (MAX_COMMUTATIONS * SHAPE_PLACES,)),  # learnt groups, of length one
        ("ended", i8, (REASONS,)),
        ("pulses", i8),
        ("lost", i8),
        # estimates
        ("volts", f8),  # mean voltage of the wires
        ("turned", i8),  # samples for which it has been of the other sign
        ("driven", i8),  # as the driver says
        ("sense", f8),  # running sum of signs of the break pulses, -1 to 1
        ("direction", i8),  # 1 up, -1 down, 0 unknown
        ("off_us", f8),  # power-off seen, 0: none
        ("wear", f8),  # mean relative deviation of a group's size from what its segment has learnt
        ("speed", f8),  # rad/s, without sign
    ],
    align=True,
)
