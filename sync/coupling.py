"""Laws that couple the legs to each other: to their mean, to one of them, or to their neighbours.

All push a leg by a gain times how far it leads, and by an integral of that lead, in the direction of the move.
"""

from __future__ import annotations

from typing import Any

from sync.kernel import kernel
from sync.pulses import counted_height

__all__ = ["cross_coupling", "follow", "push", "ring"]


@kernel
def push(settings: Any, leg: Any, base: float, lead: float, growth: float) -> None:
    """Give ``leg`` the duty ``base`` less ``lead`` [duty] and less its integral, which then grows by ``growth`` [duty].

    The integral stands still while the duty is at its end and would be driven further.
    """
    duty = base - lead - leg.integral
    leg.duty = 0.0 if duty < 0.0 else (1.0 if duty > 1.0 else duty)
    if (duty >= 1.0 and growth < 0.0) or (duty <= 0.0 and growth > 0.0):
        return
    value = leg.integral + growth
    most = settings.integral_limit
    leg.integral = most if value > most else (-most if value < -most else value)


@kernel
def cross_coupling(settings: Any, memory: Any, base: float) -> None:
    """Couple every leg to the mean: u_i = u0 - 2 Kc (x_i - mean) - 2 Ki integral(x_i - mean), in the direction of the move.

    Source: cross-coupled control of two axes, Koren, ASME J. Dyn. Syst. Meas. Control 102 (1980), taken to N legs.
    """
    mean, running = 0.0, 0
    for q in range(settings.n_legs):
        if memory.legs[q].on == 1:
            mean += counted_height(settings, memory, q)
            running += 1
    if running < 2:
        return
    mean /= running
    span = settings.tick * settings.control_every
    for q in range(settings.n_legs):
        leg = memory.legs[q]
        if leg.on == 1:
            lead = memory.direction * (counted_height(settings, memory, q) - mean)
            push(settings, leg, base, 2.0 * settings.gain * lead, 2.0 * settings.integral_gain * (lead * span))


@kernel
def follow(settings: Any, memory: Any, base: float) -> None:
    """Follow one leg: the leader runs at u0, the others at u0 - 2 Kc (x_i - x_leader) - 2 Ki integral(x_i - x_leader).

    Each difference is one loop of the gain that two cross-coupled legs have.  The leader must be the slowest, and no
    follower's fault is seen by it.  Once the leader is cut the others run on at the common duty.
    """
    first = memory.legs[settings.leader]
    if first.on == 0:
        return
    ahead = counted_height(settings, memory, settings.leader)
    span = settings.tick * settings.control_every
    for q in range(settings.n_legs):
        leg = memory.legs[q]
        if leg.on == 1 and q != settings.leader:
            lead = memory.direction * (counted_height(settings, memory, q) - ahead)
            push(settings, leg, base, 2.0 * settings.gain * lead, 2.0 * settings.integral_gain * (lead * span))


@kernel
def _neighbour(settings: Any, memory: Any, q: int, step: int) -> int:
    """The next running leg from ``q`` in the ring, ``step`` forward (1) or backward (-1); ``q`` itself if there is none."""
    n = settings.n_legs
    for k in range(1, n):
        other = (q + step * k + n) % n
        if memory.legs[other].on == 1:
            return other  # type: ignore[no-any-return]
    return q


@kernel
def ring(settings: Any, memory: Any, base: float) -> None:
    """Couple every leg to its two neighbours in the order of the file, the last one to the first: u_i = u0 - Kc sum(x_i - x_j) - ...

    Mode j of N legs has the gain 4 Kc sin^2(pi j/N), so many legs are slow.  Two legs have one link: the same law as
    cross-coupling.  Legs that are off are passed over.
    """
    span = settings.tick * settings.control_every
    for q in range(settings.n_legs):
        leg = memory.legs[q]
        if leg.on == 0:
            continue
        after, before = _neighbour(settings, memory, q, 1), _neighbour(settings, memory, q, -1)
        here = counted_height(settings, memory, q)
        lead = here - counted_height(settings, memory, after)
        if before != after:
            lead += here - counted_height(settings, memory, before)
        lead *= memory.direction
        push(settings, leg, base, settings.gain * lead, settings.integral_gain * (lead * span))
