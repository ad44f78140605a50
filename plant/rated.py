"""Miss and false rates by speed and current: what the signal level found, as the count level uses it."""

from __future__ import annotations

from typing import Any

from plant.bridge import DRIVE
from plant.detector_records import RATE_BANDS, RATE_SPEEDS
from plant.kernel import kernel

__all__ = ["band_of", "rates_at"]


@kernel
def band_of(leg: Any) -> int:
    """Band of the table: 0 unless driven, else 1 and up by the size of the current."""
    if leg.bridge.mode != DRIVE:
        return 0
    size = abs(leg.motor.current)
    band = 1
    for k in range(RATE_BANDS - 2):
        if size >= leg.detector.rate_current[k]:
            band = k + 2
    return band


@kernel
def rates_at(leg: Any) -> tuple[float, float, float]:
    """Rates of missed, doubled and false pulses per commutation, straight between the speeds of the table, constant outside."""
    detector = leg.detector
    pace = abs(leg.motor.speed)
    at = band_of(leg) * RATE_SPEEDS
    k = 0
    while k < RATE_SPEEDS - 2 and detector.rate_speed[k + 1] <= pace:
        k += 1
    low, high = detector.rate_speed[k], detector.rate_speed[k + 1]
    part = (pace - low) / (high - low)
    part = min(max(part, 0.0), 1.0)
    k += at
    miss = detector.rate_miss[k] + part * (detector.rate_miss[k + 1] - detector.rate_miss[k])
    double = detector.rate_double[k] + part * (detector.rate_double[k + 1] - detector.rate_double[k])
    false = detector.rate_false[k] + part * (detector.rate_false[k + 1] - detector.rate_false[k])
    return miss, double, false
