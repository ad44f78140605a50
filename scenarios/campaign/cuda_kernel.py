"""The flat clock as a CUDA kernel: one thread flies one lift, with the very same kernels.

Every thread copies its rig into memory of its own, which the card lays out so that neighbours' fields lie side by side, and back.

A product and a sum must not be fused, or the lifts differ from those of a processor.  NVVM fuses unless its option ``fma`` is 0, which
the compiler does not hand through, so :func:`unfused` sets it; and link-time optimisation must be off, because the linker would compile
again, and fuse.

Source: NVVM IR specification and CUDA programming guide, "Floating-Point and IEEE 754" (options ``-fma``, ``-lto``), as documented.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from functools import lru_cache
from importlib import import_module
from typing import Any

import numba
import numpy as np
from numpy.typing import NDArray

from scenarios.campaign.compact import Compact
from scenarios.flat import fly_untraced

cuda: Any = import_module("numba.cuda")
config: Any = import_module("numba.core.config")

__all__ = ["card", "kernel_of", "ptx_of", "simulated", "to_card", "unfused"]


def simulated() -> bool:
    """Whether the kernels run on numba's simulator of a card (NUMBA_ENABLE_CUDASIM=1), not on a card."""
    return bool(config.ENABLE_CUDASIM)


def card() -> Any:
    """The card that would fly; raises whatever numba does where there is none."""
    return cuda.get_current_device()


def to_card(rigs: NDArray[np.void]) -> Any:
    """Compact rigs, shape (lifts,), in the card's memory."""
    return cuda.to_device(rigs)


@contextmanager
def unfused() -> Iterator[None]:
    """What is compiled inside keeps every product and every sum apart."""
    if simulated():
        yield
        return
    nvvm: Any = import_module("numba.cuda.cudadrv.nvvm")
    compile_ir = nvvm.compile_ir

    def apart(ir: Any, **options: Any) -> Any:
        return compile_ir(ir, **{**options, "fma": 0})

    nvvm.compile_ir = apart
    try:
        yield
    finally:
        nvvm.compile_ir = compile_ir


def _thread(layout: Compact) -> Any:
    """What one thread does, as a Python function of (rigs, ticks)."""
    record = numba.from_dtype(layout.dtype)

    def fly_rigs(rigs: Any, ticks: int) -> None:
        place = cuda.grid(1)
        if place < rigs.size:
            own = cuda.local.array(1, record)
            own[0] = rigs[place]
            fly_untraced(own[0], ticks)
            rigs[place] = own[0]

    def fly_simulated(rigs: Any, ticks: int) -> None:
        # the same, as far as the simulator's arrays can be copied
        place = cuda.grid(1)
        if place < rigs.size:
            own = rigs[place : place + 1].copy()
            fly_untraced(own[0], ticks)
            rigs[place : place + 1] = own

    return fly_simulated if simulated() else fly_rigs


@lru_cache(maxsize=4)
def kernel_of(layout: Compact) -> Any:
    """Kernel ``[blocks, threads](rigs, ticks)`` that flies compact rigs, shape (lifts,), in place; compiled at its first launch."""
    if simulated():
        return cuda.jit(_thread(layout))
    # the function goes in with the option: the form ``jit(lto=False)(function)`` loses it
    return cuda.jit(_thread(layout), lto=False)


def ptx_of(layout: Compact, capability: tuple[int, int] = (9, 0)) -> str:
    """Assembly of the kernel for a card of some compute capability; needs the compiler's library, and no card.

    Notes
    -----
    A function that the kernel calls is compiled for the card that is there; where there is none, ``capability`` stands in for it.
    """
    dispatcher: Any = import_module("numba.cuda.dispatcher")
    signature = numba.void(numba.types.Array(numba.from_dtype(layout.dtype), 1, "C"), numba.int64)
    there = dispatcher.get_current_device

    class Meant:
        """Stands in for a card."""

        compute_capability = capability

    dispatcher.get_current_device = lambda: Meant
    try:
        with unfused():
            text, _ = cuda.compile(_thread(layout), signature, cc=capability, device=False, abi="numba", output="ptx")
    finally:
        dispatcher.get_current_device = there
    return str(text)
