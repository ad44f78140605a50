"""The levelling loop of a scenario: plant about steady motion, sampled and delayed as the firmware has it, under its law."""

from __future__ import annotations

from typing import Any

from scenarios.build import build_rig
from scenarios.files.scenario import Scenario
from scenarios.operating_point import Condition, lift_model, operating_point
from sync.design.basis import Basis, relative_basis
from sync.design.lift_model import state_space
from sync.design.loop import LinearLaw, Loop, mean_coupling
from sync.design.sampled import SampledPlant, sample
from sync.modes import Law

__all__ = ["basis_of", "law_of", "loop_of", "plant_of"]


def basis_of(world: Any) -> Basis:
    """Relative modes of a machine record."""
    return relative_basis([(float(leg["x"]), float(leg["y"])) for leg in world["legs"][: int(world["n_legs"])]])


def law_of(settings: Any, basis: Basis) -> LinearLaw:
    """Linear law that a settings record asks for.

    Raises
    ------
    ValueError
        If the law has no linear loop (none, gating).
    """
    law = Law(int(settings["law"]))
    if law == Law.CROSS_COUPLING:
        return mean_coupling(basis, float(settings["gain"]), float(settings["integral_gain"]))
    told = law.name.lower().replace("_", " ")
    raise ValueError(f"levelling.law: the law {told} switches or does nothing, so it has no linear loop and no margins")


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
