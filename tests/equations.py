"""The equations of motor, bridge, supply, spindle, deck and stops written a second time, for scipy's ``solve_ivp``.

Nothing here calls the kernels except the rational brush law; the numbers are read from the same record. The state of
every leg is current [A], speed [rad/s], angle [rad]; the last entry is the supply voltage [V].
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from machines import BRAKE, COAST, DRIVE, GRAVITY, World
from numpy.typing import NDArray
from scipy.integrate import solve_ivp
from scipy.optimize import brentq

from plant.portable import brush_share

__all__ = ["Command", "Equations", "Motion", "Vector"]

Vector = NDArray[np.float64]
Event = Callable[[float, Vector], float]
share_of_brush: Callable[[float], float] = getattr(brush_share, "py_func", brush_share)


@dataclass(frozen=True)
class Command:
    """From ``time`` [s] on every bridge is in ``mode`` with ``duty``; ``payload`` [kg] lies on the deck from then on, if given."""

    time: float
    mode: int
    duty: float = 0.0
    payload: float | None = None


@dataclass
class Motion:
    """What was integrated: pieces between events, each with scipy's dense output."""

    rx: list[float]
    pieces: list[Any] = field(default_factory=list)

    def travel(self, q: int, times: Vector) -> Vector:
        """Travel of leg ``q`` [m] at ``times`` [s]."""
        ends = np.array([piece.t[-1] for piece in self.pieces])
        which = np.minimum(np.searchsorted(ends, times), len(ends) - 1)
        return self.rx[q] * np.array([self.pieces[k].sol(t)[3 * q + 2] for k, t in zip(which, times, strict=True)])

    def pace(self, q: int, times: Vector) -> Vector:
        """Magnitude of the speed of leg ``q`` [m/s] at ``times`` [s], one by one."""
        found = np.zeros(len(times))
        for n, time in enumerate(times):
            piece = next(piece for piece in self.pieces if time <= piece.t[-1])
            found[n] = abs(self.rx[q] * piece.sol(time)[3 * q + 1])
        return found

    def commutations(self, q: int, per_turn: int, pitch: Vector) -> Vector:
        """Instants [s] at which leg ``q`` passes a commutation, either way."""
        instants: list[float] = []
        for piece in self.pieces:
            first, last = piece.y[3 * q + 2, 0], piece.y[3 * q + 2, -1]
            low, high = min(first, last), max(first, last)
            index = np.arange(math.floor(low * per_turn / math.tau) - 2, math.ceil(high * per_turn / math.tau) + 3)
            places = (index + pitch[index % per_turn]) * math.tau / per_turn
            inside = places[(low < places) & (places <= high)]
            for place in inside if last > first else inside[::-1]:
                instants.append(brentq(lambda t, a=place, p=piece: p.sol(t)[3 * q + 2] - a, piece.t[0], piece.t[-1], xtol=1e-12))
        return np.array(instants)


@dataclass
class _State:
    """Discrete state of one leg: direction of motion, how the current flows, which stop it is in."""

    way: int = 0
    flow: str = "free"
    beyond: int = 0


