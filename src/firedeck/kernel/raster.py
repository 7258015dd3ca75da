"""Pooling of scan blocks, growing and shrinking of masks."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from numba import njit

__all__ = [
    "average_pools",
    "dilate",
    "erode_diamond",
    "fill_rings",
    "pool_block",
]


@njit(cache=True, nogil=True, error_model="numpy")
def pool_block(
    codes: npt.NDArray[np.uint16],
    linear: npt.NDArray[np.float32],
    place: tuple[int, int],
    measuring: int,
    factors: tuple[int, int],
    every: int,
    fine: npt.NDArray[np.float32],
    coarse: npt.NDArray[np.float32],
) -> None:
    """Add a block's linear values to the pictures that a scan is pooled to.

    Parameters
    ----------
    codes : ndarray of uint8 or uint16, shape (rows, cols, channels)
        Code values.
    linear : ndarray of float32
        Linear value [1] of every code.
    place : tuple of int
        First row and column of the block in the whole scan [pixels].
    measuring : int
        The channel that goes to the fine picture; all others go to the coarse one.
    factors : tuple of int
        Codes to one fine and to one coarse pixel, each way.
    every : int
        Of the channels that are not measured only every `every`-th row of the scan is added.
    fine : ndarray of float32, shape (fine rows, fine cols)
        Running sums, changed in place; codes past its edge are left out.
    coarse : ndarray of float32, shape (coarse rows, coarse cols, channels)
        The same; the channel that is measured stays as it is.
    """
    row0, col0 = place
    factor, group = factors
    # All channels of a row before the next row: a row of the scan is fetched into the cache once.
    for i in range(codes.shape[0]):
        row = (row0 + i) // factor
        if row < fine.shape[0]:
            _pool_row(codes[i, :, measuring], linear, col0, factor, fine[row])
        row = (row0 + i) // group
        if row < coarse.shape[0] and (row0 + i) % every == 0:
            for channel in range(codes.shape[2]):
                if channel != measuring:
                    _pool_row(codes[i, :, channel], linear, col0, group, coarse[row, :, channel])


@njit(cache=True, nogil=True, error_model="numpy")
def _pool_row(
    codes: npt.NDArray[np.uint16],
    linear: npt.NDArray[np.float32],
    col0: int,
    factor: int,
    total: npt.NDArray[np.float32],
) -> None:
    """Add the codes of a row, `factor` of them to a pixel, from the scan's column `col0` on."""
    column, last = col0 // factor, total.size
    if column >= last:
        return
    phase = col0 - column * factor
    # Summed apart: adding into the picture code by code would wait for memory each time.
    partial = total[column]
    for j in range(codes.size):
        partial += linear[codes[j]]
        phase += 1
        if phase == factor:
            total[column] = partial
            phase = 0
            column += 1
            if column == last:
                break
            partial = total[column]
    if phase > 0:
        total[column] = partial


@njit(cache=True, nogil=True, error_model="numpy")
def average_pools(
    fine: npt.NDArray[np.float32], codes: int, side: int, coarse: npt.NDArray[np.float32]
) -> None:
    """Turn the sums of a fine picture into means in place, and average those into a coarse picture.

    Parameters
    ----------
    fine : ndarray of float32, shape (h, w)
        Sums.
    codes : int
        Values that every sum is made of.
    side : int
        Fine pixels to a coarse one, each way.
    coarse : ndarray of float32, shape (at most h / side, at most w / side)
        Filled in; fine pixels past its edge are left out.
    """
    for i in range(fine.shape[0]):
        for j in range(fine.shape[1]):
            fine[i, j] /= np.float32(codes)
    for i in range(coarse.shape[0]):
        for j in range(coarse.shape[1]):
            total = np.float32(0.0)
            for row in fine[i * side : (i + 1) * side]:
                part = np.float32(0.0)
                for value in row[j * side : (j + 1) * side]:
                    part += value
                total += part
            coarse[i, j] = total / np.float32(side**2)


