"""Pulses on the wires: a queue of their edges, and three numbers that sum all pulses of one shape.

A pulse rises towards its height with one time constant, stands until its end, and leaves a ringing of the same height:

    S(t) = A (1 - exp(-t / rise))               while it stands
    S(t) = A exp(-pi f t / Q) cos(2 pi f t)     from its end

All pulses of a motor share rise, f and Q, so the sum of any number of them is ``standing - rising + swing_real``: the heights that
stand, what their flanks still lack, and the ringing as a turning pointer.  Each decays by a constant factor per sample;
an edge between two samples is carried to the sample by the exact law.
"""

from __future__ import annotations

from typing import Any

from plant.kernel import inlined, kernel
from plant.portable import cosine, exponential
from plant.signal.records import MAX_QUEUE

__all__ = ["add_pulse", "apply_edges", "decay_pulses"]

_PI = 3.141592653589793


@kernel
def _queue(line: Any, at_us: float, height: float, lack: float, ends: int) -> None:
    """Put the edge of a pulse into the queue, in order of time."""
    n = line.waiting
    if n >= MAX_QUEUE:
        line.lost += 1
        return
    k = n
    while k > 0 and line.at_us[k - 1] > at_us:
        line.at_us[k] = line.at_us[k - 1]
        line.height[k] = line.height[k - 1]
        line.lack[k] = line.lack[k - 1]
        line.ends[k] = line.ends[k - 1]
        k -= 1
    line.at_us[k] = at_us
    line.height[k] = height
    line.lack[k] = lack
    line.ends[k] = ends
    line.waiting = n + 1


@kernel
def add_pulse(line: Any, at_us: float, height: float, width: float) -> None:
    """Put a pulse of signed ``height`` [V] and ``width`` [s] on the wires from ``at_us`` [us] on.

    A pair of edges that does not fit into the queue is left out and counted as lost.
    """
    if line.waiting + 2 > MAX_QUEUE:
        line.lost += 1
        return
    _queue(line, at_us, height, 0.0, 0)
    _queue(line, at_us + 1e6 * width, height, height * exponential(-width / line.spark.rise), 1)


@kernel
def apply_edges(line: Any, now_us: float) -> None:
    """Apply every edge up to the sample at ``now_us`` [us] and carry it to the sample."""
    spark = line.spark
    done = 0
    while done < line.waiting and line.at_us[done] <= now_us:
        late = 1e-6 * (now_us - line.at_us[done])
        height = line.height[done]
        flank = exponential(-late / spark.rise) if late < 40.0 * spark.rise else 0.0
        if line.ends[done] == 0:
            line.standing += height
            line.rising += height * flank
        else:
            line.standing -= height
            line.rising -= line.lack[done] * flank
            size = height * exponential(-_PI * line.wires.ring * late / spark.quality)
            turns = line.wires.ring * late
            line.swing_real += size * cosine(turns)
            line.swing_imag += size * cosine(turns - 0.25)
        done += 1
    for k in range(done, line.waiting):
        line.at_us[k - done] = line.at_us[k]
        line.height[k - done] = line.height[k]
        line.lack[k - done] = line.lack[k]
        line.ends[k - done] = line.ends[k]
    line.waiting -= done


@inlined
def decay_pulses(line: Any) -> None:
    """Carry the sums to the next sample."""
    line.rising *= line.rise_decay
    real = line.swing_real * line.ring_real - line.swing_imag * line.ring_imag
    line.swing_imag = line.swing_real * line.ring_imag + line.swing_imag * line.ring_real
    line.swing_real = real
