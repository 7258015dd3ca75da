"""Cell-by-cell work on the deck grid: tile medians and conversion through tables."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from numba import njit

__all__ = [
    "blank_ratio",
    "box_mean",
    "convert_cells",
    "settle_faint",
    "strong_spots",
    "tile_medians",
    "weighted_normal",
]


@njit(cache=True, nogil=True)
def tile_medians(
    values: npt.NDArray[np.float32],
    usable: npt.NDArray[np.bool_],
    side: int,
    stride: int,
    least: int,
) -> npt.NDArray[np.float32]:
    """Return the median of the usable cells of every square tile.

    Parameters
    ----------
    values : ndarray of float32, shape (h, w)
        Values.
    usable : ndarray of bool, shape (h, w)
        Cells that count.
    side : int
        Side of a tile [cells].
    stride : int
        Every `stride`-th cell each way is looked at.
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
            for i in range(ti * side, min((ti + 1) * side, high), stride):
                for j in range(tj * side, min((tj + 1) * side, wide), stride):
                    if usable[i, j]:
                        buffer[count] = values[i, j]
                        count += 1
            if count >= least:
                out[ti, tj] = np.median(buffer[:count])
    return out


@njit(cache=True, nogil=True)
def blank_ratio(
    total: npt.NDArray[np.float32],
    cover: npt.NDArray[np.float32],
    least_cover: float,
    terms_y: npt.NDArray[np.float64],
    terms_x: npt.NDArray[np.float64],
    factors: npt.NDArray[np.float64],
) -> None:
    """Turn summed light into signal in place: 1 - (total / cover) / blank.

    The blank is exp of a polynomial sum of factors[a, b] * terms_y[i, a] * terms_x[j, b].

    Parameters
    ----------
    total, cover : ndarray of float32, shape (h, w)
        Light and weight of every cell; `total` becomes the signal, NaN where cover is too small.
    least_cover : float
        Least cover for a cell to count as film [1].
    terms_y, terms_x : ndarray, shape (h, n) and (w, n)
        Powers of the scaled coordinates.
    factors : ndarray, shape (n, n)
        Factors of ln(blank).
    """
    high, wide = total.shape
    order = factors.shape[0]
    row_factors = np.empty(order)
    for i in range(high):
        for b in range(order):
            row_factors[b] = 0.0
            for a in range(order):
                row_factors[b] += factors[a, b] * terms_y[i, a]
        for j in range(wide):
            if cover[i, j] < least_cover:
                total[i, j] = np.nan
                continue
            log_blank = 0.0
            for b in range(order):
                log_blank += row_factors[b] * terms_x[j, b]
            total[i, j] = np.float32(1.0 - total[i, j] / cover[i, j] * np.exp(-log_blank))


@njit(cache=True, nogil=True)
def convert_cells(
    signal: npt.NDArray[np.float32],
    around: npt.NDArray[np.float32],
    value_table: npt.NDArray[np.float32],
    noise_table: npt.NDArray[np.float32],
    low_signal: float,
    stated_signal: float,
    top_signal: float,
    bits: tuple[int, int, int, int],
    flags: npt.NDArray[np.uint16],
) -> tuple[npt.NDArray[np.float32], npt.NDArray[np.float32]]:
    """Turn signals into pressure and noise through tables over signal 0 to 1, and set range flags.

    Parameters
    ----------
    signal : ndarray of float32, shape (h, w)
        Signal; NaN where there is no film.
    around : ndarray of float32, shape (h, w)
        Mean signal around every cell: it decides on the flags, so that a cell's own grain does not
        choose whether the cell counts.
    value_table, noise_table : ndarray of float32, shape (n,)
        Pressure and its noise [MPa] at equal steps of the signal from 0 to 1.
    low_signal, stated_signal, top_signal : float
        Signal of the lowest answering piece, of the stated lower end, of saturation.
    bits : tuple of int
        Flag masks: below range, under stated range, saturated, outside the sheet.
    flags : ndarray of uint16, shape (h, w)
        Changed in place.

    Returns
    -------
    value, noise : ndarray of float32, shape (h, w)
        Pressure and its independent standard uncertainty [MPa].
    """
    high, wide = signal.shape
    value = np.empty((high, wide), np.float32)
    noise = np.empty((high, wide), np.float32)
    last = value_table.size - 1
    below, under, over, outside = bits
    for i in range(high):
        for j in range(wide):
            s = signal[i, j]
            if np.isnan(s):
                value[i, j] = np.nan
                noise[i, j] = np.nan
                flags[i, j] |= outside
                continue
            place = min(max(s, 0.0), 1.0) * last
            k = min(int(place), last - 1)
            u = np.float32(place - k)
            value[i, j] = value_table[k] + u * (value_table[k + 1] - value_table[k])
            noise[i, j] = noise_table[k] + u * (noise_table[k + 1] - noise_table[k])
            if around[i, j] < low_signal:
                flags[i, j] |= below
            elif around[i, j] < stated_signal:
                flags[i, j] |= under
            elif around[i, j] >= top_signal:
                flags[i, j] |= over
    return value, noise


