"""Motor constants from the figures a catalogue prints, with a note of how each was derived."""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt

__all__ = ["LARGEST_DISAGREEMENT", "VISCOUS_SHARE", "CatalogueFigures", "ContradictionError", "DerivedConstants", "agreement", "derive"]

LARGEST_DISAGREEMENT = 0.05
"""Two ways to a torque constant may differ by this share of the larger one."""

VISCOUS_SHARE = 0.35
"""Share of the no-load torque taken as viscous: planning value, no source (a catalogue does not tell)."""


class ContradictionError(ValueError):
    """The figures cannot all be true; the text names the two that disagree."""


@dataclass(frozen=True)
class CatalogueFigures:
    """What is printed, in SI; None where it is not printed."""

    voltage: float
    no_load_speed: float
    """rad/s"""
    no_load_current: float
    brush_drop: float = 0.0
    """V, both brushes; not printed, from the motor's table."""
    stall_current: float | None = None
    stall_torque: float | None = None
    torque_constant: float | None = None
    back_emf_constant: float | None = None


@dataclass(frozen=True)
class DerivedConstants:
    """Constants of the model, in SI."""

    resistance: float
    torque_constant: float
    coulomb: float
    viscous: float
    """N m s/rad"""
    notes: tuple[str, ...]


def agreement(first: float, second: float, names: tuple[str, str]) -> None:
    """See that two torque constants agree.

    Parameters
    ----------
    first, second
        Torque constants [N m/A], equal to back-EMF constants [V s/rad].
    names
        What each was taken from.

    Raises
    ------
    ContradictionError
        If they differ by more than 5 %: a machine with unequal constants breaks the balance of energy.
    """
    difference = abs(first - second) / max(first, second)
    if difference > LARGEST_DISAGREEMENT:
        raise ContradictionError(
            f"{names[0]} gives {first * 1e3:.4g} mN m/A but {names[1]} gives {second * 1e3:.4g} mN m/A (= mV s/rad): "
            f"they differ by {difference:.1%}, at most {LARGEST_DISAGREEMENT:.0%} is accepted"
        )


def _stall_current(figures: CatalogueFigures) -> float:
    """Stall current [A], if need be from the stall torque.

    With R = (V - Vb)/Is and K = (V - Vb - R I0)/w0 the stall torque is T = K (Is - I0), so
    (Is - I0)^2 = T w0 Is/(V - Vb), of which the larger root is the one above I0.
    """
    if figures.stall_current is not None:
        return figures.stall_current
    assert figures.stall_torque is not None
    i0 = figures.no_load_current
    slope = figures.stall_torque * figures.no_load_speed / (figures.voltage - figures.brush_drop)
    half = i0 + 0.5 * slope
    return half + sqrt(half * half - i0 * i0)


def derive(figures: CatalogueFigures) -> DerivedConstants:
    """Resistance, torque constant and drag of a motor from catalogue figures.

    R = (V - Vb)/Is, K = (V - Vb - R I0)/w0, drag at no load K I0.  A stall torque is read on the straight line of the
    catalogue, T = K (I - I0).

    Parameters
    ----------
    figures
        What is printed.

    Returns
    -------
    DerivedConstants
        With notes that say how.

    Raises
    ------
    ContradictionError
        If two figures give torque constants that differ by more than 5 %, or no resistance is possible.

    Notes
    -----
    Source: the straight speed-torque line of the permanent-magnet motor (textbook result).
    Valid for: figures at one temperature; the constants are taken as those at 20 C.
    """
    usable = figures.voltage - figures.brush_drop
    if usable <= 0.0:
        raise ContradictionError(f"brush_drop_v = {figures.brush_drop:g} leaves nothing of rated_voltage_v = {figures.voltage:g}")
    stall = _stall_current(figures)
    if stall <= figures.no_load_current:
        raise ContradictionError(f"the stall current ({stall:.4g} A) must be above no_load_current_a = {figures.no_load_current:g}")
    resistance = usable / stall
    constant = (usable - resistance * figures.no_load_current) / figures.no_load_speed
    speed_name = "the no-load speed (back-EMF constant)"
    if figures.stall_current is not None and figures.stall_torque is not None:
        agreement(
            figures.stall_torque / (stall - figures.no_load_current),
            constant,
            ("stall torque over stall current (torque constant)", speed_name),
        )
    if figures.torque_constant is not None:
        agreement(figures.torque_constant, constant, ("torque_constant_mn_m_per_a", speed_name))
    if figures.back_emf_constant is not None:
        agreement(figures.back_emf_constant, constant, ("back_emf_constant_mv_s_per_rad", speed_name))
    drag = constant * figures.no_load_current
    stall_from = (
        "stall_current_a" if figures.stall_current is not None else "stall_torque_mn_m, solved for the current on the straight line"
    )
    notes = (
        f"resistance {resistance:.4g} ohm = (rated voltage - brush drop) / stall current; stall current {stall:.4g} A from {stall_from}",
        f"torque constant {constant * 1e3:.4g} mN m/A = (rated voltage - brush drop - resistance x no-load current) / no-load speed",
        f"drag {drag * 1e3:.4g} mN m at no load = torque constant x no-load current; {VISCOUS_SHARE:.0%} of it viscous (planning value)",
    )
    return DerivedConstants(resistance, constant, (1.0 - VISCOUS_SHARE) * drag, VISCOUS_SHARE * drag / figures.no_load_speed, notes)
