"""Steady motion of a lift whose legs are held level: currents, duties and supply of every leg, and the linear model about it.

All from closed forms: what the kernels do is compared with it in ``scenarios.linearise``.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import inf, tanh
from typing import Any

import numpy as np
from scipy.optimize import brentq

from scenarios.sheet_leg import GRAVITY, LegDrive, leg_drive
from sync.design.basis import Array, relative_basis
from sync.design.lift_model import LegModel, LiftModel, SupplyModel

__all__ = ["Condition", "LegPoint", "NoSteadyMotionError", "OperatingPoint", "lift_model", "operating_point", "stiffness_between"]

STRIBECK_END = 5.0
"""Stribeck speeds from which friction no longer falls with speed (``plant.spindle``)."""


class NoSteadyMotionError(ValueError):
    """The lift cannot move steadily as asked, so there is nothing to linearise about."""


@dataclass(frozen=True)
class Condition:
    """Under what a lift is linearised; what is left out is as the scenario has it.

    Attributes
    ----------
    direction : int
        1 up, -1 down.
    supply : float
        Share of the open-circuit voltage [-].
    winding, case : float, optional
        Temperatures [deg C].
    friction : float
        Factor on the thread friction of every leg [-].
    loads : tuple of float, optional
        Mass on each leg [kg], without its own moving part.
    tick : float
        Factor on the control tick [-].
    duty : float, optional
        Mean duty of the legs; left out: the base duty.
    """

    direction: int = 1
    supply: float = 1.0
    winding: float | None = None
    case: float | None = None
    friction: float = 1.0
    loads: tuple[float, ...] | None = None
    tick: float = 1.0
    duty: float | None = None


@dataclass(frozen=True)
class LegPoint:
    """One leg: drive, hot resistance with bridge [ohm], hot constant [N m/A], diode drop in the off-time [V], mass [kg] and so on.

    ``current`` [A], ``duty`` [-] and ``speed`` [rad/s] are up positive; ``force`` is that on the nut [N], down positive.
    """

    drive: LegDrive
    resistance: float
    constant: float
    diode: float
    mass: float
    speed: float = 0.0
    force: float = 0.0
    current: float = 0.0
    duty: float = 0.0


@dataclass(frozen=True)
class OperatingPoint:
    """Steady motion at ``speed`` [m/s] (magnitude) in ``direction`` with ``voltage`` [V] at the supply."""

    direction: int
    speed: float
    voltage: float
    at_limit: bool
    legs: tuple[LegPoint, ...]

    @property
    def headroom(self) -> float:
        """Duty that is left to the leg that needs most [-]; below zero it cannot be held level."""
        return 1.0 - max(abs(leg.duty) for leg in self.legs)


def _legs(world: Any, condition: Condition) -> list[LegPoint]:
    """Every leg at rest, hot and with its friction and load."""
    found = []
    for q in range(int(world["n_legs"])):
        record = world["legs"][q]
        motor, bridge = record["motor"], record["bridge"]
        drive = leg_drive(record)
        drive = replace(drive, screw=replace(drive.screw, friction=drive.screw.friction * condition.friction))
        winding = float(motor["winding"]) if condition.winding is None else condition.winding
        case = float(motor["case"]) if condition.case is None else condition.case
        hot = float(motor["resistance"]) * (1.0 + float(motor["copper_coefficient"]) * (winding - 20.0))
        constant = float(motor["torque_constant"]) * (1.0 + float(motor["magnet_coefficient"]) * (case - 20.0))
        load = float(record["share"]) / GRAVITY if condition.loads is None else condition.loads[q]
        diode = 0.0 if bridge["synchronous"] else float(bridge["diode_drop"])
        found.append(LegPoint(drive, hot + float(bridge["resistance"]), constant, diode, load + drive.moving_mass))
    return found


def _running(leg: LegPoint, direction: int, speed: float) -> tuple[LegPoint, float]:
    """The leg at ``speed`` [m/s], and the voltage it needs before the diode's share [V]."""
    drive, motor = leg.drive, leg.drive.motor
    pace = speed / drive.travel
    force = leg.mass * GRAVITY + direction * drive.guide_friction
    current = (drive.load_torque(force, direction) + motor.coulomb + motor.viscous * pace) / leg.constant
    volts = leg.resistance * current + leg.constant * pace + motor.brush_drop * tanh(current / motor.brush_current)
    return replace(leg, speed=direction * pace, force=force, current=direction * current), volts


def _at(world: Any, condition: Condition, legs: list[LegPoint], speed: float) -> OperatingPoint:
    """Everything at a given common ``speed`` [m/s]; the supply settles by iteration."""
    supply, direction = world["supply"], condition.direction
    source = condition.supply * float(supply["open_voltage"])
    pairs = [_running(leg, direction, speed) for leg in legs]
    voltage, drawn = source, 0.0
    for _ in range(60):
        duties = [(volts + leg.diode) / (voltage + leg.diode) for leg, volts in pairs]
        drawn = sum(duty * abs(leg.current) for duty, (leg, _) in zip(duties, pairs, strict=True))
        settled = source - float(supply["resistance"]) * max(drawn, 0.0)
        if settled <= 0.1 * source:
            return OperatingPoint(direction, speed, 0.0, True, ())
        if abs(settled - voltage) < 1e-13 * source:
            break
        voltage = settled
    limited = float(supply["current_limit"]) <= drawn
    running = tuple(replace(leg, duty=direction * duty) for duty, (leg, _) in zip(duties, pairs, strict=True))
    return OperatingPoint(direction, speed, voltage, limited, running)


