"""Means over a square around every cell of a map."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from numba import njit

__all__ = ["box_mean"]


@njit(cache=True, nogil=True, error_model="numpy")
def box_mean(signal: npt.NDArray[np.float32], half: int) -> npt.NDArray[np.float32]:
    """Return the mean over a square around every cell, of those of its cells that are numbers.

    Parameters
    ----------
    signal : ndarray of float32, shape (h, w)
        Values; NaN is left out.
    half : int
        Cells to either side of the middle.

    Returns
    -------
    ndarray of float32, shape (h, w)
        Means; 0 where the square holds no number.
    """
    high, wide = signal.shape
    out = np.empty((high, wide), np.float32)
    sums = np.zeros(wide)
    counts = np.zeros(wide, np.int64)
    for i in range(min(half, high)):
        _count_row(signal[i], 1, sums, counts)
    for i in range(high):
        if i + half < high:
            _count_row(signal[i + half], 1, sums, counts)
        if i - half - 1 >= 0:
            _count_row(signal[i - half - 1], -1, sums, counts)
        _slide(sums, counts, half, out[i])
    return out


@njit(cache=True, nogil=True, error_model="numpy")
def _slide(
    sums: npt.NDArray[np.float64], counts: npt.NDArray[np.int64], half: int, out: npt.NDArray[np.float32]
) -> None:
    """Fill a row with the means over the columns within `half` of every column."""
    wide = out.size
    total, count = sums[:half].sum(), counts[:half].sum()
    # In three parts, so that the long middle one has no ends of the row to look out for.
    inner = min(half + 1, wide)
    outer = max(wide - half, inner)
    for j in range(inner):
        if j + half < wide:
            total += sums[j + half]
            count += counts[j + half]
        out[j] = total / count if count > 0 else 0.0
    for j in range(inner, outer):
        total += sums[j + half]
        count += counts[j + half]
        total -= sums[j - half - 1]
        count -= counts[j - half - 1]
        out[j] = total / count if count > 0 else 0.0
    for j in range(outer, wide):
        total -= sums[j - half - 1]
        count -= counts[j - half - 1]
        out[j] = total / count if count > 0 else 0.0


@njit(cache=True, nogil=True, error_model="numpy")
def _count_row(
    row: npt.NDArray[np.float32], sign: int, sums: npt.NDArray[np.float64], counts: npt.NDArray[np.int64]
) -> None:
    """Add a row to the running sums of every column, or take it out again."""
    # Chosen without a branch, so that several columns are added at once.
    for j in range(row.size):
        known = not np.isnan(row[j])
        sums[j] += sign * (np.float64(row[j]) if known else 0.0)
        counts[j] += sign * np.int64(known)
