"""Likely slips: a unit that is off by a power of ten, a key that is misspelt."""

from __future__ import annotations

from collections.abc import Iterable
from difflib import get_close_matches
from math import isfinite

__all__ = ["did_you_mean", "unit_of", "unit_slip"]

_UNITS: dict[str, tuple[str, tuple[tuple[float, str], ...]]] = {
    # suffix: unit, then (factor that turns the other unit into this one, the other unit)
    "kn_m_per_rad": ("kN m/rad", ((1e-3, "N m/rad"), (1e3, "MN m/rad"))),
    "mn_m_per_a": ("mN m/A", ((1e3, "N m/A"),)),
    "mv_s_per_rad": ("mV s/rad", ((1e3, "V s/rad"),)),
    "n_per_mm": ("N/mm", ((1e-3, "N/m"), (1e3, "kN/mm"))),
    "j_per_k": ("J/K", ((1e3, "kJ/K"),)),
    "k_per_w": ("K/W", ()),
    "per_mm_s": ("per mm and s", ((1e-3, "per m and s"),)),
    "per_mm": ("per mm", ((1e-3, "per m"),)),
    "per_k": ("per K", ((1e-2, "percent per K"),)),
    "g_cm2": ("g cm2", ((1e7, "kg m2"), (1e4, "kg cm2"))),
    "mn_m_s": ("mN m s", ((1e3, "N m s"),)),
    "mn_m": ("mN m", ((1e3, "N m"),)),
    "mm_s": ("mm/s", ((1e3, "m/s"),)),
    "rad_s": ("rad/s", ((6.2832, "Hz"),)),
    "mpa": ("MPa", ((1e-6, "Pa"),)),
    "mohm": ("mohm", ((1e3, "ohm"),)),
    "ohm": ("ohm", ((1e-3, "mohm"),)),
    "rpm": ("rpm", ((9.5493, "rad/s"), (60.0, "1/s"))),
    "deg": ("deg", ((57.29578, "rad"),)),
    "mm": ("mm", ((1e3, "m"), (10.0, "cm"), (1e-3, "um"))),
    "ms": ("ms", ((1e3, "s"), (1e-3, "us"))),
    "us": ("us", ((1e6, "s"), (1e3, "ms"))),
    "mh": ("mH", ((1e3, "H"), (1e-3, "uH"))),
    "mf": ("mF", ((1e3, "F"), (1e-3, "uF"))),
    "ma": ("mA", ((1e3, "A"),)),
    "mv": ("mV", ((1e3, "V"),)),
    "kg": ("kg", ((1e-3, "g"), (0.101972, "N"))),
    "s": ("s", ((1e-3, "ms"), (1e-6, "us"))),
    "a": ("A", ((1e-3, "mA"),)),
    "v": ("V", ((1e-3, "mV"),)),
    "n": ("N", ((9.80665, "kg"), (1e3, "kN"))),
    "c": ("deg C", ()),
    "w": ("W", ((1e-3, "mW"),)),
}


def _suffix(key: str) -> str:
    for suffix in _UNITS:
        if key.endswith("_" + suffix):
            return suffix
    return ""


def unit_of(key: str) -> str:
    """Unit that a key's ending names, or nothing."""
    suffix = _suffix(key)
    return _UNITS[suffix][0] if suffix else ""


def unit_slip(key: str, value: object, low: float, high: float) -> str:
    """Question that names the unit the value may have been given in, or nothing.

    Parameters
    ----------
    key
        Key; its ending is the unit it should have.
    value
        What was given.
    low, high
        Range of the key.
    """
    suffix = _suffix(key)
    if isinstance(value, bool) or not isinstance(value, int | float) or not suffix or value == 0:
        return ""
    try:
        number = float(value)
    except OverflowError:
        return ""
    if suffix == "c" and low <= number - 273.15 <= high:
        return " (is this in K?)"
    for factor, unit in _UNITS[suffix][1]:
        if isfinite(number) and low <= number * factor <= high:
            return f" (is this in {unit}?)"
    return ""


def did_you_mean(word: str, known: Iterable[str]) -> str:
    """``; did you mean "..."?`` for a misspelt word, or the list of what is known."""
    names = list(known)
    close = get_close_matches(word, names, n=1, cutoff=0.6)
    if close:
        return f'; did you mean "{close[0]}"?'
    shown = ", ".join(names[:12]) + (", ..." if len(names) > 12 else "")
    return f"; known: {shown}" if names else ""
