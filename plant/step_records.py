"""Records that a sub-step works with on one leg: thread flanks, booked energies, and what stands at both ends of the step.

Units as in ``plant.records``.
"""

from __future__ import annotations

import numpy as np

__all__ = ["ENERGY", "FLANK", "PLANE", "SCRATCH"]

f8, i8 = np.float64, np.int64

FLANK = np.dtype(
    [
        ("torque", f8),  # N m at the motor against motion, with collar and gear; negative: it overhauls
        ("thread_heat", f8),  # W per rad/s of the motor
        ("collar_heat", f8),
        ("gear_heat", f8),
    ],
    align=True,
)
"""What 1 N of nut force does on one flank of the thread, at running friction."""

ENERGY = np.dtype(
    [
        ("copper", f8),
        ("bridge", f8),
        ("diode", f8),
        ("brush", f8),
        ("drag", f8),
        ("gear", f8),
        ("thread", f8),
        ("collar", f8),
        ("guide", f8),
        ("impact", f8),
        ("work", f8),  # done on payload and deck
    ],
    align=True,
)

PLANE = np.dtype(
    [
        ("load", f8, (3,)),  # N along the basis of the deck: what it hands to its legs at height zero
        ("give", f8, (9,)),  # N/m, how that grows with the plane: racking and contacts
        ("rack_x", f8, (3,)),  # rad/m, slopes of the deck along its basis
        ("rack_y", f8, (3,)),
        ("rows", f8, (12,)),  # of the linear system, right-hand side last
        ("place", f8, (3,)),  # m along the basis: where the deck's plane is
    ],
    align=True,
)
"""What finding the legs that carry works with: three numbers along the orthonormal basis of the deck stand for a plane."""

SCRATCH = np.dtype(
    [
        ("current_rate", f8),
        ("speed_rate", f8),
        ("end_current", f8),  # predicted, then corrected, at the end of the step
        ("end_speed", f8),
        ("end_travel", f8),
        ("end_current_rate", f8),
        ("end_speed_rate", f8),
        ("deck_force", f8),
        ("nut_force", f8),  # at both ends, like the guide's friction, the drag and the current's voltages
        ("end_nut_force", f8),
        ("guide", f8),
        ("end_guide", f8),
        ("guide_share", f8),  # 1/m, friction of the guide per bending moment
        ("drag", f8),
        ("end_drag", f8),
        ("brush", f8),  # brush and diode voltage, and share of the motor current that the supply carries, at both ends
        ("end_brush", f8),
        ("diode", f8),
        ("end_diode", f8),
        ("share", f8),
        ("end_share", f8),
        ("event", i8),  # what happens first to this leg inside the step, and when
        ("event_time", f8),
        ("event_span", f8),  # length of the step in which it is looked for
        ("direction", f8),  # 1 up, -1 down, 0 at rest
        ("engaged", i8),
        ("held", i8),  # current held at its limit
        ("break_up", f8),  # torque at which it breaks away upwards
        ("break_down", f8),
    ],
    align=True,
)
