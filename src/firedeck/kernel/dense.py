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
    "divide_rows",
    "eliminate_columns",
    "factor_columns",
    "factor_lower",
    "from_diagonal",
    "mirrored",
    "routines",
    "subtract_product",
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
    if not factor_columns(panel, call):
        return False
    divide_rows(panel, 0, len(left), call)
    subtract_product(panel, left, 0, len(left), call)
    return True


@njit(cache=True, nogil=True)
def factor_columns(panel: Floats, call: Routines) -> bool:
    """Replace the lower triangle of the first columns of a front by its factor; return whether there is one.

    Parameters
    ----------
    panel, call
        As for `eliminate_columns`; rows may lie further apart than they are long.
    """
    k = len(panel)
    if k == 0:
        return True
    numbers = np.array([k, panel.strides[0] // 8, 0, 0], dtype=np.int32)
    pivots, width, fault, _ = _addresses(numbers)
    lower, _, _, _ = _letters(call.letters)
    _run(call.potrf, (lower, pivots, panel.ctypes.data, width, fault))
    # Looked at once more after the last call: an array lives no longer than it is used.
    return bool(numbers[2] == 0)


@njit(cache=True, nogil=True)
def divide_rows(panel: Floats, first: int, past: int, call: Routines) -> int:
    """Divide some rows below the factor of a front's first columns by it; return how many.

    Parameters
    ----------
    panel, call
        As for `factor_columns`, with the factor in place.
    first, past : int
        The rows, counted from below the factor.
    """
    k = len(panel)
    numbers = np.array([k, past - first, panel.strides[0] // 8, 0], dtype=np.int32)
    if k == 0 or past <= first:
        return 0
    pivots, many, width, _ = _addresses(numbers)
    lower, right, plain, turned = _letters(call.letters)
    one, start = call.factors[1:].ctypes.data, panel.ctypes.data
    _run(
        call.trsm,
        (
            right,
            lower,
            turned,
            plain,
            many,
            pivots,
            one,
            start,
            width,
            start + np.uint64(8 * (k + first)),
            width,
        ),
    )
    return int(numbers[1])


@njit(cache=True, nogil=True)
def subtract_product(panel: Floats, left: Floats, first: int, past: int, call: Routines) -> int:
    """Take from some columns of the rest of a front what the first ones leave there; return how many.

    Parameters
    ----------
    panel, left, call
        As for `divide_rows` and `eliminate_columns`.
    first, past : int
        The columns of the rest; `left` may hold no more than some of the first ones.
    """
    k, m = panel.shape[0], left.shape[1]
    widths = panel.strides[0] // 8, left.strides[0] // 8
    numbers = np.array([k, past - first, m - past, widths[0], widths[1]], dtype=np.int32)
    if k == 0 or past <= first:
        return 0
    pivots, many, below, width = _addresses(numbers)
    lower, _, plain, turned = _letters(call.letters)
    one, minus, apart = call.factors[1:].ctypes.data, call.factors[2:].ctypes.data, numbers[4:].ctypes.data
    own = panel.ctypes.data + np.uint64(8 * (k + first))
    under = panel.ctypes.data + np.uint64(8 * (k + past))
    at = left.ctypes.data + np.uint64(first * (left.strides[0] + 8))
    _run(call.syrk, (lower, plain, many, pivots, minus, own, width, one, at, apart))
    if past < m:
        at += np.uint64(8 * (past - first))
        _run(call.gemm, (plain, turned, below, many, pivots, minus, under, width, own, width, one, at, apart))
    return int(numbers[1])


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
    if not matrix.flags.f_contiguous:
        raise ValueError("a matrix's columns do not lie one after the other")
    return bool(eliminate_columns(matrix.T, np.empty((0, 0)), routines()))


def mirrored(half: Floats) -> Floats:
    """Return a symmetric matrix from its entries from the diagonal on.

    Parameters
    ----------
    half : ndarray, shape (n, n)
        The matrix; what lies below the diagonal is not looked at.
    """
    # Asked for here: arrays that compiled code asks for come in small pages, each a call of the system.
    out = np.empty(half.shape)
    _mirror(half, out)
    return out


@njit(cache=True, nogil=True)
def _mirror(half: Floats, out: Floats) -> None:
    """Fill a symmetric matrix tile by tile."""
    n, side = len(half), 32
    for row in range(n):
        out[row, row:] = half[row, row:]
    for top in range(0, n, side):
        for left in range(top, n, side):
            for row in range(left, min(left + side, n)):
                for column in range(top, min(top + side, row)):
                    out[row, column] = half[column, row]


def from_diagonal(half: Floats) -> Floats:
    """Return a matrix from its entries from the diagonal on, zeros below; shape (n, n)."""
    out = np.empty(half.shape)
    _from_diagonal(half, out)
    return out


@njit(cache=True, nogil=True)
def _from_diagonal(half: Floats, out: Floats) -> None:
    for row in range(len(half)):
        out[row, :row] = 0.0
        out[row, row:] = half[row, row:]
