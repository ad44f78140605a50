"""Dimensions of ISO metric trapezoidal screw threads from their designation.

Source: ISO 2904 (dimensions), ISO 2902 (pitches), ISO 2901 (profile, 30 degrees between the flanks).
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from math import atan, pi

__all__ = ["FLANK_ANGLE", "PITCHES_MM", "TrapezoidalThread", "crest_clearance", "trapezoidal_thread"]

FLANK_ANGLE = 15.0 * pi / 180.0
"""Half the profile angle [rad]."""

PITCHES_MM = (1.5, 2.0, 3.0, 4.0, 5.0, 6.0, 7.0, 8.0, 9.0, 10.0, 12.0, 14.0, 16.0, 18.0, 20.0, 22.0, 24.0, 28.0, 32.0, 36.0, 40.0, 44.0)

_FORM = re.compile(r"^\s*Tr\s*(\d+(?:\.\d+)?)\s*[x×]\s*(\d+(?:\.\d+)?)(?:\s*\(?\s*P\s*(\d+(?:\.\d+)?)\s*\)?)?(?:\s*LH)?\s*$", re.IGNORECASE)


@dataclass(frozen=True)
class TrapezoidalThread:
    """One thread; all lengths in m."""

    diameter: float
    """Nominal (major) diameter d of the screw."""
    pitch: float
    starts: int

    @property
    def lead(self) -> float:
        """Axial advance per turn [m]."""
        return self.pitch * self.starts

    @property
    def pitch_diameter(self) -> float:
        """Pitch diameter d2 = D2 = d - 0.5 P [m]."""
        return self.diameter - 0.5 * self.pitch

    @property
    def core_diameter(self) -> float:
        """Minor diameter of the screw d3 = d - P - 2 ac [m]."""
        return self.diameter - self.pitch - 2.0 * crest_clearance(self.pitch)

    @property
    def nut_minor_diameter(self) -> float:
        """Minor diameter of the nut D1 = d - P [m]."""
        return self.diameter - self.pitch

    @property
    def nut_major_diameter(self) -> float:
        """Major diameter of the nut D4 = d + 2 ac [m]."""
        return self.diameter + 2.0 * crest_clearance(self.pitch)

    @property
    def lead_angle(self) -> float:
        """Lead angle on the pitch diameter [rad]."""
        return atan(self.lead / (pi * self.pitch_diameter))


def crest_clearance(pitch: float) -> float:
    """Clearance ac at the crest of a trapezoidal thread.

    Parameters
    ----------
    pitch
        Pitch P [m].

    Returns
    -------
    float
        ac [m].

    Notes
    -----
    Source: ISO 2901, table of ac over the pitch.
    """
    millimetres = pitch * 1e3
    if millimetres < 1.75:
        return 0.15e-3
    if millimetres < 5.5:
        return 0.25e-3
    return 0.5e-3 if millimetres < 13.0 else 1.0e-3


def trapezoidal_thread(designation: str) -> TrapezoidalThread:
    """Read a designation such as ``Tr 14x4`` or, with two starts, ``Tr 14x8 P4``.

    Parameters
    ----------
    designation
        ``Tr DxL`` (one start, lead = pitch L) or ``Tr DxL PP`` (lead L, pitch P), in mm; a trailing ``LH`` is allowed.

    Returns
    -------
    TrapezoidalThread
        Dimensions [m].

    Raises
    ------
    ValueError
        If it is no designation, the pitch is not in ISO 2902, the lead is no multiple of the pitch, or the core vanishes.
    """
    found = _FORM.match(designation)
    if found is None:
        raise ValueError(f'"{designation}" is no thread designation: write "Tr 14x4", or "Tr 14x8 P4" for two starts')
    diameter, lead = float(found[1]), float(found[2])
    pitch = float(found[3]) if found[3] else lead
    if pitch not in PITCHES_MM:
        listed = ", ".join(f"{p:g}" for p in PITCHES_MM)
        raise ValueError(
            f'"{designation}": pitch {pitch:g} mm is not among those of ISO 2902 ({listed}); for several starts give the pitch as P'
        )
    starts = lead / pitch
    if starts < 1.0 or abs(starts - round(starts)) > 1e-9 or starts > 8.0:
        raise ValueError(f'"{designation}": the lead {lead:g} mm must be 1 to 8 times the pitch {pitch:g} mm')
    thread = TrapezoidalThread(diameter * 1e-3, pitch * 1e-3, round(starts))
    if not 8.0 <= diameter <= 300.0 or thread.core_diameter < 0.5 * thread.diameter:
        raise ValueError(f'"{designation}": the diameter must be 8 to 300 mm and leave a core of at least half of it')
    return thread
