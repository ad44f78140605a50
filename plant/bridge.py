"""The bridge of one motor, averaged over a PWM period: terminal voltage, share of the supply, diode loss."""

from __future__ import annotations

from typing import Any

from plant.kernel import inlined, kernel

__all__ = ["BRAKE", "COAST", "DRIVE", "command", "conducts", "current_rate", "terminal"]

COAST = 0
DRIVE = 1
BRAKE = 2


@inlined
def terminal(bridge: Any, voltage: float, current: float, emf: float) -> tuple[float, float, float]:
    """What the bridge puts on the motor.

    Parameters
    ----------
    bridge : BRIDGE record
    voltage : float
        Of the supply [V].
    current : float
        Motor current [A]; its sign, or where it is zero the sign of ``emf``, decides which diode carries it.
    emf : float
        Back-EMF [V].

    Returns
    -------
    terminal : float
        Voltage at the motor before the switch resistance [V].
    share : float
        Supply current per motor current [-].
    diode : float
        Diode voltage that becomes heat [V].

    Notes
    -----
    Neglects: discontinuous conduction within a PWM period, dead time, switching loss.
    """
    drop = bridge.diode_drop
    if bridge.mode == DRIVE:
        duty = bridge.duty
        sign = 1.0 if duty >= 0.0 else -1.0
        if bridge.synchronous == 1:
            return duty * voltage, duty, 0.0
        if current * sign >= 0.0:
            off = 1.0 - sign * duty
            return duty * voltage - sign * off * drop, duty, off * drop
        return sign * (voltage + 2.0 * drop), sign, 2.0 * drop
    if bridge.mode == BRAKE:
        return 0.0, 0.0, 0.0
    sign = 1.0 if current > 0.0 else -1.0
    if current == 0.0:
        sign = -1.0 if emf > 0.0 else 1.0
    if bridge.freewheel == 1:
        return -sign * drop, 0.0, drop
    return -sign * (voltage + 2.0 * drop), -sign, 2.0 * drop


@inlined
def conducts(bridge: Any, voltage: float, terminal_voltage: float, emf: float) -> bool:
    """Whether current starts from zero: the diodes of a coasting or single-quadrant bridge block one direction."""
    if bridge.mode == BRAKE:
        return True
    if bridge.mode == DRIVE:
        if bridge.synchronous == 1:
            return True
        sign = 1.0 if bridge.duty >= 0.0 else -1.0
        return sign * (terminal_voltage - emf) > 0.0
    if bridge.trouble.broken == 1:
        return False
    size = emf if emf >= 0.0 else -emf
    return size > voltage + 2.0 * bridge.diode_drop  # type: ignore[no-any-return]


@kernel
def command(leg: Any, mode: int, duty: float, limit: float, now_us: float) -> None:
    """Put a command into force at ``now_us`` [us]; counts switch-ons and switch-offs."""
    bridge = leg.bridge
    if mode != bridge.mode:
        if mode == DRIVE:
            bridge.starts += 1
        if bridge.mode == DRIVE:
            bridge.stops += 1
        bridge.switched_us = now_us
    bridge.mode = mode
    bridge.duty = duty
    bridge.limit = limit if limit < bridge.current_limit or bridge.trouble.active == 1 else bridge.current_limit


@inlined
def current_rate(leg: Any, voltage: float, current: float, speed: float, brush: float) -> tuple[float, float, float, int]:
    """Rate of the motor current, and how supply and diodes take part.

    The current limit lowers the bridge voltage: at the limit the bridge gives just what holds the current, and above it
    (after the limit was lowered) nothing.

    Parameters
    ----------
    leg : leg record
    voltage, current, speed : float
        Supply [V], motor current [A], motor speed [rad/s].
    brush : float
        Brush drop with the sign of the current [V].

    Returns
    -------
    rate, share, diode : float
        dI/dt [A/s], supply current per motor current [-], diode voltage [V].
    held : int
        1 while the limit holds the current.
    """
    bridge = leg.bridge
    motor = leg.motor
    emf = motor.hot_constant * speed
    resistance = motor.hot_resistance + (bridge.resistance if bridge.mode != COAST else 0.0)
    u, share, diode = terminal(bridge, voltage, current, emf)
    if current == 0.0 and not conducts(bridge, voltage, u, emf):
        return 0.0, 0.0, 0.0, 0
    need = resistance * current + emf + brush
    if bridge.mode == DRIVE:
        sign = 1.0 if bridge.duty >= 0.0 else -1.0
        size = current * sign
        if size >= bridge.limit and sign * (u - need) > 0.0 and voltage > 0.0:
            loose = 0.0 if bridge.synchronous == 1 else bridge.diode_drop
            held_duty = (sign * need + loose) / (voltage + loose)
            if size > bridge.limit * 1.000001 or held_duty < 0.0:
                held_duty = 0.0
                rate = (-sign * loose - need) * motor.inverse_inductance
                return rate, 0.0, loose, 0
            return 0.0, sign * held_duty, (1.0 - held_duty) * loose, 1
    return (u - need) * motor.inverse_inductance, share, diode, 0
