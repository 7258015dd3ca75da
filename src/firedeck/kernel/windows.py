"""Averages over windows along a closed strip."""

from __future__ import annotations

from typing import TypeAlias

import numpy as np
import numpy.typing as npt
from numba import njit

__all__ = [
    "RunningSums",
    "add_row",
    "closed_window_means",
    "closed_window_sums",
    "fill_rows",
    "highest_means",
    "running_sums",
]

#: Sums of two strips over the rows before each row, and how many samples they are.
RunningSums: TypeAlias = tuple[npt.NDArray[np.float64], npt.NDArray[np.float64], npt.NDArray[np.int32]]


@njit(cache=True, nogil=True, error_model="numpy")
def closed_window_sums(
    values: npt.NDArray[np.float32],
    usable: npt.NDArray[np.bool_],
    centres: npt.NDArray[np.int64],
    half: int,
) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.int64]]:
    """Sum the usable rows within `half` of every centre; row n follows row n - 1 as row 0.

    Parameters
    ----------
    values : ndarray of float32, shape (n, m)
        Strip, closed along its first axis.
    usable : ndarray of bool, shape (n, m)
        Samples that count.
    centres : ndarray of int, shape (k,)
        Rising middle rows.
    half : int
        Rows to either side; 2 * half + 1 must not exceed n.

    Returns
    -------
    sums : ndarray, shape (k, m)
        Sums of the usable samples.
    counts : ndarray of int, shape (k, m)
        How many they are.
    """
    rows, cols = values.shape
    sums = np.zeros((centres.size, cols))
    counts = np.zeros((centres.size, cols), np.int64)
    total = np.zeros(cols)
    count = np.zeros(cols, np.int64)
    first, last = 0, 0  # rows first to last - 1 are in the running sums
    for k in range(centres.size):
        begin, end = centres[k] - half, centres[k] + half + 1
        if k == 0 or begin >= last:
            total[:] = 0.0
            count[:] = 0
            first, last = begin, begin
        while last < end:
            add_row(values[last % rows], usable[last % rows], 1, total, count)
            last += 1
        while first < begin:
            add_row(values[first % rows], usable[first % rows], -1, total, count)
            first += 1
        sums[k] = total
        counts[k] = count
    return sums, counts


@njit(cache=True, nogil=True, error_model="numpy")
def running_sums(
    first: npt.NDArray[np.float32], second: npt.NDArray[np.float32], usable: npt.NDArray[np.bool_]
) -> RunningSums:
    """Sum the usable samples of two strips from their first row on: windows of any length come of it.

    Parameters
    ----------
    first, second : ndarray of float32, shape (n, m)
        Strips.
    usable : ndarray of bool, shape (n, m)
        Samples that count.

    Returns
    -------
    first, second : ndarray, shape (n + 1, m)
        Sums over the rows before each row.
    counts : ndarray of int32, shape (n + 1, m)
        How many samples they are.
    """
    rows, cols = first.shape
    one, other = np.zeros((rows + 1, cols)), np.zeros((rows + 1, cols))
    counts = np.zeros((rows + 1, cols), np.int32)
    for i in range(rows):
        for j in range(cols):
            one[i + 1, j] = one[i, j] + (np.float64(first[i, j]) if usable[i, j] else 0.0)
            other[i + 1, j] = other[i, j] + (np.float64(second[i, j]) if usable[i, j] else 0.0)
            counts[i + 1, j] = counts[i, j] + np.int32(usable[i, j])
    return one, other, counts


