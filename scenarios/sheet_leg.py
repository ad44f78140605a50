"""One leg of the drive sheet: its record as closed-form parameters, and how it runs and stops under one load."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from math import acos, inf, pi
from typing import Any

from plant.closed_form import coast, gear, power_screw
from plant.closed_form.braked_stop import Stop, braked_stop
from plant.closed_form.motor import Motor, OperatingPoint, steady_point
from plant.closed_form.power_screw import Screw

__all__ = ["GRAVITY", "Case", "LegDrive", "leg_drive"]

GRAVITY = 9.81


@dataclass(frozen=True)
class LegDrive:
    """One leg in SI units at 20 C; ``motor`` has the bridge's resistance in its loop and the bare rotor's inertia."""

    motor: Motor
    winding_resistance: float
    screw: Screw
    static_friction: float
    ratio: float
    efficiency: float
    back_efficiency: float
    spindle_inertia: float
    guide_friction: float
    moving_mass: float
    counts: int
    current_limit: float
    diode_drop: float
    freewheel: bool
    stroke: float
    captive: bool

    @property
    def travel(self) -> float:
        """Lift per motor radian [m/rad]."""
        return gear.travel_per_radian(self.screw.lead, self.ratio)

    @property
    def torque_per_newton(self) -> float:
        """Motor torque per N of nut force, raising [N m/N]."""
        return gear.motor_torque(power_screw.torque_up(1.0, self.screw), self.ratio, self.efficiency, self.back_efficiency)

    def load_torque(self, force: float, direction: int) -> float:
        """Motor torque [N m] for the nut ``force`` [N] (down positive), moving up (1) or down (-1), running friction."""
        torque = power_screw.torque_up if force * direction >= 0.0 else power_screw.torque_down
        return gear.motor_torque(torque(abs(force), self.screw), self.ratio, self.efficiency, self.back_efficiency)

    def inertia(self, mass: float) -> float:
        """Inertia at the motor shaft [kg m2] with ``mass`` [kg] on the nut."""
        return gear.motor_inertia(self.motor.inertia, self.spindle_inertia, self.ratio, mass, self.travel)


def leg_drive(record: Any) -> LegDrive:
    """Take a leg record of `plant.records` apart."""
    motor, bridge, spindle = record["motor"], record["bridge"], record["spindle"]
    resistance = float(motor["resistance"])
    return LegDrive(
        motor=Motor(
            resistance=resistance + float(bridge["resistance"]),
            torque_constant=float(motor["torque_constant"]),
            inductance=float(motor["inductance"]),
            inertia=float(motor["inertia"]),
            viscous=float(motor["viscous"]),
            coulomb=float(motor["coulomb"]),
            brush_drop=float(motor["brush_drop"]),
            brush_current=float(motor["brush_current"]),
        ),
        winding_resistance=resistance,
        screw=Screw(
            mean_diameter=2.0 * float(spindle["mean_radius"]),
            lead=float(spindle["lead"]),
            friction=float(spindle["friction"]),
            half_angle=acos(min(1.0, float(spindle["flank_cosine"]))),
            collar_friction=float(spindle["collar_friction"]),
            collar_diameter=2.0 * float(spindle["collar_radius"]),
        ),
        static_friction=float(spindle["static_friction"]),
        ratio=float(spindle["ratio"]),
        efficiency=float(spindle["efficiency"]),
        back_efficiency=float(spindle["back_efficiency"]),
        spindle_inertia=float(spindle["inertia"]),
        guide_friction=float(record["guide_friction"]),
        moving_mass=float(record["moving_mass"]),
        counts=int(motor["commutations"]),
        current_limit=float(bridge["current_limit"]),
        diode_drop=float(bridge["diode_drop"]),
        freewheel=bool(bridge["freewheel"]),
        stroke=float(record["stop_high"] - record["stop_low"]),
        captive=bool(spindle["captive"]),
    )


@dataclass(frozen=True)
class Case:
    """One leg with ``mass`` [kg] on its nut moving up (1) or down (-1) at ``voltage`` [V]; direction 0: an empty nut, no guide."""

    drive: LegDrive
    mass: float
    direction: int
    voltage: float

    @property
    def force(self) -> float:
        """Force on the nut [N], down positive: weight, and guide friction against the motion."""
        if self.direction == 0:
            return 0.0
        force = self.mass * GRAVITY + self.direction * self.drive.guide_friction
        return force if self.drive.captive else max(0.0, force)

    @cached_property
    def load(self) -> float:
        """Load torque at the motor [N m]."""
        return self.drive.load_torque(self.force, self.direction if self.direction else 1)

    @cached_property
    def point(self) -> OperatingPoint:
        """Steady running; stands at the current limit where the load asks for more than that."""
        free = steady_point(self.voltage, self.load, self.drive.motor)
        if free.current > self.drive.current_limit:
            return OperatingPoint(self.drive.current_limit, 0.0, self.load)
        return free

    @property
    def speed(self) -> float:
        """Lifting speed [m/s]."""
        return self.point.speed * self.drive.travel

    @property
    def efficiency(self) -> float:
        """Useful lifting power over electrical power, raising; nan otherwise (a lowering load gives, it does not take)."""
        if self.direction != 1 or self.point.speed == 0.0:
            return float("nan")
        return self.mass * GRAVITY * self.speed / (self.voltage * self.point.current)

    @cached_property
    def coasting(self) -> Stop:
        """Stop with the bridge open; the decay of the running current (under 0.2 ms) is left out."""
        inertia, resisting = self.drive.inertia(self.mass), self.load + self.drive.motor.coulomb
        speed, viscous = self.point.speed, self.drive.motor.viscous
        time = coast.coast_time(inertia, speed, resisting, viscous)
        return Stop(time, coast.coast_angle(inertia, speed, resisting, viscous), 0.0)

    @cached_property
    def braking(self) -> Stop:
        """Stop with the wires shorted."""
        if self.point.speed == 0.0:
            return Stop(0.0, 0.0, 0.0)
        motor = replace(self.drive.motor, inertia=self.drive.inertia(self.mass))
        try:
            return braked_stop(motor, self.point.speed, self.point.current, self.load + motor.coulomb)
        except ValueError:
            return Stop(inf, inf, inf)

    def counts(self, angle: float) -> float:
        """Commutations in ``angle`` [rad]."""
        return self.drive.counts * angle / (2.0 * pi)
