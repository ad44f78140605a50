"""What the wires carry besides sparks: drive, flyback, generator voltage, their ripple, and the edges between them.

Within a sub-step of the plant the slow part is a straight line between nodes some ten samples apart; the fast part, which
switch conducts, is decided sample by sample.

driven      V - Rb i, or in the off-time of the duty what the freewheel diode leaves, or E where no current flows
flyback     -(V + 2 Vd) where all switches are open, -Vd through one diode, until the current is out:
            t = L i / (V + 2 Vd + E + Vb + R i/2), or L i / (Vd + E + Vb + R i/2)
coasting    E (1 + eps/2 cos(c theta))
braking     -Rb i

Source: A chord of the exponential decay for the flyback; EMF and resistance ripple on the armature impedance as in
``plant.sensing``, with the lag of the armature.  Neglects: the finite slope of a switching edge (below a sample).
"""

from __future__ import annotations

import math
from typing import Any

from plant.commutation import boundary
from plant.kernel import inlined, kernel
from plant.portable import brush_share, cosine

__all__ = ["conducting", "flyback_end", "ripple_current", "slow_parts"]

_TURN = 6.283185307179586
_SHAPE_SWING = 121.0 / 60.0
"""Peak to peak of cos t + 0.3 cos 2t."""


@kernel
def _commutation_phase(line: Any, angle: float) -> float:
    """Part of the way [0, 1) from one commutation to the next at ``angle`` [rad]."""
    index = math.floor(angle * line.commutations / _TURN)
    low = boundary(line, index)
    if low > angle:
        return (angle - boundary(line, index - 1)) / (low - boundary(line, index - 1))
    high = boundary(line, index + 1)
    if high <= angle:
        return (angle - high) / (boundary(line, index + 2) - high)
    return (angle - low) / (high - low)


@kernel
def _lag(x: float) -> float:
    """Angle atan(x) in turns, for x >= 0; within 2e-3 turns."""
    if x <= 1.0:
        return x / (1.0 + 0.28 * x * x) / _TURN
    return 0.25 - x / (x * x + 0.28) / _TURN


@kernel
def ripple_current(line: Any, current: float, speed: float, phase: float) -> float:
    """Current ripple [A] about the mean ``current`` [A] at the ``phase`` between commutations, by ``speed`` [rad/s]."""
    size = abs(current)
    if size == 0.0:
        return 0.0
    pace = abs(speed)
    x = pace * line.commutations * line.inductance
    swing = line.ripple_emf * line.constant * pace + line.ripple_resistance * line.resistance * size
    swing /= math.sqrt(line.resistance * line.resistance + x * x)
    first = cosine(phase - _lag(x / line.resistance))
    value = swing * (first + 0.3 * (2.0 * first * first - 1.0)) / _SHAPE_SWING
    return value if current > 0.0 else -value  # type: ignore[no-any-return]


@kernel
def slow_parts(line: Any, row: Any, end: Any, share: float) -> tuple[float, float, float]:
    """Slow parts at the point ``share`` of the way through a sub-step.

    Returns
    -------
    rail : float
        What the closed switches put on the wires, without sign of the duty [V].
    emf : float
        Generator voltage with its ripple [V].
    amps : float
        Motor current with its ripple [A].
    """
    current = row.current + share * (end.current - row.current)
    speed = row.speed + share * (end.speed - row.speed)
    angle = row.angle + share * (end.angle - row.angle)
    phase = _commutation_phase(line, angle)
    ripple = ripple_current(line, current, speed, phase)
    amps = current + ripple
    emf = line.constant * speed * (1.0 + 0.5 * line.ripple_emf * cosine(phase))
    rail = row.supply + share * (end.supply - row.supply) - line.bridge_resistance * abs(amps) - line.source_resistance * abs(ripple)
    return rail, emf, amps


@kernel
def flyback_end(line: Any, row: Any, end: Any) -> float:
    """Time [s] into a coasting sub-step at which the motor current is out; beyond the sub-step if it flows on."""
    current = row.current
    size = abs(current)
    if size == 0.0:
        return 0.0
    if end.current != 0.0:
        return 2.0 * line.step  # type: ignore[no-any-return]
    drop = line.diode_drop if line.freewheel == 1 else row.supply + 2.0 * line.diode_drop
    emf = line.constant * row.speed * (1.0 if current > 0.0 else -1.0)
    against = drop + emf + line.brush_drop * brush_share(size) + 0.5 * line.resistance * size
    time = line.inductance * size / against if against > 0.0 else line.step
    return time if time < line.step else line.step  # type: ignore[no-any-return]


@inlined
def conducting(line: Any, row: Any, on: bool, rail: float, emf: float) -> float:
    """Voltage between the wires while the bridge drives, in the on-time or the off-time of the duty [V]."""
    sign = 1.0 if row.duty >= 0.0 else -1.0
    if on:
        return sign * rail
    if line.synchronous == 1:
        return 0.0
    return -sign * line.diode_drop if row.current * sign > 0.0 else emf
