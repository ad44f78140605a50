"""Commutation pulses: when a segment meets a brush and leaves it, and how large a pulse each makes on the wires.

A coil is shorted while the boundary between its two segments lies under the brush.  The boundary crosses the brush, which
is ``beta`` segment pitches wide, in T_com = beta 2 pi / (k w), so each commutation makes three pulses:

make
    The leading edge meets the next segment.  One coil drops out of its path: the terminal resistance changes by
    rho_R R and the path loses the coil's EMF gamma 2 K w / k (zero on the neutral).  Half of it shows between the
    wires, the other path stays: A = (rho_R R i + gamma 2 K w / k) / 2, for the base width.
break
    A turn of beta 2 pi / k later the trailing edge leaves, and the coil current that has not reversed stops:
    I_res = zeta i/2 s(w) + gamma K w / (k Rk), s(w) = min(1, 0.3 + w/w_n), A = A_max (1 - exp(-I_res/I_a)),
    for the base width plus the arc Lc I_res / V_arc.  Opposite to the make.
make again
    Just after the arc the coil is back in its path, at a share of the first make and with its sign.

So the group stretches as the motor slows: the angle is fixed, the time is not.  All heights are then multiplied by the
share that supply and cable leave (driven, coasting), by the factor of the segment and a log-normal number; the break is
bounded by what the capacitor lets through, sqrt(2 kappa W / C) with W = Lc I_res^2 / 2.

Source: derived from the geometry of brush and segments; residual current and arc as in classic commutation theory (C.
Steinmetz, *Theoretical Elements of Electrical Engineering*, secs. 65-66).  Amplitudes, shares and spreads are assumed.

Neglects: the change of the coil's own time constant with the brush film; saturation.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from plant.bridge import COAST, DRIVE
from plant.commutation import boundary, time_to_turn
from plant.draws import PURPOSE_SPARK, PURPOSE_TWIN, block, normals, uniform
from plant.kernel import kernel
from plant.portable import exponential
from plant.signal.pulses import add_pulse

__all__ = ["break_height", "make_height", "pass_edges", "place_line", "place_of", "residual_current"]

_TURN = 6.283185307179586
_MOST_SIGMAS = 4.9
"""What ``draws.normals`` never exceeds."""


@kernel
def residual_current(line: Any, current: float, pace: float) -> float:
    """Coil current that has not reversed when the segment leaves [A]; ``current`` [A] and ``pace`` [rad/s] without sign."""
    spark = line.spark
    share = 0.3 + pace / line.pace_scale
    share = share if share < 1.0 else 1.0
    circulating = spark.off_neutral * line.constant * pace / (line.segments * spark.coil_resistance)
    return 0.5 * spark.under_commutation * current * share + circulating  # type: ignore[no-any-return]


@kernel
def break_height(line: Any, residual: float) -> float:
    """Height of the break pulse [V] before the shares of supply and cable and before chance, by the residual current [A]."""
    spark = line.spark
    height = spark.amplitude * spark.intensity * (1.0 - exponential(-residual / spark.current_scale))
    if line.wires.capacitance > 0.0:
        ceiling = residual * math.sqrt(spark.wire_share * line.coil_inductance / line.wires.capacitance)
        height = ceiling if ceiling < height else height
    return height  # type: ignore[no-any-return]


@kernel
def make_height(line: Any, current: float, pace: float) -> float:
    """Height of the first make pulse [V] before the shares of supply and cable; ``current`` [A], ``pace`` [rad/s]."""
    emf = line.spark.off_neutral * 2.0 * line.constant * pace / line.segments
    return 0.5 * line.spark.make * (line.ripple_resistance * line.resistance * current + emf)  # type: ignore[no-any-return]


@kernel
def _left(line: Any, mode: int) -> float:
    """Share of a spike that is left at the sensing point; a shorted motor leaves none."""
    if mode == DRIVE:
        return line.spark.driven * line.wires.driven  # type: ignore[no-any-return]
    if mode == COAST:
        return line.spark.coasting * line.wires.coasting  # type: ignore[no-any-return]
    return 0.0


@kernel
def _sign(line: Any, row: Any, direction: int) -> float:
    """Sign of the break pulse: by drive state and direction, at a fixed pair of wires."""
    if row.mode == DRIVE:
        return float(line.spark.polarity_driven * (1 if row.duty >= 0.0 else -1))
    return float(line.spark.polarity_coasting * direction)


@kernel
def _twin(line: Any, at_us: float, height: float, width: float) -> None:
    """Second pulse of a commutation by chance, and third and more in a cluster."""
    spark = line.spark
    if spark.double <= 0.0:
        return
    words = block(line.seed, line.run, np.uint64(line.ordinal), np.uint64(PURPOSE_TWIN), line.key)
    chance = spark.double
    at = at_us
    for k in range(4):
        if uniform(words[k]) >= chance:
            return
        # the rest of the number that chose it sets delay and height
        rest = uniform(words[k]) / chance
        at += 1e6 * (spark.double_low + rest * (spark.double_high - spark.double_low))
        turned = rest * 7.0
        add_pulse(line, at, height * (0.4 + 0.6 * (turned - math.floor(turned))), width)
        chance = spark.cluster


@kernel
def _draw_next(line: Any) -> float:
    """Normal number of the next break's height; its jitter [rad] goes into the angles ahead."""
    line.ordinal += 1
    jitter, spread = normals(block(line.seed, line.run, np.uint64(line.ordinal), np.uint64(PURPOSE_SPARK), line.key))
    line.shift = line.spark.jitter * jitter * _TURN / line.commutations
    return spread