@njit(cache=True, nogil=True, error_model="numpy")
def closed_window_means(
    sums: RunningSums, centres: npt.NDArray[np.int64], half: int
) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.float64], npt.NDArray[np.float64]]:
    """Average two closed strips over the usable rows within `half` of every centre.

    Parameters
    ----------
    sums : tuple of ndarray
        From `running_sums`; row n of the strips follows row n - 1 as row 0.
    centres : ndarray of int, shape (k,)
        Middle rows.
    half : int
        Rows to either side; 2 * half + 1 must not exceed n.

    Returns
    -------
    first, second : ndarray, shape (k, m)
        Averages; NaN where nothing is usable.
    share : ndarray, shape (k, m)
        Share of the rows that is usable [1].
    """
    one, other, counts = sums
    rows = one.shape[0] - 1
    shape = (centres.size, one.shape[1])
    first, second, share = np.empty(shape), np.empty(shape), np.empty(shape)
    for k in range(shape[0]):
        begin, end = centres[k] - half, centres[k] + half + 1
        low, high, laps = begin % rows, end % rows, end // rows - begin // rows
        for m in range(shape[1]):
            count = np.float64(counts[high, m] - counts[low, m] + laps * counts[rows, m])
            share[k, m] = count / (2 * half + 1)
            first[k, m] = second[k, m] = np.nan
            if count > 0.0:
                first[k, m] = (one[high, m] - one[low, m] + laps * one[rows, m]) / count
                second[k, m] = (other[high, m] - other[low, m] + laps * other[rows, m]) / count
    return first, second, share


@njit(cache=True, nogil=True, error_model="numpy")
def highest_means(
    values: npt.NDArray[np.float32], usable: npt.NDArray[np.bool_], half: int
) -> npt.NDArray[np.float32]:
    """Average a closed strip about every row, column by column, and return each row's highest average.

    Parameters
    ----------
    values : ndarray of float32, shape (n, m)
        Strip, closed along its first axis.
    usable : ndarray of bool, shape (n, m)
        Samples that count; a column without any counts as 0.
    half : int
        Rows to either side; 2 * half + 1 must not exceed n.

    Returns
    -------
    ndarray of float32, shape (n,)
        Highest averages.
    """
    rows, cols = values.shape
    out = np.empty(rows, np.float32)
    total, count = np.zeros(cols), np.zeros(cols, np.int64)
    for k in range(-half, half):
        add_row(values[k % rows], usable[k % rows], 1, total, count)
    for k in range(rows):
        add_row(values[(k + half) % rows], usable[(k + half) % rows], 1, total, count)
        highest = -np.inf
        for m in range(cols):
            highest = max(highest, total[m] / count[m] if count[m] > 0 else 0.0)
        out[k] = highest
        add_row(values[(k - half) % rows], usable[(k - half) % rows], -1, total, count)
    return out


@njit(cache=True, nogil=True, error_model="numpy")
def add_row(
    values: npt.NDArray[np.float32],
    usable: npt.NDArray[np.bool_],
    sign: int,
    total: npt.NDArray[np.float64],
    count: npt.NDArray[np.signedinteger],
) -> None:
    """Add the usable samples of a row to the running sums, or take them out again.

    Parameters
    ----------
    values : ndarray of float32, shape (m,)
        The row.
    usable : ndarray of bool, shape (m,)
        Samples that count.
    sign : int
        1 to add them, -1 to take them out.
    total, count : ndarray, shape (m,)
        Running sums and numbers, changed in place.
    """
    # Chosen without a branch, so that several samples are added at once.
    for j in range(total.size):
        total[j] += sign * (np.float64(values[j]) if usable[j] else 0.0)
        count[j] += sign * np.int64(usable[j])


@njit(cache=True, nogil=True, error_model="numpy")
def fill_rows(values: npt.NDArray[np.float64]) -> None:
    """Fill NaN in every row from its neighbours in the row, straight between and level beyond.

    Parameters
    ----------
    values : ndarray, shape (n, m)
        Equally spaced samples, changed in place; a row without any number becomes zero.
    """
    rows, cols = values.shape
    for i in range(rows):
        last = -1
        for j in range(cols):
            if np.isnan(values[i, j]):
                continue
            if last < 0:
                for k in range(j):
                    values[i, k] = values[i, j]
            else:
                step = (values[i, j] - values[i, last]) / (j - last)
                for k in range(last + 1, j):
                    values[i, k] = values[i, last] + step * (k - last)
            last = j
        for k in range(last + 1, cols):
            values[i, k] = values[i, last] if last >= 0 else 0.0