class Equations:
    """Right-hand side, events and the loop over them, for one or two legs with captive nuts and without play."""

    def __init__(self, world: World) -> None:
        machine = world[0]
        self.n = int(machine["n_legs"])
        self.legs = machine["legs"][: self.n]
        self.supply, self.deck = machine["supply"], machine["deck"]
        self.payload = float(self.deck["payload"])
        self.command = Command(0.0, COAST)
        self.state = [_State() for _ in range(self.n)]
        self.rx = [float(leg["spindle"]["lead"] / (math.tau * leg["spindle"]["ratio"])) for leg in self.legs]

    # statics of the deck

    def forces(self, y: Vector) -> tuple[list[float], float]:
        """Force of the deck on each leg [N] and the bending moment on the guides [N m]."""
        weight = self.payload * GRAVITY
        if self.n == 1:
            return [weight], 0.0
        left, right = float(self.legs[0]["x"]), float(self.legs[1]["x"])
        span = right - left
        on_right = weight * (float(self.deck["payload_x"]) - left) / span
        moment = float(self.deck["tilt_stiffness_x"]) * (self.rx[1] * y[5] - self.rx[0] * y[2]) / span
        return [weight - on_right - moment / span, on_right + moment / span], abs(moment)

    def nut(self, q: int, y: Vector, way: int) -> float:
        """Force on the nut of leg ``q`` [N]."""
        leg = self.legs[q]
        forces, moment = self.forces(y)
        travel = self.rx[q] * y[3 * q + 2]
        guide = leg["guide_friction"]
        if leg["guide_coefficient"] > 0.0:
            guide = guide + 2.0 * leg["guide_coefficient"] * moment / (leg["guide_overlap"] - leg["guide_overlap_loss"] * travel)
        depth = {1: travel - leg["stop_high"], -1: travel - leg["stop_low"], 0: 0.0}[self.state[q].beyond]
        return float(forces[q] + leg["moving_mass"] * GRAVITY + way * guide + leg["stop_stiffness"] * depth)

    def torque(self, q: int, force: float, way: int, friction: float) -> float:
        """Torque at the motor against motion [N m]."""
        spindle = self.legs[q]["spindle"]
        lead_angle = math.atan(spindle["lead"] / (math.tau * spindle["mean_radius"]))
        angle = math.atan(friction / spindle["flank_cosine"])
        grade = math.tan(angle + lead_angle) if force * way >= 0.0 else math.tan(angle - lead_angle)
        at_spindle = abs(force) * (spindle["mean_radius"] * grade + spindle["collar_friction"] * spindle["collar_radius"])
        if at_spindle >= 0.0:
            return float(at_spindle / spindle["ratio"] / spindle["efficiency"])
        return float(at_spindle / spindle["ratio"] * spindle["back_efficiency"])

    def break_away(self, q: int, y: Vector, way: int) -> float:
        """Torque [N m] from which the resting rotor of leg ``q`` turns."""
        motor, spindle = self.legs[q]["motor"], self.legs[q]["spindle"]
        return float(motor["coulomb"] * motor["static_ratio"]) + self.torque(q, self.nut(q, y, way), way, float(spindle["static_friction"]))

    def acceleration(self, q: int, y: Vector) -> float:
        """Angular acceleration [rad/s2] of leg ``q``."""
        way = self.state[q].way
        if way == 0:
            return 0.0
        motor, spindle = self.legs[q]["motor"], self.legs[q]["spindle"]
        pace = y[3 * q + 1] * way
        coulomb, friction = motor["coulomb"], float(spindle["friction"])
        if motor["stribeck_speed"] > 0.0:
            coulomb = coulomb * (1.0 + (motor["static_ratio"] - 1.0) * math.exp(-((pace / motor["stribeck_speed"]) ** 2)))
        if spindle["stribeck_speed"] > 0.0:
            slide = pace * math.hypot(self.rx[q], spindle["mean_radius"] / spindle["ratio"])
            friction += float(spindle["static_friction"] - friction) * math.exp(-((slide / spindle["stribeck_speed"]) ** 2))
        against = coulomb + motor["viscous"] * pace + self.torque(q, self.nut(q, y, way), way, friction)
        mass = self.forces(np.zeros(3 * self.n + 1))[0][q] / GRAVITY + self.legs[q]["moving_mass"]
        inertia = motor["inertia"] + spindle["inertia"] / spindle["ratio"] ** 2 + mass * self.rx[q] ** 2
        return float((motor["torque_constant"] * y[3 * q] - way * against) / inertia)

    # electrical

    def need(self, q: int, y: Vector) -> float:
        """Voltage [V] that holds the current of leg ``q`` as it is."""
        motor = self.legs[q]["motor"]
        r = motor["resistance"] + (0.0 if self.command.mode == COAST else self.legs[q]["bridge"]["resistance"])
        brush = motor["brush_drop"] * share_of_brush(float(y[3 * q] / motor["brush_current"]))
        return float(r * y[3 * q] + motor["torque_constant"] * y[3 * q + 1] + brush)

    def electrical(self, q: int, y: Vector) -> tuple[float, float]:
        """Rate of the current [A/s] and the current drawn from the supply [A]."""
        bridge, current, voltage = self.legs[q]["bridge"], y[3 * q], self.voltage(y)
        flow = self.state[q].flow
        if flow == "none":
            return 0.0, 0.0
        need = self.need(q, y)
        if flow == "held":
            return 0.0, float(need / voltage * current)
        inductance = self.legs[q]["motor"]["inductance"]
        if self.command.mode == DRIVE:
            return float((self.command.duty * voltage - need) / inductance), float(self.command.duty * current)
        if self.command.mode == BRAKE:
            return float(-need / inductance), 0.0
        sign = 1.0 if flow == "up" else -1.0
        if bridge["freewheel"] == 1:
            return float((-sign * bridge["diode_drop"] - need) / inductance), 0.0
        return float((-sign * (voltage + 2.0 * bridge["diode_drop"]) - need) / inductance), float(-sign * current)

    def voltage(self, y: Vector) -> float:
        """Supply voltage [V]."""
        return float(y[-1])

    def rates(self, time: float, y: Vector) -> Vector:
        """Right-hand side."""
        out = np.zeros_like(y)
        drawn = 0.0
        for q in range(self.n):
            out[3 * q], load = self.electrical(q, y)
            out[3 * q + 1] = self.acceleration(q, y)
            out[3 * q + 2] = y[3 * q + 1]
            drawn += load
        if self.supply["capacitance"] > 0.0:
            given = (self.supply["open_voltage"] - y[-1]) / self.supply["resistance"]
            out[-1] = (given - drawn) / self.supply["capacitance"]
        return out

    # events

    def settle(self, y: Vector) -> None:
        """Set the discrete states to what the continuous one demands."""
        for q, state in enumerate(self.state):
            torque = float(self.legs[q]["motor"]["torque_constant"]) * y[3 * q]
            if y[3 * q + 1] == 0.0 and state.way == 0:
                state.way = int(torque > self.break_away(q, y, 1)) - int(-torque > self.break_away(q, y, -1))
            limit = float(self.legs[q]["bridge"]["current_limit"])
            sign = math.copysign(1.0, self.command.duty)
            if self.command.mode == COAST:
                state.flow = "none" if y[3 * q] == 0.0 else ("up" if y[3 * q] > 0.0 else "down")
            elif self.command.mode == DRIVE and sign * y[3 * q] >= limit and sign * (self.command.duty * y[-1] - self.need(q, y)) > 0.0:
                state.flow = "held"
            else:
                state.flow = "free"

    def events(self) -> list[tuple[Event, int, Callable[[Vector], None]]]:
        """What can end this piece: function, direction of its zero, and what it does to the state."""
        found: list[tuple[Event, int, Callable[[Vector], None]]] = []
        for q in range(self.n):
            found += self._motion_events(q) + self._current_events(q)
        return found

    def _motion_events(self, q: int) -> list[tuple[Event, int, Callable[[Vector], None]]]:
        state, leg = self.state[q], self.legs[q]
        k = float(leg["motor"]["torque_constant"])

        def turn(way: int) -> Callable[[Vector], None]:
            return lambda y: setattr(state, "way", way)

        def halt(y: Vector) -> None:
            state.way = 0
            y[3 * q + 1] = 0.0

        def meet(which: int) -> Callable[[Vector], None]:
            return lambda y: setattr(state, "beyond", which)

        if state.way == 0:
            return [
                (lambda t, y: k * y[3 * q] - self.break_away(q, y, 1), 1, turn(1)),
                (lambda t, y: -k * y[3 * q] - self.break_away(q, y, -1), 1, turn(-1)),
            ]
        found: list[tuple[Event, int, Callable[[Vector], None]]] = [(lambda t, y: y[3 * q + 1], -state.way, halt)]
        for which, name in ((1, "stop_high"), (-1, "stop_low")):
            place = float(leg[name])
            entering = state.beyond != which
            found.append(
                (lambda t, y, p=place: self.rx[q] * y[3 * q + 2] - p, which if entering else -which, meet(which if entering else 0))  # type: ignore[misc]
            )
        return found

    def _current_events(self, q: int) -> list[tuple[Event, int, Callable[[Vector], None]]]:
        state, limit = self.state[q], float(self.legs[q]["bridge"]["current_limit"])
        sign = math.copysign(1.0, self.command.duty)

        def extinguish(y: Vector) -> None:
            y[3 * q] = 0.0

        def hold(y: Vector) -> None:
            y[3 * q] = sign * limit

        if state.flow in {"up", "down"}:
            return [(lambda t, y: y[3 * q], -1 if state.flow == "up" else 1, extinguish)]
        if state.flow == "held":
            return [(lambda t, y: sign * (self.command.duty * y[-1] - self.need(q, y)), -1, lambda y: None)]
        if self.command.mode == DRIVE:
            return [(lambda t, y: sign * y[3 * q] - limit, 1, hold)]
        return []

    def fly(self, script: list[Command], until: float) -> Motion:
        """Integrate from rest at angle zero through the ``script`` (its first command at 0 s) to ``until`` [s]."""
        motion = Motion(self.rx)
        y = np.zeros(3 * self.n + 1)
        y[-1] = float(self.supply["open_voltage"])
        for command, end in zip(script, [later.time for later in script[1:]] + [until], strict=True):
            self.command = command
            self.payload = self.payload if command.payload is None else command.payload
            time = command.time
            while time < end:
                self.settle(y)
                y, time = self._piece(motion, y, time, end)
        return motion

    def _piece(self, motion: Motion, y: Vector, time: float, end: float) -> tuple[Vector, float]:
        events = self.events()
        marked: list[Any] = []
        for function, direction, _ in events:

            def event(t: float, y: Vector, f: Event = function) -> float:
                return f(t, y)

            event.terminal, event.direction = True, direction  # type: ignore[attr-defined]
            marked.append(event)
        scale = np.tile([1e-11, 1e-10, 1e-11], self.n)
        piece = solve_ivp(
            self.rates,
            (time, end),
            y,
            method="DOP853",
            rtol=1e-10,
            atol=np.append(scale, 1e-11),
            max_step=2e-3,
            events=marked,
            dense_output=True,
        )
        assert piece.success
        assert piece.t_events is not None
        motion.pieces.append(piece)
        y = piece.y[:, -1].copy()
        if piece.status == 1:
            for (_, _, act), times in zip(events, piece.t_events, strict=True):
                if len(times) > 0:
                    act(y)
        return y, float(piece.t[-1])
