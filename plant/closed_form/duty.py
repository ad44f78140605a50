"""Heating under duty: one-exponential S2 and S3 figures, and the two-node winding temperature of an on/off cycle."""

from __future__ import annotations

from dataclasses import dataclass
from math import exp, inf, sqrt

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import expm

__all__ = ["Heat", "TwoNode", "current_factor", "periodic_rise", "periodic_temperatures", "short_time_rise"]


@dataclass(frozen=True)
class TwoNode:
    """Winding and case: heat capacities [J/K], resistances winding to case and case to air [K/W]."""

    winding_capacity: float
    case_capacity: float
    winding_to_case: float
    case_to_air: float


@dataclass(frozen=True)
class Heat:
    """Heat into winding and case [W] as straight functions of the two temperatures.

    ``winding``, ``case``: at 20 C; ``winding_slopes``, ``case_slopes``: per K of the winding's and of the case's rise above 20 C.
    """

    winding: float
    case: float
    winding_slopes: tuple[float, float] = (0.0, 0.0)
    case_slopes: tuple[float, float] = (0.0, 0.0)


def periodic_rise(on: float, period: float, time_constant: float) -> float:
    """Peak rise of a periodic duty (S3) over the rise of continuous running with the same losses.

    (1 - exp(-on/tau))/(1 - exp(-period/tau)); all times [s].  Source: one-exponential heating, duty types of IEC 60034-1 cl. 4.2.
    """
    return (1.0 - exp(-on / time_constant)) / (1.0 - exp(-period / time_constant))


def short_time_rise(on: float, time_constant: float) -> float:
    """Rise reached by a short-time duty (S2) from cold over the rise of continuous running: 1 - exp(-on/tau)."""
    return 1.0 - exp(-on / time_constant)


def current_factor(rise: float) -> float:
    """Current allowed over the continuous current where only ``rise`` of the continuous rise is reached (losses as current squared)."""
    return 1.0 / sqrt(rise)


def periodic_temperatures(nodes: TwoNode, heat: Heat, on: float, off: float, ambient: float) -> tuple[float, float]:
    """Highest winding and case temperature [deg C] of the settled cycle of ``on`` and ``off`` [s]; infinite in thermal runaway.

    The two linear stretches are propagated by their matrix exponential and the cycle is closed by one linear solve, so the
    result is exact for losses that are straight in the temperatures.  ``off`` = 0 is continuous running.  Temperatures are
    taken at the end of the on-time, where the winding peaks (the case may rise a little further).
    """
    warm = _system(nodes, heat, ambient)
    if max(np.linalg.eigvals(warm[:2, :2]).real) >= 0.0:
        return inf, inf
    if off <= 0.0:
        end = np.linalg.solve(warm[:2, :2], -warm[:2, 2])
        return float(end[0]), float(end[1])
    cool = _system(nodes, Heat(0.0, 0.0), ambient)
    cycle = expm(warm * on) @ expm(cool * off)
    end = np.linalg.solve(np.eye(2) - cycle[:2, :2], cycle[:2, 2])
    return float(end[0]), float(end[1])


def _system(nodes: TwoNode, heat: Heat, ambient: float) -> NDArray[np.float64]:
    """Augmented 3 x 3 matrix of (winding, case, 1), shape (3, 3)."""
    flow, loss = 1.0 / nodes.winding_to_case, 1.0 / nodes.case_to_air
    winding = np.array([-flow + heat.winding_slopes[0], flow + heat.winding_slopes[1], 0.0])
    winding[2] = heat.winding - 20.0 * sum(heat.winding_slopes)
    case = np.array([flow + heat.case_slopes[0], -flow - loss + heat.case_slopes[1], 0.0])
    case[2] = heat.case - 20.0 * sum(heat.case_slopes) + loss * ambient
    return np.array([winding / nodes.winding_capacity, case / nodes.case_capacity, np.zeros(3)])
