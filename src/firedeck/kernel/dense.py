"""Dense symmetric work in place and without the interpreter's lock: elimination, division, products.

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

__all__ = ["divide_columns", "eliminate_rows", "own_product"]

Floats = npt.NDArray[np.float64]


def _routine(library: str, name: str, arguments: int) -> Callable[..., Any]:
    address = get_cython_function_address(f"scipy.linalg.cython_{library}", name)
    # Calls through CFUNCTYPE let go of the lock; every argument of a Fortran routine is an address.
    return ctypes.CFUNCTYPE(None, *[ctypes.c_void_p] * arguments)(address)


_POTRF = _routine("lapack", "dpotrf", 5)
_TRSM = _routine("blas", "dtrsm", 11)
_SYRK = _routine("blas", "dsyrk", 10)
_GEMM = _routine("blas", "dgemm", 13)

_LOWER, _LEFT, _RIGHT, _PLAIN, _TURNED = (ctypes.c_char(letter) for letter in (b"L", b"L", b"R", b"N", b"T"))
_ZERO, _ONE, _MINUS = (ctypes.c_double(value) for value in (0.0, 1.0, -1.0))


def eliminate_rows(panel: Floats) -> Floats | None:
    """Eliminate the first rows of a symmetric front, whose first columns are given.

    Parameters
    ----------
    panel : ndarray, shape (n, k), columns in memory one after the other
        First columns of the front, those of the rows that are eliminated; lower triangle used, replaced
        by those of the factor.

    Returns
    -------
    ndarray, shape (n - k, n - k), or None
        What the elimination adds to the rest of the front, lower triangle only, the rest not set; nothing
        where the rows were not positive definite.
    """
    _require_columns(panel)
    n, k = panel.shape
    size, rest, pivots = ctypes.c_int(n), ctypes.c_int(n - k), ctypes.c_int(k)
    fault, width = ctypes.c_int(0), ctypes.byref(size)
    start = panel.ctypes.data
    beside = start + 8 * k
    if k == 0:
        return np.zeros((n, n), order="F")
    _call(_POTRF, _LOWER, pivots, start, width, fault)
    if fault.value:
        return None
    left = np.empty((n - k, n - k), order="F")
    if n > k:
        _call(_TRSM, _RIGHT, _LOWER, _TURNED, _PLAIN, rest, pivots, _ONE, start, width, beside, width)
        _call(_SYRK, _LOWER, _PLAIN, rest, pivots, _MINUS, beside, width, _ZERO, left.ctypes.data, rest)
    return left


def divide_columns(factor: Floats, columns: Floats, which: slice) -> None:
    """Divide some columns by a lower factor, in place.

    Parameters
    ----------
    factor : ndarray, shape (n, n), columns in memory one after the other
        Lower triangle used.
    columns : ndarray, shape (n, k), columns in memory one after the other
        Changed in place.
    which : slice
        Which of the columns.
    """
    _require_columns(factor, columns)
    n, many = ctypes.c_int(len(factor)), ctypes.c_int(which.stop - which.start)
    at = columns.ctypes.data + 8 * len(columns) * which.start
    _call(_TRSM, _LEFT, _LOWER, _PLAIN, _PLAIN, n, many, _ONE, factor.ctypes.data, n, at, n)


def own_product(columns: Floats, out: Floats, which: slice) -> None:
    """Fill in some columns of the product of a matrix's transpose with itself, from the diagonal down.

    Parameters
    ----------
    columns : ndarray, shape (n, k), columns in memory one after the other
        The matrix.
    out : ndarray, shape (k, k), columns in memory one after the other
        Changed in place.
    which : slice
        Which columns of the product.
    """
    _require_columns(columns, out)
    n, k = columns.shape
    inner, size, rows, many = (ctypes.c_int(x) for x in (n, k, k - which.start, which.stop - which.start))
    left, into = columns.ctypes.data + 8 * n * which.start, out.ctypes.data + 8 * (k + 1) * which.start
    _call(_GEMM, _TURNED, _PLAIN, rows, many, inner, _ONE, left, inner, left, inner, _ZERO, into, size)


def _require_columns(*matrices: Floats) -> None:
    for matrix in matrices:
        if not matrix.flags.f_contiguous:
            raise ValueError("a matrix's columns do not lie one after the other")


def _call(routine: Callable[..., Any], *arguments: object) -> None:
    routine(*(ctypes.byref(one) if isinstance(one, ctypes._SimpleCData) else one for one in arguments))
