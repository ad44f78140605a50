"""A small model of one leg of set A that meets a spring, reverses, and limits its current in one of two ways.

Written independently of ``plant``: explicit steps of 20 us, full duty, guard tick 1 ms, filter 5 ms, confirmation 10 ms, 60 kg.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import atan, cos, pi, radians, tan

__all__ = ["CHOPS", "CLIPS", "peak_force"]

CHOPS, CLIPS = "chops", "clips"
"""A bridge that lowers its voltage, to nothing at most; and an ideal source that holds the current whatever turns the motor."""

STEP, TICK, FILTER, CONFIRM = 20e-6, 1e-3, 5e-3, 10e-3
SUPPLY, RESISTANCE, INDUCTANCE, CONSTANT, DRAG, VISCOUS = 24.0, 0.90, 1e-3, 0.055, 0.030, 4e-5
BRUSH, BRUSH_CURRENT = 0.9, 0.3
WEIGHT, GUIDE = 60.0 * 9.81, 40.0
PER_RADIAN = 4e-3 / (2.0 * pi * 6.5)
INERTIA = 4.5e-5 + 1.5e-5 / 6.5**2 + 60.0 * PER_RADIAN**2
SLOPE, FRICTION = atan(4.0 / (12.0 * pi)), atan(0.13 / cos(radians(15.0)))
RAISING = 6e-3 * tan(SLOPE + FRICTION) / (6.5 * 0.82)
LOWERING = 6e-3 * tan(FRICTION - SLOPE) / (6.5 * 0.82)


@dataclass
class Leg:
    """State: current [A], speed [rad/s], way into the spring [m], filtered current [A]."""

    current: float = 0.0
    speed: float = 0.0
    way: float = -0.03
    seen: float = 0.0

    def drive(self, sign: float, limit: float | None, kind: str) -> None:
        """One step of the current under full voltage of ``sign``."""
        brush = BRUSH * max(-1.0, min(1.0, self.current / BRUSH_CURRENT))
        need = RESISTANCE * self.current + CONSTANT * self.speed + brush
        voltage = sign * SUPPLY
        if limit is not None and sign * self.current >= limit and sign * (voltage - need) > 0.0:
            if kind == CLIPS or (sign * self.current < limit + 1e-9 and sign * need >= 0.0):
                self.current = sign * limit
                return
            voltage = 0.0
        before = sign * self.current
        self.current += STEP * (voltage - need) / INDUCTANCE
        if limit is not None and voltage == 0.0 and before > limit > sign * self.current:
            self.current = sign * limit

    def move(self, force: float) -> None:
        """One step of the motion against ``force`` [N] of the spring."""
        up = CONSTANT * self.current - DRAG - RAISING * (WEIGHT + GUIDE + force)
        down = CONSTANT * self.current + DRAG + LOWERING * (WEIGHT - GUIDE + force)
        if self.speed > 0.0:
            torque = up
        elif self.speed < 0.0:
            torque = down
        else:
            torque = up if up > 0.0 else min(down, 0.0)
        before = self.speed
        self.speed += STEP * (torque - VISCOUS * before) / INERTIA
        if before * self.speed < 0.0:
            self.speed = 0.0
        self.way += STEP * PER_RADIAN * 0.5 * (before + self.speed)
        self.seen += STEP / FILTER * (self.current - self.seen)


def peak_force(stiffness: float, rise: float, limit: float | None = None, kind: str = CHOPS) -> float:
    """Largest force [N] on a spring of ``stiffness`` [N/m] if a ``rise`` [A] of the current is answered by a full reversal."""
    leg, level, sign, peak, time, over, next_tick = Leg(), 0.0, 1.0, 0.0, 0.0, 0.0, 0.0
    while not (sign < 0.0 and leg.speed <= 0.0):
        force = stiffness * max(leg.way, 0.0)
        peak = max(peak, force)
        leg.drive(sign, limit, kind)
        leg.move(force)
        time += STEP
        if leg.way < -1e-3:
            level, over = leg.seen, time
        elif time >= next_tick and sign > 0.0:
            next_tick = time + TICK
            if leg.seen - level < rise:
                over = time
            elif time - over >= CONFIRM:
                sign = -1.0
    return peak
