"""The settings as a C header: name, unit, fixed-point format and rounding error of each."""

from __future__ import annotations

import re
from collections.abc import Iterator
from math import ceil, floor, log2
from typing import Any

from scenarios.build_settings import LAWS, told_constants
from scenarios.files.fields import Table
from scenarios.files.lift import Lift
from scenarios.files.settings import Settings
from scenarios.files.slips import unit_of

__all__ = ["Fixed", "fixed_point", "header_text"]

WORD = 16
"""Bits of a fixed-point number, sign included."""


class Fixed:
    """A number as the firmware holds it: ``digits`` / 2^``fraction``.

    Attributes
    ----------
    digits : int
        The whole number that is stored.
    fraction : int
        Bits behind the point.
    error : float
        Stored less given, in the unit of the number.
    """

    def __init__(self, digits: int, fraction: int, value: float) -> None:
        self.digits, self.fraction = digits, fraction
        self.error = digits / 2.0**fraction - value

    @property
    def format(self) -> str:
        """Qm.n: m bits before the point, n behind it, sign apart; a negative m or n means that the point lies outside the word."""
        return f"Q{WORD - 1 - self.fraction}.{self.fraction}"


def fixed_point(value: float) -> Fixed:
    """The finest fixed-point format of a signed 16-bit word that holds ``value``."""
    if value == 0.0:
        return Fixed(0, WORD - 1, 0.0)
    fraction = WORD - 1 - ceil(log2(abs(value)))
    digits = floor(value * 2.0**fraction + 0.5)
    if digits > 2 ** (WORD - 1) - 1 or digits < -(2 ** (WORD - 1)):
        fraction -= 1
        digits = floor(value * 2.0**fraction + 0.5)
    return Fixed(digits, fraction, value)


def _name(key: str) -> str:
    return re.sub(r"[^A-Za-z0-9]+", "_", key).strip("_").upper()


def _entries(table: Table, before: str = "") -> Iterator[tuple[str, Any]]:
    """Dotted key and value of everything the firmware is told; texts where they came from are left out."""
    for name in type(table).model_fields:
        value = getattr(table, name)
        key = before + name
        if isinstance(value, Table):
            yield from _entries(value, key + ".")
        elif isinstance(value, dict) and name != "sources":
            for inner, one in value.items():
                if isinstance(one, Table):
                    yield from _entries(one, f"{key}.{inner}.")
                elif not isinstance(one, tuple):
                    yield f"{key}.{inner}", one
        elif value is not None and name not in ("kind", "sources"):
            yield key, value


def _drive(settings: Settings, lift: Lift) -> Iterator[tuple[str, float | int, str]]:
    """Constants of each leg that the settings leave to the lift file: key, value and unit."""
    for leg, told in zip(lift.leg, told_constants(settings, lift), strict=True):
        yield f"leg.{leg.name}.counts_per_mm", told.counts_per_metre * 1e-3, "counts/mm"
        yield f"leg.{leg.name}.counts_per_revolution", told.counts_per_revolution, "counts"
        yield f"leg.{leg.name}.torque_constant_mn_m_per_a", told.torque_constant * 1e3, "mN m/A"
        yield f"leg.{leg.name}.inertia_g_cm2", told.inertia * 1e7, "g cm2"
        yield f"leg.{leg.name}.viscous_drag_mn_m_s", told.viscous * 1e3, "mN m s"
        yield f"leg.{leg.name}.load_guess_mn_m", told.load_guess * 1e3, "mN m"


def _define(key: str, value: float | int | bool | str, unit: str, lift: Lift) -> str:
    name = f"LEVELRIG_{_name(key)}"
    told = f", {unit}" if unit else ""
    if isinstance(value, str):
        if key.endswith(".law"):
            return f"#define {name} {int(LAWS[value])} /* {value} */"
        if key.endswith(".leader"):
            return f"#define {name} {lift.names.index(value)} /* leg {value} */"
        return f"#define {name}_{_name(value)} 1"
    if isinstance(value, bool):
        return f"#define {name} {int(value)}"
    if isinstance(value, int):
        return f"#define {name} {value} /* whole number{told} */"
    fixed = fixed_point(value)
    share = f" ({1e6 * abs(fixed.error / value):.2g} ppm)" if value else ""
    return f"#define {name} ({fixed.digits}) /* {value:.10g}{told}; {fixed.format}; rounding error {fixed.error:.2g}{share} */"


def header_text(settings: Settings, lift: Lift, about: str) -> str:
    """C header of the settings.

    Parameters
    ----------
    settings
        What the firmware is told.
    lift
        The lift, for the constants of each drive.
    about
        One line: which settings these are.
    """
    lines = [
        f"/* {about.replace('*/', '* /')}",
        " *",
        f" * A fixed-point number is value * 2^n, rounded to the nearest whole number of a signed {WORD}-bit word; Qm.n behind each.",
        " * A simulation chose these values: verify them on the real machine.",
        " */",
        "#ifndef LEVELRIG_SETTINGS_H",
        "#define LEVELRIG_SETTINGS_H",
        "",
    ]
    before = ""
    for key, value in _entries(settings):
        table = key.split(".")[0]
        if table != before:
            lines += ([""] if before else []) + [f"/* {table} */"]
            before = table
        lines.append(_define(key, value, unit_of(key), lift))
    lines += ["", "/* drive of each leg, from the lift file where the settings are silent */"]
    lines += [_define(key, value, unit, lift) for key, value, unit in _drive(settings, lift)]
    return "\n".join([*lines, "", "#endif", ""])
