"""Medians of the tiles of a map."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from numba import njit

__all__ = ["tile_medians"]


@njit(cache=True, nogil=True, error_model="numpy")
def tile_medians(
    values: npt.NDArray[np.float32], usable: npt.NDArray[np.bool_], side: int, least: int
) -> npt.NDArray[np.float32]:
    """Return the median of the usable cells of every square tile.

    Parameters
    ----------
    values : ndarray of float32, shape (h, w)
        Value of every cell; what is not a number is left out.
    usable : ndarray of bool, shape (h, w)
        Cells that count.
    side : int
        Side of a tile [cells].
    least : int
        Fewest usable cells for a tile to have a median.

    Returns
    -------
    ndarray of float32, shape (ceil(h / side), ceil(w / side))
        Medians; NaN where too few cells are usable.
    """
    high, wide = values.shape
    tiles_high, tiles_wide = (high + side - 1) // side, (wide + side - 1) // side
    out = np.full((tiles_high, tiles_wide), np.nan, np.float32)
    buffer = np.empty(side * side, np.float32)
    for ti in range(tiles_high):
        for tj in range(tiles_wide):
            count = 0
            for i in range(ti * side, min((ti + 1) * side, high)):
                for j in range(tj * side, min((tj + 1) * side, wide)):
                    if usable[i, j] and not np.isnan(values[i, j]):
                        buffer[count] = values[i, j]
                        count += 1
            if count >= least:
                out[ti, tj] = _median(buffer[:count])
    return out


@njit(cache=True, nogil=True, error_model="numpy")
def _median(values: npt.NDArray[np.float32]) -> np.float32:
    """Return the median of values, which are put into another order."""
    middle = values.size // 2
    upper = _put_in_place(values, middle)
    if values.size % 2:
        return upper
    return np.float32((np.max(values[:middle]) + upper) / np.float32(2.0))


@njit(cache=True, nogil=True, error_model="numpy")
def _put_in_place(values: npt.NDArray[np.float32], place: int) -> np.float32:
    """Return what stands at a place once values are sorted; what comes before it is moved before it.

    The values are parted about one of them, again and again the part that holds the place, with no
    branch on a comparison: what cannot be foretold would cost more than a needless move.
    """
    low, high = 0, values.size
    while high - low > 1:
        first, last, half = values[low], values[high - 1], values[(low + high) // 2]
        pivot = max(min(first, last), min(max(first, last), half))
        below = _part(values, low, high, pivot, False)
        if place < below:
            high = below
            continue
        level = _part(values, below, high, pivot, True)
        if place < level:
            return np.float32(pivot)
        low = level
    return np.float32(values[place])


@njit(cache=True, nogil=True, error_model="numpy")
def _part(values: npt.NDArray[np.float32], low: int, high: int, pivot: np.float32, level: bool) -> int:
    """Move what is below a pivot, or level with it too, to the front; return where the rest begins."""
    border = low
    for k in range(low, high):
        value = values[k]
        moved = value < pivot or (level and value == pivot)
        values[k] = values[border]
        values[border] = value
        border += moved
    return border
