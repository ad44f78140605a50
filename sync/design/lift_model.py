"""Linear model of a lift about steady motion: N legs on one deck and one supply, duty in, relative heights out.

Per leg q, small deviations from the operating point, signs of height, speed, current and duty up positive:

    L di/dt = E u + D v - R i - K w
    J dw/dt = K i - b w - t sum_j S_qj x_j - t f
    dx/dt   = r w

with the voltage per duty E, the duty D, the supply deviation v, the nut torque t per newton of load (its sign is that of the
motion: raising, more load slows; lowering, a self-locking spindle is slowed too), the stiffness S between the legs, an outside
force f on the nut (down positive) and r metres of lift per motor radian.  The supply: C dv/dt = -v/Rs - sum (D i + I u).

Only differences of height act back on anything, so the heights enter as relative modes and no integrator of the mean is left.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sync.design.basis import Array, Basis

__all__ = ["LegModel", "LiftModel", "ModeConstants", "StateSpace", "SupplyModel", "mode_constants", "state_space"]


@dataclass(frozen=True)
class LegModel:
    """One leg moving steadily, SI.

    Attributes
    ----------
    resistance : float
        Winding, bridge and slope of the brush drop [ohm].
    inductance : float
        [H].
    torque_constant : float
        [N m/A], and back-EMF constant [V s/rad].
    inertia : float
        At the motor shaft, load included [kg m2].
    damping : float
        Viscous drag, and slope of any friction with speed [N m s/rad].
    load_torque : float
        Deceleration torque at the motor per N of force down on the nut [N m/N], signed against upward motion: positive
        raising, negative lowering with a self-locking spindle.
    travel_per_radian : float
        [m/rad].
    volts_per_duty : float
        [V].
    duty, current : float
        At the operating point, up positive [-], [A].
    """

    resistance: float
    inductance: float
    torque_constant: float
    inertia: float
    damping: float
    load_torque: float
    travel_per_radian: float
    volts_per_duty: float
    duty: float
    current: float

    @property
    def speed_per_duty(self) -> float:
        """Kv: steady speed of the leg alone per duty [m/s]."""
        k = self.torque_constant
        return self.volts_per_duty * k / (k * k + self.resistance * self.damping) * self.travel_per_radian

    @property
    def time_constant(self) -> float:
        """Mechanical time constant [s]."""
        k = self.torque_constant
        return self.inertia * self.resistance / (k * k + self.resistance * self.damping)


@dataclass(frozen=True)
class SupplyModel:
    """Source resistance [ohm] and bulk capacitor [F]; both zero: stiff."""

    resistance: float = 0.0
    capacitance: float = 0.0


@dataclass(frozen=True)
class LiftModel:
    """Legs, force gradient S between them [N/m], shape (N, N), what feeds them, and the modes in which it is told."""

    legs: tuple[LegModel, ...]
    stiffness: Array
    supply: SupplyModel
    basis: Basis


@dataclass(frozen=True)
class StateSpace:
    """dx/dt = A x + B u + E f, y = C x.

    States: N currents [A], N speeds [rad/s], N - 1 relative heights [m], the supply voltage [V] where it has a capacitor.
    Inputs u: N duties; f: N forces down on the nuts [N].  Outputs y: N - 1 relative heights [m].
    """

    a: Array
    b: Array
    e: Array
    c: Array


def state_space(model: LiftModel) -> StateSpace:
    """State matrices of a lift.

    Parameters
    ----------
    model
        N legs.

    Returns
    -------
    StateSpace
        Of order 3 N - 1, one more with a capacitor at the supply.
    """
    n, q = len(model.legs), model.basis.columns
    m = q.shape[1]
    kept = model.supply.capacitance > 0.0
    size = 2 * n + m + int(kept)
    a, b, e, c = np.zeros((size, size)), np.zeros((size, n)), np.zeros((size, n)), np.zeros((m, size))
    current, speed, height = slice(0, n), slice(n, 2 * n), slice(2 * n, 2 * n + m)
    inductance, constant, inertia, torque = (
        np.array([getattr(leg, name) for leg in model.legs]) for name in ("inductance", "torque_constant", "inertia", "load_torque")
    )
    travel = np.array([leg.travel_per_radian for leg in model.legs])
    a[current, current] = np.diag([-leg.resistance / leg.inductance for leg in model.legs])
    a[current, speed] = np.diag(-constant / inductance)
    a[speed, current] = np.diag(constant / inertia)
    a[speed, speed] = np.diag([-leg.damping / leg.inertia for leg in model.legs])
    a[speed, height] = -(torque / inertia)[:, None] * (model.stiffness @ q)
    a[height, speed] = q.T * travel
    b[current] = np.diag([leg.volts_per_duty / leg.inductance for leg in model.legs])
    e[speed] = np.diag(-torque / inertia)
    c[:, height] = np.eye(m)
    _feed(model, a, b)
    return StateSpace(a, b, e, c)


@dataclass(frozen=True)
class ModeConstants:
    """One mode as a loop of its own.

    Attributes
    ----------
    name : str
        "mean", then those of the basis.
    speed_per_duty : float
        Kv of the mode [m/s].
    time_constant : float
        Mechanical time constant [s].
    stiffness : float
        Force of the deck on a leg per height in this mode [N/m].
    return_rate : float
        Rate at which stiffness alone draws the mode back to level [1/s]; negative: it drives it apart.
    """

    name: str
    speed_per_duty: float
    time_constant: float
    stiffness: float
    return_rate: float


def mode_constants(model: LiftModel) -> tuple[ModeConstants, ...]:
    """Mean, tilts and warps of a lift, each taken alone.

    Exact for legs that are alike on a stiff supply; for unequal ones the shares of the legs in the mode weight their
    constants, and what the modes do to each other is left to the whole loop.
    """
    n = len(model.legs)
    speeds = np.array([leg.speed_per_duty for leg in model.legs])
    lags = np.array([leg.time_constant for leg in model.legs])
    # speed lost per N of load: the torque as a voltage, and that as a duty
    slowed = np.array([leg.load_torque * leg.resistance / (leg.torque_constant * leg.volts_per_duty) for leg in model.legs]) * speeds
    columns = np.column_stack([np.full(n, 1.0 / np.sqrt(n)), model.basis.columns])
    found = []
    for name, column in zip(("mean", *model.basis.names), columns.T, strict=True):
        share = column * column
        force = model.stiffness @ column
        found.append(
            ModeConstants(name, float(share @ speeds), float(share @ lags), float(column @ force), float(column @ (slowed * force)))
        )
    return tuple(found)


def _feed(model: LiftModel, a: Array, b: Array) -> None:
    """Let the common supply act on all legs, in place."""
    n = len(model.legs)
    duty = np.array([leg.duty for leg in model.legs])
    drawn = np.array([leg.current for leg in model.legs])
    inductance = np.array([leg.inductance for leg in model.legs])
    supply = model.supply
    if supply.capacitance > 0.0:
        a[:n, -1] = duty / inductance
        a[-1, :n] = -duty / supply.capacitance
        b[-1] = -drawn / supply.capacitance
        a[-1, -1] = -1.0 / (supply.resistance * supply.capacitance) if supply.resistance > 0.0 else 0.0
    elif supply.resistance > 0.0:
        a[:n, :n] -= supply.resistance * np.outer(duty / inductance, duty)
        b[:n] -= supply.resistance * np.outer(duty / inductance, drawn)
