"""One way to compile the generator's inner loops."""

from __future__ import annotations

from collections.abc import Callable
from typing import TypeVar, cast

import numpy as np
import numpy.typing as npt
from numba import njit

__all__ = ["FloatArray", "MapArray", "MaskArray", "compiled", "uniform"]

FloatArray = npt.NDArray[np.float64]
MapArray = npt.NDArray[np.float32]
MaskArray = npt.NDArray[np.uint8]

_Function = TypeVar("_Function", bound=Callable[..., object])


def compiled(function: _Function) -> _Function:
    """Compile a loop over arrays so that threads run it side by side; the type stays the function's own."""
    return cast(
        _Function,
        njit(cache=True, nogil=True, error_model="numpy", fastmath={"reassoc", "contract", "arcp"})(function),
    )


@compiled
def uniform(seed: np.uint64, row: int, column: int) -> np.uint64:
    """Return 64 random bits that depend on seed and place only.

    Pixels drawn so come out the same whatever the order or number of threads. The mixing steps are
    those of SplitMix64 (Steele, Lea and Flood, Fast splittable pseudorandom number generators,
    OOPSLA 2014; constants from memory, not checked).
    """
    state = seed + np.uint64(row) * np.uint64(0x9E3779B97F4A7C15) + np.uint64(column)
    state = state * np.uint64(0xD1342543DE82EF95) + np.uint64(0x9E3779B97F4A7C15)
    state = (state ^ (state >> np.uint64(30))) * np.uint64(0xBF58476D1CE4E5B9)
    state = (state ^ (state >> np.uint64(27))) * np.uint64(0x94D049BB133111EB)
    return state ^ (state >> np.uint64(31))
