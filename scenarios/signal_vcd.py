"""Pulse trains as a value change dump (IEEE 1364), to be opened beside the captures of a logic analyser."""

from __future__ import annotations

import io
from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

__all__ = ["PULSE_US", "vcd_bytes"]

PULSE_US = 20.0
"""Width at which a pulse is drawn."""
Floats = NDArray[np.float64]


def vcd_bytes(trains: Mapping[str, Floats], bridge: tuple[Floats, NDArray[np.int64]], about: str) -> bytes:
    """Dump of pulse trains.

    Parameters
    ----------
    trains
        Instants [us], ascending, by name; each becomes one wire that is high for 20 us, or until half-way to the next.
    bridge
        Instants [us] at which the bridge changes, and its mode from then on (0 coast, 1 drive, 2 brake).
    about
        Comment of the file.

    Notes
    -----
    No date is written: the same trains give the same bytes.
    """
    from vcd import VCDWriter

    text = io.StringIO()
    with VCDWriter(text, timescale="1 ns", date="", comment=about) as writer:
        mode = writer.register_var("levelrig", "bridge", "integer", size=2, init=0)
        events: list[tuple[int, int, str, int]] = []
        wires = {name: writer.register_var("levelrig", name, "wire", size=1, init=0) for name in trains}
        for name, instants in trains.items():
            width = np.minimum(PULSE_US, 0.5 * np.diff(instants, append=np.inf))
            for at, end in zip(np.round(1e3 * instants).tolist(), np.round(1e3 * (instants + width)).tolist(), strict=True):
                events += [(int(at), 1, name, 1), (int(end), 0, name, 0)]
        events += [(round(1e3 * at), 2, "", int(value)) for at, value in zip(*bridge, strict=True)]
        for at_ns, _, name, value in sorted(events):
            writer.change(wires[name] if name else mode, at_ns, value)
    return text.getvalue().encode()
