"""Closed forms of the signal path: RC sections, Schmitt trigger thresholds, lines, what a blanked carrier hides, sampled spikes."""

from __future__ import annotations

from math import atan2, degrees, hypot, pi, sqrt

__all__ = [
    "LIGHT_SPEED",
    "line_capacitance",
    "line_delay",
    "masked_share",
    "rc_corner",
    "rc_gain",
    "rc_phase_deg",
    "rc_rise_time",
    "ring_frequency",
    "schmitt_thresholds",
    "spike_ceiling",
]

LIGHT_SPEED = 299_792_458.0
"""m/s."""


def rc_corner(resistance: float, capacitance: float) -> float:
    """Corner [Hz] of a first-order RC section: 1/(2 pi R C)."""
    return 1.0 / (2.0 * pi * resistance * capacitance)


def rc_gain(frequency: float, corner: float, high_pass: bool = False) -> float:
    """Gain of a first-order section at a ``frequency`` [Hz]."""
    return (frequency if high_pass else corner) / hypot(frequency, corner)


def rc_phase_deg(frequency: float, corner: float, high_pass: bool = False) -> float:
    """Phase of a first-order section at a ``frequency`` [Hz], in degrees."""
    return degrees(atan2(corner, frequency)) if high_pass else -degrees(atan2(frequency, corner))


def rc_rise_time(resistance: float, capacitance: float) -> float:
    """Rise time [s] from 10 to 90 % of a low-pass: R C ln 9, commonly rounded to 2.2 R C."""
    return 2.1972245773362196 * resistance * capacitance


def schmitt_thresholds(high: float, low: float, reference: float, share: float) -> tuple[float, float]:
    """Upper and lower threshold [V] of an inverting Schmitt trigger.

    Parameters
    ----------
    high, low
        Output voltages [V].
    reference
        Voltage behind the resistor to the non-inverting input [V].
    share
        R2/(R1 + R2): how much of the output's distance from the reference comes back.
    """
    return reference + (high - reference) * share, reference + (low - reference) * share


def line_delay(permittivity: float) -> float:
    """Delay [s/m] of a line with the relative ``permittivity`` of its insulation: sqrt(er)/c."""
    return sqrt(permittivity) / LIGHT_SPEED


def line_capacitance(permittivity: float, impedance: float) -> float:
    """Capacitance [F/m] of a line of characteristic ``impedance`` [ohm]: 1/(v Z0)."""
    return line_delay(permittivity) / impedance


def ring_frequency(inductance: float, capacitance: float) -> float:
    """Ringing [Hz] of an inductance with a capacitor: 1/(2 pi sqrt(L C))."""
    return 1.0 / (2.0 * pi * sqrt(inductance * capacitance))


def masked_share(carrier: float, blanking: float) -> float:
    """Share of time in which a detector is blanked for ``blanking`` [s] after both edges of a ``carrier`` [Hz]: 2 f t, at most 1."""
    return min(1.0, 2.0 * carrier * blanking)


def spike_ceiling(energy: float, share: float, capacitance: float) -> float:
    """Largest spike [V] across a suppression capacitor that takes ``share`` of the coil's ``energy`` [J]: sqrt(2 kappa W/C)."""
    return sqrt(2.0 * share * energy / capacitance)
