"""Elimination of the first rows of a dense symmetric front, in place and without the interpreter's lock.

SciPy's own wrappers of BLAS and LAPACK hold the lock and copy parts of a matrix; the same routines
called at their addresses do neither, so that two bodies can be eliminated side by side.
"""

from __future__ import annotations

import ctypes
from collections.abc import Callable
from typing import Any

import numpy as np
import numpy.typing as npt
from numba.extending import get_cython_function_address

__all__ = ["eliminate_rows"]

Floats = npt.NDArray[np.float64]


def _routine(library: str, name: str, arguments: int) -> Callable[..., Any]:
    address = get_cython_function_address(f"scipy.linalg.cython_{library}", name)
    # Calls through CFUNCTYPE let go of the lock; every argument of a Fortran routine is an address.
    return ctypes.CFUNCTYPE(None, *[ctypes.c_void_p] * arguments)(address)


_POTRF = _routine("lapack", "dpotrf", 5)
_TRSM = _routine("blas", "dtrsm", 11)
_SYRK = _routine("blas", "dsyrk", 10)


def eliminate_rows(front: Floats, pivots: int) -> bool:
    """Eliminate the first rows of a front; its lower triangle past them holds what is left.

    Parameters
    ----------
    front : ndarray, shape (n, n), columns in memory one after the other
        Symmetric matrix, lower triangle used, changed in place.
    pivots : int
        How many rows are eliminated [1].

    Returns
    -------
    bool
        Whether the rows were positive definite.
    """
    if not front.flags.f_contiguous:
        raise ValueError("the front's columns do not lie one after the other")
    size, rest, first = ctypes.c_int(len(front)), ctypes.c_int(len(front) - pivots), ctypes.c_int(pivots)
    fault, one, minus = ctypes.c_int(0), ctypes.c_double(1.0), ctypes.c_double(-1.0)
    lower, right, plain, turned = (ctypes.c_char(letter) for letter in (b"L", b"R", b"N", b"T"))
    start = front.ctypes.data
    beside = start + 8 * pivots
    left = beside + 8 * pivots * len(front)
    width = ctypes.byref(size)
    _call(_POTRF, lower, first, start, width, fault)
    if fault.value:
        return False
    if rest.value:
        _call(_TRSM, right, lower, turned, plain, rest, first, one, start, width, beside, width)
        _call(_SYRK, lower, plain, rest, first, minus, beside, width, one, left, width)
    return True


def _call(routine: Callable[..., Any], *arguments: object) -> None:
    routine(*(ctypes.byref(one) if isinstance(one, ctypes._SimpleCData) else one for one in arguments))
