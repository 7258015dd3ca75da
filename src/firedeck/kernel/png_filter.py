"""Undoing the row filters of PNG."""

from __future__ import annotations

import numpy as np
from numba import njit
from numpy.typing import NDArray

__all__ = ["undo_row_filters"]


@njit(cache=True, nogil=True)
def _add_left(row: NDArray[np.uint8], step: int) -> None:
    for i in range(step, row.size):
        row[i] = (np.int32(row[i]) + row[i - step]) & 255


@njit(cache=True, nogil=True)
def _add_above(row: NDArray[np.uint8], above: NDArray[np.uint8]) -> None:
    for i in range(row.size):
        row[i] = (np.int32(row[i]) + above[i]) & 255


@njit(cache=True, nogil=True)
def _add_average(row: NDArray[np.uint8], above: NDArray[np.uint8], step: int) -> None:
    for i in range(step):
        row[i] = (np.int32(row[i]) + (above[i] >> 1)) & 255
    for i in range(step, row.size):
        row[i] = (np.int32(row[i]) + ((np.int32(row[i - step]) + above[i]) >> 1)) & 255


@njit(cache=True, nogil=True)
def _add_nearest(row: NDArray[np.uint8], above: NDArray[np.uint8], step: int) -> None:
    for i in range(step):
        row[i] = (np.int32(row[i]) + above[i]) & 255
    for i in range(step, row.size):
        left, up, corner = np.int32(row[i - step]), np.int32(above[i]), np.int32(above[i - step])
        to_left, to_up, to_corner = abs(up - corner), abs(left - corner), abs(left + up - 2 * corner)
        nearest = up if to_up <= to_corner else corner
        if to_left <= to_up and to_left <= to_corner:
            nearest = left
        row[i] = (np.int32(row[i]) + nearest) & 255


@njit(cache=True, nogil=True)
def undo_row_filters(rows: NDArray[np.uint8], before: NDArray[np.uint8], step: int) -> int:
    """Undo the filters of consecutive rows in place.

    Parameters
    ----------
    rows : ndarray of uint8, shape (rows, 1 + row bytes)
        Filtered rows, each led by the number of its filter.
    before : ndarray of uint8, shape (row bytes,)
        The row above the first one, unfiltered; zeros at the top of the picture.
    step : int
        Bytes per pixel.

    Returns
    -------
    int
        Index of the first row whose filter number is unknown, or -1 if all were undone.

    Notes
    -----
    PNG (Portable Network Graphics) Specification, RFC 2083 (1997), section 6.
    """
    above = before
    for index in range(rows.shape[0]):
        kind = rows[index, 0]
        if kind > 4:
            return index
        row = rows[index, 1:]
        if kind == 1:
            _add_left(row, step)
        elif kind == 2:
            _add_above(row, above)
        elif kind == 3:
            _add_average(row, above, step)
        elif kind == 4:
            _add_nearest(row, above, step)
        above = row
    return -1