def operating_point(world: Any, settings: Any, condition: Condition | None = None) -> OperatingPoint:
    """Steady motion with all legs at one height and the mean duty as commanded.

    Parameters
    ----------
    world, settings
        Prepared records of the machine and of the controller.
    condition
        What differs from the records.

    Raises
    ------
    NoSteadyMotionError
        If the lift cannot move so, a leg reaches its current limit, the supply its own, or a leg moves so slowly that
        friction still falls with speed.
    """
    condition = Condition() if condition is None else condition
    legs = _legs(world, condition)
    wanted = float(settings["base_duty"]) if condition.duty is None else condition.duty

    def excess(speed: float) -> float:
        found = _at(world, condition, legs, speed)
        return float(np.mean([abs(leg.duty) for leg in found.legs])) - wanted if found.legs else 1.0

    fastest = max(condition.supply * float(world["supply"]["open_voltage"]) / leg.constant * leg.drive.travel for leg in legs)
    if excess(0.0) >= 0.0:
        raise NoSteadyMotionError(
            f"at a mean duty of {wanted:g} the lift does not move: raise speed.base_duty or the supply, or lower the load"
        )
    point = _at(world, condition, legs, float(brentq(excess, 0.0, fastest, xtol=1e-15, rtol=1e-14)))
    _check(world, settings, point)
    return point


def _check(world: Any, settings: Any, point: OperatingPoint) -> None:
    if point.at_limit:
        raise NoSteadyMotionError("the supply is at its current limit: its voltage has no value to linearise about")
    for q, leg in enumerate(point.legs):
        limit = min(leg.drive.current_limit, float(settings["current_limit"]))
        if abs(leg.current) >= limit:
            raise NoSteadyMotionError(f"leg {q + 1} runs at its current limit of {limit:g} A: there its duty no longer moves it")
        record = world["legs"][q]
        ends = max(float(record["motor"]["stribeck_end"]), float(record["spindle"]["stribeck_end"]))
        if abs(leg.speed) <= ends:
            raise NoSteadyMotionError(f"leg {q + 1} is so slow that its friction still falls with speed: linearise at a higher duty")


def stiffness_between(world: Any) -> Array:
    """Force down on each nut per height of each leg [N/m], shape (N, N): racking and warp of the deck.

    The friction that racking puts on the guides does not enter about a level deck: it grows with the size of the tilt, not
    with its sign.
    """
    deck, n = world["deck"], int(world["n_legs"])
    legs = world["legs"][:n]
    sx, sy = legs["slope_x"].astype(np.float64), legs["slope_y"].astype(np.float64)
    found = float(deck["tilt_stiffness_x"]) * np.outer(sx, sx) + float(deck["tilt_stiffness_y"]) * np.outer(sy, sy)
    if deck["warp_stiffness"] > 0.0 and n > int(deck["rank"]):
        plane = legs["basis"].astype(np.float64)
        found = found + float(deck["warp_stiffness"]) * (np.eye(n) - plane @ plane.T)
    return np.asarray(found, dtype=np.float64)


def _leg_model(leg: LegPoint, point: OperatingPoint) -> LegModel:
    motor = leg.drive.motor
    share = tanh(abs(leg.current) / motor.brush_current)
    slope = motor.brush_drop / motor.brush_current * (1.0 - share * share)
    sign = 1 if leg.force >= 0.0 else -1
    return LegModel(
        resistance=leg.resistance + slope,
        inductance=motor.inductance,
        torque_constant=leg.constant,
        inertia=leg.drive.inertia(leg.mass),
        damping=motor.viscous,
        load_torque=point.direction * sign * leg.drive.load_torque(sign, point.direction),
        travel_per_radian=leg.drive.travel,
        volts_per_duty=point.voltage + leg.diode,
        duty=leg.duty,
        current=leg.current,
    )


def lift_model(world: Any, point: OperatingPoint) -> LiftModel:
    """Linear model about an operating point.

    Raises
    ------
    ValueError
        If the lift has a single leg.
    """
    supply = world["supply"]
    places = [(float(leg["x"]), float(leg["y"])) for leg in world["legs"][: int(world["n_legs"])]]
    feed = SupplyModel(float(supply["resistance"]) if supply["resistance"] > 0.0 else inf, float(supply["capacitance"]))
    if feed.capacitance == 0.0:
        feed = SupplyModel(float(supply["resistance"]), 0.0)
    return LiftModel(tuple(_leg_model(leg, point) for leg in point.legs), stiffness_between(world), feed, relative_basis(places))
