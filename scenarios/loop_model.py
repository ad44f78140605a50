"""The levelling loop of a scenario: plant about steady motion, sampled and delayed as the firmware has it, under its law."""

from __future__ import annotations

from typing import Any

import numpy as np

from scenarios.build import build_rig
from scenarios.files.scenario import Scenario
from scenarios.operating_point import Condition, lift_model, operating_point
from sync.design.basis import Array, Basis, relative_basis
from sync.design.lift_model import state_space
from sync.design.loop import LinearLaw, Loop, coupling_law, mean_coupling
from sync.design.sampled import SampledPlant, sample
from sync.modes import Law

__all__ = ["basis_of", "law_of", "loop_of", "plant_of"]


def basis_of(world: Any) -> Basis:
    """Relative modes of a machine record."""
    return relative_basis([(float(leg["x"]), float(leg["y"])) for leg in world["legs"][: int(world["n_legs"])]])


def _ring(n: int) -> Array:
    """Each leg against its two neighbours; two legs have one link."""
    if n == 2:
        return np.array([[1.0, -1.0], [-1.0, 1.0]])
    return np.asarray(2.0 * np.eye(n) - np.roll(np.eye(n), 1, axis=0) - np.roll(np.eye(n), -1, axis=0), dtype=np.float64)


def _modal(settings: Any, basis: Basis) -> LinearLaw:
    """Tilt with the gains of the law, warp with its own; the plane is what the firmware is told."""
    n = len(basis.columns)
    told = np.asarray(settings["legs"]["plane"][:n], dtype=np.float64)
    away = np.eye(n) - 1.0 / n
    tilt = told @ told.T @ away
    tilts = coupling_law(tilt, basis, 2.0 * float(settings["gain"]), 2.0 * float(settings["integral_gain"]))
    warps = coupling_law(away - tilt, basis, 2.0 * float(settings["warp_gain"]), 2.0 * float(settings["warp_integral_gain"]))
    return LinearLaw(tilts.proportional + warps.proportional, tilts.integral + warps.integral)


def law_of(settings: Any, basis: Basis) -> LinearLaw:
    """Linear law that a settings record asks for.

    The common reference holds each leg to one height with the same gains, so between the legs it is the coupling to the
    mean; what the reference does with all of them together is left out.

    Raises
    ------
    ValueError
        If the law has no linear loop (none, gating).
    """
    law, n = Law(int(settings["law"])), len(basis.columns)
    gain, integral = float(settings["gain"]), float(settings["integral_gain"])
    if law in (Law.CROSS_COUPLING, Law.COMMON_REFERENCE):
        return mean_coupling(basis, gain, integral)
    if law == Law.FOLLOW:
        leader = np.eye(n)[int(settings["leader"])]
        return coupling_law(np.eye(n) - leader[None, :], basis, 2.0 * gain, 2.0 * integral)
    if law == Law.RING:
        return coupling_law(_ring(n), basis, gain, integral)
    if law == Law.MODAL:
        return _modal(settings, basis)
    raise ValueError(f"levelling.law: the law {law.name.lower()} switches or does nothing, so it has no linear loop and no margins")


def plant_of(world: Any, settings: Any, condition: Condition | None = None) -> SampledPlant:
    """Sampled plant of prepared records under a condition, see ``operating_point`` for what it raises."""
    condition = Condition() if condition is None else condition
    space = state_space(lift_model(world, operating_point(world, settings, condition)))
    tick = float(settings["tick"]) * int(settings["control_every"])
    return sample(space, tick * condition.tick, float(settings["compute_delay"]))


def loop_of(scenario: Scenario, condition: Condition | None = None) -> Loop:
    """Levelling loop of a scenario.

    Parameters
    ----------
    scenario
        A checked scenario with its payload, temperatures and settings.
    condition
        What differs from it; left out: raising, as the files stand.

    Returns
    -------
    Loop
        For ``sync.design.loop.margins``, ``poles`` and ``respond``.

    Raises
    ------
    NoSteadyMotionError
        If there is no steady motion to linearise about.
    ValueError
        If the law has no linear loop, or the lift a single leg.
    """
    rig = build_rig(scenario)[0]
    basis = basis_of(rig["world"])
    return Loop(plant_of(rig["world"], rig["settings"], condition), law_of(rig["settings"], basis), basis.names)
