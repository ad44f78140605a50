"""The measuring chain: current and supply as the converter reads them.

Order: true value, current ripple by commutation phase, gain, offset, anti-alias filter (every sub-step; of the ripple its
effect on the amplitude), noise, full scale, quantum.  Sampled a stated number of sub-steps before the tick.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from plant.commutation import phase
from plant.draws import PURPOSE_CURRENT, PURPOSE_SUPPLY, block, normals
from plant.kernel import inlined, kernel
from plant.portable import cosine

__all__ = ["follow", "ripple", "sample", "sample_all"]

_TURN = 6.283185307179586
_SHAPE_SWING = 121.0 / 60.0
"""Peak to peak of cos t + 0.3 cos 2t."""


@kernel
def ripple(world: Any, leg: Any) -> float:
    """Current ripple [A] at the present commutation phase, about the mean current, as the anti-alias filter passes it.

    Amplitude (eps K w + rho R i) / |R + j w_c L| peak to peak, times the filter's 1 / |1 + j w_c tau|.

    Source: superposition of the EMF ripple of rectified coils and the resistance ripple on the armature impedance.
    Neglects: the phase lag of armature and filter (up to half a pitch), harmonics above the second.
    """
    motor = leg.motor
    current = abs(motor.current)
    if current == 0.0 or (motor.ripple_emf == 0.0 and motor.ripple_resistance == 0.0):
        return 0.0
    speed = abs(motor.speed)
    frequency = speed * motor.commutations
    share = leg.current_sensor.filter_share
    r = motor.hot_resistance * share
    x = frequency * motor.inductance * share
    lag = world.sub_step * (1.0 - share) * frequency
    swing = (motor.ripple_emf * motor.hot_constant * speed + motor.ripple_resistance * motor.hot_resistance * current) * share * share
    swing /= math.sqrt((r * r + x * x) * (share * share + lag * lag))
    first = cosine(phase(motor))
    second = 2.0 * first * first - 1.0
    value = swing * (first + 0.3 * second) / _SHAPE_SWING
    return value if motor.current > 0.0 else -value  # type: ignore[no-any-return]


@inlined
def follow(sensor: Any, value: float) -> None:
    """Move the filter of a ``sensor`` towards ``value`` by one sub-step."""
    sensor.filtered += sensor.filter_share * (value * sensor.gain + sensor.offset - sensor.filtered)


@kernel
def _noise(world: Any, sensor: Any, purpose: int, key: np.uint64) -> float:
    """Standard normal number of this reading; one block serves two readings."""
    if sensor.samples % 2 == 0:
        return sensor.spare  # type: ignore[no-any-return]
    number, sensor.spare = normals(block(world.seed, world.run, np.uint64(sensor.samples), np.uint64(purpose), key))
    return number


@kernel
def sample(world: Any, sensor: Any, value: float, purpose: int, key: np.uint64) -> None:
    """Take a reading of a ``sensor`` now: noise, full scale, quantum on the filtered ``value``."""
    sensor.samples += 1
    if sensor.noise > 0.0:
        value += sensor.noise * _noise(world, sensor, purpose, key)
    if sensor.full_scale > 0.0:
        value = min(value, sensor.full_scale)
        value = max(value, -sensor.full_scale)
    if sensor.quantum > 0.0:
        value = math.floor(value / sensor.quantum + 0.5) * sensor.quantum
    sensor.reading = value


@kernel
def sample_all(world: Any) -> None:
    """Read every current and the supply now; ideal sensing reads the true mean values."""
    for q in range(world.n_legs):
        leg = world.legs[q]
        if world.ideal_sensing == 1:
            # the sensor sits at the bridge: with exchanged wires its sign is not the motor's
            leg.current_sensor.reading = -leg.motor.current if leg.bridge.trouble.reversed == 1 else leg.motor.current
        else:
            value = leg.current_sensor.filtered + leg.current_sensor.gain * ripple(world, leg)
            sample(world, leg.current_sensor, value, PURPOSE_CURRENT, leg.key)
    if world.ideal_sensing == 1:
        world.supply_sensor.reading = world.supply.voltage
    else:
        sample(world, world.supply_sensor, world.supply_sensor.filtered, PURPOSE_SUPPLY, np.uint64(0))