@njit(cache=True, nogil=True)
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
        total = sums[:half].sum()
        count = counts[:half].sum()
        for j in range(wide):
            if j + half < wide:
                total += sums[j + half]
                count += counts[j + half]
            if j - half - 1 >= 0:
                total -= sums[j - half - 1]
                count -= counts[j - half - 1]
            out[i, j] = total / count if count > 0 else 0.0
    return out


@njit(cache=True, nogil=True)
def _count_row(
    row: npt.NDArray[np.float32], sign: int, sums: npt.NDArray[np.float64], counts: npt.NDArray[np.int64]
) -> None:
    """Add a row to the running sums of every column, or take it out again."""
    for j in range(row.size):
        if not np.isnan(row[j]):
            sums[j] += sign * row[j]
            counts[j] += sign


@njit(cache=True, nogil=True)
def strong_spots(signal: npt.NDArray[np.float32], limit: float) -> npt.NDArray[np.bool_]:
    """Return the cells whose signal lies below `limit`, NaN cells left out."""
    out = np.zeros(signal.shape, np.bool_)
    for i in range(signal.shape[0]):
        for j in range(signal.shape[1]):
            if signal[i, j] < limit:
                out[i, j] = True
    return out


@njit(cache=True, nogil=True)
def settle_faint(
    signal: npt.NDArray[np.float32],
    flags: npt.NDArray[np.uint16],
    faint: int,
    side: int,
    per_signal: float,
    value: npt.NDArray[np.float32],
) -> None:
    """Give faint cells the pressure of their tile's mean signal instead of their own grain.

    A faint cell's signal is mostly noise, and clipping noise at zero would turn it into pressure.

    Parameters
    ----------
    signal : ndarray of float32, shape (h, w)
        Signal.
    flags : ndarray of uint16, shape (h, w)
        Flags; cells with the bits `faint` are settled.
    faint : int
        Flag mask of faint cells.
    side : int
        Side of a tile [cells].
    per_signal : float
        Pressure per signal, straight from zero to the lowest answering piece [MPa].
    value : ndarray of float32, shape (h, w)
        Pressure [MPa], changed in place.
    """
    high, wide = signal.shape
    for ti in range(0, high, side):
        for tj in range(0, wide, side):
            total, count = 0.0, 0
            for i in range(ti, min(ti + side, high)):
                for j in range(tj, min(tj + side, wide)):
                    if flags[i, j] & faint:
                        total += signal[i, j]
                        count += 1
            if count == 0:
                continue
            mean = np.float32(max(total / count, 0.0) * per_signal)
            for i in range(ti, min(ti + side, high)):
                for j in range(tj, min(tj + side, wide)):
                    if flags[i, j] & faint:
                        value[i, j] = mean


@njit(cache=True, nogil=True)
def weighted_normal(
    rows: npt.NDArray[np.float64], values: npt.NDArray[np.float64], weights: npt.NDArray[np.float64]
) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.float64]]:
    """Return rows.T @ diag(weights) @ rows and rows.T @ (weights * values).

    For tall and thin rows this is a hundred times quicker than a threaded library's matrix product,
    which spends its time waking threads.

    Parameters
    ----------
    rows : ndarray, shape (n, m)
        Rows of the design.
    values, weights : ndarray, shape (n,)
        Right-hand side and weights.

    Returns
    -------
    normal : ndarray, shape (m, m)
        Normal matrix.
    right : ndarray, shape (m,)
        Right-hand side.
    """
    count, size = rows.shape
    normal = np.zeros((size, size))
    right = np.zeros(size)
    for k in range(count):
        w = weights[k]
        for a in range(size):
            wa = w * rows[k, a]
            right[a] += wa * values[k]
            for b in range(a + 1):
                normal[a, b] += wa * rows[k, b]
    for a in range(size):
        for b in range(a):
            normal[b, a] = normal[a, b]
    return normal, right
