"""Dense symmetric work in place, for compiled code and without the interpreter's lock.

SciPy's own wrappers of BLAS and LAPACK hold the lock and copy parts of a matrix; the same routines
called at their addresses do neither, so that two bodies can be eliminated side by side.
"""

from __future__ import annotations

import functools
from collections.abc import Callable, Sequence
from typing import Any, NamedTuple

import numpy as np
import numpy.typing as npt
from llvmlite import ir
from numba import njit, types
from numba.core import cgutils
from numba.core.base import BaseContext
from numba.core.typing.context import Context as TypingContext
from numba.core.typing.templates import Signature
from numba.extending import get_cython_function_address, intrinsic

__all__ = [
    "Routines",
    "divide_columns",
    "eliminate_columns",
    "factor_lower",
    "mirrored",
    "own_product",
    "routines",
]

Floats = npt.NDArray[np.float64]

#: Writes the machine's code of a call.
_Code = Callable[[BaseContext, ir.IRBuilder, Signature, Sequence[ir.Value]], ir.Value]


class Routines(NamedTuple):
    """What compiled code calls, and constants that lie where addresses can point to.

    Attributes
    ----------
    potrf, trsm, syrk, gemm : int
        Addresses: Cholesky factor, division by a triangle, and products.
    letters : ndarray of uint8
        ``L``, ``R``, ``N`` and ``T``.
    factors : ndarray
        0, 1 and -1.
    """

    potrf: int
    trsm: int
    syrk: int
    gemm: int
    letters: npt.NDArray[np.uint8]
    factors: Floats


@functools.cache
def routines() -> Routines:
    """Return the routines of the libraries that are loaded."""
    potrf = get_cython_function_address("scipy.linalg.cython_lapack", "dpotrf")
    trsm, syrk, gemm = (
        get_cython_function_address("scipy.linalg.cython_blas", name) for name in ("dtrsm", "dsyrk", "dgemm")
    )
    letters = np.array([ord(letter) for letter in "LRNT"], dtype=np.uint8)
    return Routines(potrf, trsm, syrk, gemm, letters, np.array([0.0, 1.0, -1.0]))


def _called(_typing: TypingContext, address: types.Type, arguments: types.Type) -> tuple[Signature, _Code]:
    """Call a Fortran routine by its address; every argument is an address too."""

    def code(
        context: BaseContext, builder: ir.IRBuilder, _signature: Signature, given: Sequence[ir.Value]
    ) -> ir.Value:
        # The compiler's own helpers state no types.
        values = cgutils.unpack_tuple(builder, given[1])  # type: ignore[no-untyped-call]
        kind = ir.FunctionType(ir.VoidType(), [value.type for value in values])
        builder.call(builder.inttoptr(given[0], kind.as_pointer()), values)
        return context.get_dummy_value()  # type: ignore[no-untyped-call]

    return types.void(address, arguments), code


_run: Any = intrinsic(_called)


@njit(cache=True, nogil=True)
def eliminate_columns(panel: Floats, left: Floats, call: Routines) -> bool:
    """Eliminate the first columns of a symmetric front; return whether they were positive definite.

    Parameters
    ----------
    panel : ndarray, shape (k, n)
        First columns of the front, one to a row; from the diagonal on used, replaced by the factor's.
    left : ndarray, shape (n - k, n - k)
        Rest of the front, a column to a row, from the diagonal on changed by the elimination.
    call : Routines
        What does the work.
    """
    k, n = panel.shape
    if k == 0:
        return True
    numbers = np.array([n, k, n - k, 0], dtype=np.int32)
    width, pivots, rest, fault = _addresses(numbers)
    lower, right, plain, turned = _letters(call.letters)
    one, minus = call.factors[1:].ctypes.data, call.factors[2:].ctypes.data
    start = panel.ctypes.data
    _run(call.potrf, (lower, pivots, start, width, fault))
    if numbers[3] == 0 and n > k:
        beside = start + np.uint64(8 * k)
        _run(call.trsm, (right, lower, turned, plain, rest, pivots, one, start, width, beside, width))
        _run(call.syrk, (lower, plain, rest, pivots, minus, beside, width, one, left.ctypes.data, rest))
    # Looked at once more after the last call: an array lives no longer than it is used.
    return bool(numbers[3] == 0)


@njit(cache=True, nogil=True)
def _addresses(numbers: npt.NDArray[np.int32]) -> tuple[int, int, int, int]:
    return (
        numbers.ctypes.data, numbers[1:].ctypes.data, numbers[2:].ctypes.data, numbers[3:].ctypes.data,
    )  # fmt: skip


@njit(cache=True, nogil=True)
def _letters(letters: npt.NDArray[np.uint8]) -> tuple[int, int, int, int]:
    return (
        letters.ctypes.data, letters[1:].ctypes.data, letters[2:].ctypes.data, letters[3:].ctypes.data,
    )  # fmt: skip


def factor_lower(matrix: Floats) -> bool:
    """Replace the lower triangle of a matrix by its Cholesky factor; return whether there is one.

    Parameters
    ----------
    matrix : ndarray, shape (n, n), columns in memory one after the other
        Symmetric matrix; lower triangle used and replaced.
    """
    _require_columns(matrix)
    return bool(eliminate_columns(matrix.T, np.empty((0, 0)), routines()))


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
    _divide(factor.T, columns.T[which], routines())


@njit(cache=True, nogil=True)
def _divide(factor: Floats, columns: Floats, call: Routines) -> int:
    numbers = np.array([factor.shape[0], columns.shape[0], 0, 0], dtype=np.int32)
    size, many, _, _ = _addresses(numbers)
    lower, _, plain, _ = _letters(call.letters)
    one = call.factors[1:].ctypes.data
    at, start = columns.ctypes.data, factor.ctypes.data
    _run(call.trsm, (lower, lower, plain, plain, size, many, one, start, size, at, size))
    return int(numbers[1])


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
    _product(columns.T, out.T, which.start, which.stop, routines())


@njit(cache=True, nogil=True)
def _product(columns: Floats, out: Floats, first: int, past: int, call: Routines) -> int:
    k, n = columns.shape
    numbers = np.array([n, k, k - first, past - first], dtype=np.int32)
    inner, size, rows, many = _addresses(numbers)
    _, _, plain, turned = _letters(call.letters)
    zero, one = call.factors.ctypes.data, call.factors[1:].ctypes.data
    left, into = columns[first:].ctypes.data, out[first, first:].ctypes.data
    _run(call.gemm, (turned, plain, rows, many, inner, one, left, inner, left, inner, zero, into, size))
    return int(numbers[0])


@njit(cache=True, nogil=True)
def mirrored(half: Floats) -> Floats:
    """Return a symmetric matrix from its entries from the diagonal on, tile by tile.

    Parameters
    ----------
    half : ndarray, shape (n, n)
        The matrix; what lies below the diagonal is not looked at.
    """
    n, side = len(half), 32
    out = np.empty((n, n))
    for top in range(0, n, side):
        for left in range(top, n, side):
            for i in range(top, min(top + side, n)):
                for j in range(max(left, i), min(left + side, n)):
                    out[i, j] = half[i, j]
                    out[j, i] = half[i, j]
    return out


def _require_columns(*matrices: Floats) -> None:
    for matrix in matrices:
        if not matrix.flags.f_contiguous:
            raise ValueError("a matrix's columns do not lie one after the other")