@njit(cache=True, nogil=True, error_model="numpy")
def dilate(mask: npt.NDArray[np.bool_], radius: int) -> npt.NDArray[np.bool_]:
    """Grow a mask by a square of half side `radius` cells, separably.

    Parameters
    ----------
    mask : ndarray of bool, shape (h, w)
        Mask to grow.
    radius : int
        Half side of the square [cells].

    Returns
    -------
    ndarray of bool, shape (h, w)
        The grown mask.
    """
    high, wide = mask.shape
    span, long = 2 * radius + 1, wide + 2 * radius
    grown = np.zeros((high + 2 * radius, wide), np.uint8)
    row, next_row, nothing = np.zeros(long, np.uint8), np.zeros(long, np.uint8), np.zeros(long, np.uint8)
    for i in range(high):
        _join(mask[i].view(np.uint8), nothing, row[radius : radius + wide])
        # Each round doubles how many neighbours a place has heard of.
        reach = 1
        while 2 * reach <= span:
            _join(row[: long - reach], row[reach:], next_row)
            row, next_row = next_row, row
            reach *= 2
        _join(row[:wide], row[span - reach :], grown[radius + i])
        row[:radius] = 0
        row[radius + wide :] = 0
    reach = 1
    while 2 * reach <= span:
        for i in range(high + 2 * radius - reach):
            _join_to(grown[i], grown[i + reach])
        reach *= 2
    for i in range(high):
        _join_to(grown[i], grown[i + span - reach])
    return grown[:high].view(np.bool_)


# None of the rows may share memory with the one that is changed: only then many places are done at once.
@njit(cache=True, nogil=True, error_model="numpy")
def _join(one: npt.NDArray[np.uint8], other: npt.NDArray[np.uint8], out: npt.NDArray[np.uint8]) -> None:
    """Mark what either of two rows marks, `one` being the shortest."""
    for j in range(one.size):
        out[j] = one[j] | other[j]


@njit(cache=True, nogil=True, error_model="numpy")
def _join_to(row: npt.NDArray[np.uint8], other: npt.NDArray[np.uint8]) -> None:
    """Mark in a row what another marks as well."""
    for j in range(row.size):
        row[j] |= other[j]


@njit(cache=True, nogil=True, error_model="numpy")
def erode_diamond(mask: npt.NDArray[np.bool_], radius: int) -> npt.NDArray[np.bool_]:
    """Return the cells of a mask that lie more than `radius` steps from any cell off it.

    Steps go along rows and columns; all beyond the array's edge is off the mask.

    Parameters
    ----------
    mask : ndarray of bool, shape (h, w)
        The mask.
    radius : int
        Steps, at most 254 [cells].

    Returns
    -------
    ndarray of bool, shape (h, w)
        The eroded mask.
    """
    high, wide = mask.shape
    # Steps to the nearest cell off the mask, first to those before a cell, then to those after it.
    steps = np.zeros((high + 2, wide + 2), np.uint8)
    most = radius + 1
    for i in range(1, high + 1):
        for j in range(1, wide + 1):
            if mask[i - 1, j - 1]:
                steps[i, j] = min(most, min(steps[i - 1, j], steps[i, j - 1]) + 1)
    for i in range(high, 0, -1):
        for j in range(wide, 0, -1):
            steps[i, j] = min(steps[i, j], min(steps[i + 1, j], steps[i, j + 1]) + 1)
    return steps[1:-1, 1:-1] > radius


@njit(cache=True, nogil=True, error_model="numpy")
def fill_rings(
    starts: npt.NDArray[np.float64], ends: npt.NDArray[np.float64], mask: npt.NDArray[np.bool_]
) -> None:
    """Turn over every cell whose centre lies inside closed rings, by the even-odd rule along rows.

    Parameters
    ----------
    starts, ends : ndarray, shape (n, 2)
        Ends of the rings' edges as column, row; cell centres are at whole numbers.
    mask : ndarray of bool, shape (h, w)
        Changed in place.
    """
    high, wide = mask.shape
    cuts = np.empty((high, starts.shape[0]), np.float64)
    counts = np.zeros(high, np.int64)
    for k in range(starts.shape[0]):
        low, top = min(starts[k, 1], ends[k, 1]), max(starts[k, 1], ends[k, 1])
        first, last = max(0, int(np.ceil(low))), min(high - 1, int(np.ceil(top)) - 1)
        for row in range(first, last + 1):
            share = (row - starts[k, 1]) / (ends[k, 1] - starts[k, 1])
            cuts[row, counts[row]] = starts[k, 0] + share * (ends[k, 0] - starts[k, 0])
            counts[row] += 1
    for row in range(high):
        crossed = np.sort(cuts[row, : counts[row]])
        for pair in range(0, counts[row] - 1, 2):
            begin = max(0, int(np.ceil(crossed[pair])))
            end = min(wide, int(np.ceil(crossed[pair + 1])))
            if begin < end:
                _turn_over(mask[row, begin:end].view(np.uint8))


@njit(cache=True, nogil=True, error_model="numpy")
def _turn_over(marks: npt.NDArray[np.uint8]) -> None:
    for j in range(marks.size):
        marks[j] ^= np.uint8(1)