@kernel
def _make(line: Any, row: Any, at_us: float, direction: int) -> None:
    """First pulse of a group at ``at_us`` [us]."""
    height = make_height(line, abs(row.current), abs(row.speed)) * _left(line, row.mode)
    if height > 0.0:
        add_pulse(line, at_us, -_sign(line, row, direction) * height, line.spark.base_width)


@kernel
def _break(line: Any, row: Any, index: int, at_us: float, direction: int) -> None:
    """Second and third pulse of the group of commutation ``index`` at ``at_us`` [us], and what chance adds."""
    spark = line.spark
    spread = _draw_next(line)
    left = _left(line, row.mode)
    if left <= 0.0:
        return
    current, pace = abs(row.current), abs(row.speed)
    residual = residual_current(line, current, pace)
    sign = _sign(line, row, direction)
    factor = left * line.segment[index % line.commutations] * exponential(spark.spread * spread)
    height = sign * break_height(line, residual) * factor
    width = spark.base_width + line.coil_inductance * residual / spark.arc_voltage
    add_pulse(line, at_us, height, width)
    again = spark.remake * make_height(line, current, pace) * left
    if again > 0.0:
        add_pulse(line, at_us + 1e6 * (width + spark.remake_delay), -sign * again, spark.base_width)
    _twin(line, at_us, height, width)


@kernel
def place_of(line: Any, angle: float) -> int:
    """Index of the commutation at or below ``angle`` [rad]."""
    index = math.floor(angle * line.commutations / _TURN) + 1
    while boundary(line, index) > angle:
        index -= 1
    while boundary(line, index + 1) <= angle:
        index += 1
    return index  # type: ignore[no-any-return]


@kernel
def place_line(line: Any, angle: float, direction: int) -> None:
    """Find the breaks on both sides of the rotor's ``angle`` [rad], which is about to turn in ``direction``."""
    line.place = place_of(line, angle)
    _draw_next(line)
    _look_ahead(line, direction)
    line.make_direction = 0
    line.placed = 1


@kernel
def _look_ahead(line: Any, direction: int) -> None:
    """Angles of the next break either way.

    Ahead it jitters.  Behind it lies outside of any jitter, or an early break would be passed backwards at once.
    """
    margin = _MOST_SIGMAS * line.spark.jitter * _TURN / line.commutations
    line.above = boundary(line, line.place + 1) + (line.shift if direction > 0 else margin)
    line.below = boundary(line, line.place) - (margin if direction > 0 else line.shift)


@kernel
def _turn_time(angle: float, row: Any, end_speed: float, span: float) -> float:
    """Time [us] to turn by ``angle`` [rad] from the start of the sub-step; an angle that lies behind is there at once."""
    if angle * row.speed < 0.0 or angle * end_speed < 0.0 or angle == 0.0:
        return 0.0
    return 1e6 * time_to_turn(angle, row.speed, end_speed, span)


@kernel
def _pass_makes(line: Any, row: Any, turned: float, end_speed: float, now_us: float) -> None:
    """Makes of this sub-step: the boundary meets the brush ``beta`` segment pitches before it leaves it."""
    direction = 1 if turned > 0.0 else -1
    lead = direction * line.spark.brush_width * _TURN / line.segments
    angle = row.angle + lead
    if line.make_direction != direction:
        line.make_place = place_of(line, angle)
        line.make_direction = direction
    end = angle + turned
    while True:
        ahead = boundary(line, line.make_place + 1 if direction > 0 else line.make_place)
        if (end < ahead) if direction > 0 else (end >= ahead):
            return
        at_us = now_us + _turn_time(ahead - angle, row, end_speed, line.step)
        line.make_place += direction
        _make(line, row, at_us, direction)


@kernel
def pass_edges(line: Any, row: Any, end: Any, now_us: float) -> None:
    """Put the pulses of every commutation on the wires that falls into the sub-step from ``now_us`` [us], ``row`` to ``end``."""
    turned = end.angle - row.angle
    if turned == 0.0:
        return
    if line.placed == 0:
        place_line(line, row.angle, 1 if turned > 0.0 else -1)
    _pass_makes(line, row, turned, end.speed, now_us)
    while end.angle >= line.above:
        line.place += 1
        _break(line, row, line.place, now_us + _turn_time(line.above - row.angle, row, end.speed, line.step), 1)
        _look_ahead(line, 1)
    while end.angle < line.below:
        line.place -= 1
        _break(line, row, line.place + 1, now_us + _turn_time(line.below - row.angle, row, end.speed, line.step), -1)
        _look_ahead(line, -1)
