"""Pooling of scan blocks and conservative resampling onto the deck grid."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from numba import njit

from firedeck.kernel.threads import for_each, row_bands

__all__ = [
    "average_pools",
    "dilate",
    "erode_diamond",
    "fill_rings",
    "pool_block",
    "resample_conserving",
]

#: Rows of the grid that are filled at a time: their cells under a column of the picture stay in the cache.
_BAND_ROWS = 128

#: A row and column of no grid.
_NOWHERE = -(1 << 40)


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


def resample_conserving(
    picture: npt.NDArray[np.float32],
    film: npt.NDArray[np.bool_],
    factor: int,
    matrix: npt.NDArray[np.float64],
    pixel: float,
    shape: tuple[int, int],
) -> tuple[npt.NDArray[np.float32], npt.NDArray[np.float32]]:
    """Hand every pixel's value to the grid cells that its footprint covers.

    The footprint is a square of the pixel's area, parallel to the grid; it is shared among the
    cells by overlap, so that the sum over the grid equals the sum over the pixels.

    Parameters
    ----------
    picture : ndarray of float32, shape (h, w)
        Values.
    film : ndarray of bool, shape (h / factor, w / factor)
        Pixels that count, several to one; those past its edge do not.
    factor : int
        Pixels of `picture` to one of `film`, each way.
    matrix : ndarray, shape (2, 3)
        From pixel column, row (centres at whole numbers) to grid column, row (same convention).
    pixel : float
        Side of the footprint [cells].
    shape : tuple of int
        Rows and columns of the grid.

    Returns
    -------
    total, cover : ndarray of float32, shape `shape`
        Sum of share times value, and sum of shares, in units of cell area.

    Notes
    -----
    The grid is filled in bands of rows, several at a time. Every cell meets its pixels in the same
    order whatever the bands, so that the result does not depend on them; and a picture that lies
    across the grid does not run down whole columns of it.
    """
    total = np.zeros(shape, np.float32)
    cover = np.zeros(shape, np.float32)

    def fill(band: slice) -> None:
        _resample_band(picture, film, factor, matrix, pixel, band.start, total[band], cover[band])

    for_each(fill, row_bands(shape[0], _BAND_ROWS))
    return total, cover


@njit(cache=True, nogil=True, error_model="numpy")
def _resample_band(
    picture: npt.NDArray[np.float32],
    film: npt.NDArray[np.bool_],
    factor: int,
    matrix: npt.NDArray[np.float64],
    pixel: float,
    low: int,
    total: npt.NDArray[np.float32],
    cover: npt.NDArray[np.float32],
) -> None:
    """Fill the rows of a grid from `low` on, as many as `total` and `cover` have."""
    half, high = pixel / 2.0, low + total.shape[0]
    wide = min(picture.shape[1], film.shape[1] * factor)
    for i in range(min(picture.shape[0], film.shape[0] * factor)):
        start = matrix[0, 1] * i + matrix[0, 2], matrix[1, 1] * i + matrix[1, 2]
        begin, end = _columns_within(matrix[1, 0], start[1], low - 0.5 - half, high - 0.5 + half, wide)
        first = begin
        while first < end:
            last = _run_end(film[i // factor], factor, first, end)
            if film[i // factor, first // factor]:
                if pixel <= 1.0:
                    _hand_over(picture[i], (first, last), matrix[:, 0], start, pixel, low, total, cover)
                else:
                    _spread_over(picture[i], (first, last), matrix[:, 0], start, half, low, total, cover)
            first = last


@njit(cache=True, nogil=True, error_model="numpy")
def _run_end(film: npt.NDArray[np.bool_], factor: int, first: int, end: int) -> int:
    """Return where pixels from `first` on, `factor` to one of `film`, are no more all film or all bare."""
    block = first // factor
    kind = film[block]
    while block * factor < end and film[block] == kind:
        block += 1
    return min(block * factor, end)


@njit(cache=True, nogil=True, error_model="numpy")
def _hand_over(
    values: npt.NDArray[np.float32],
    span: tuple[int, int],
    step: npt.NDArray[np.float64],
    start: tuple[float, float],
    pixel: float,
    low: int,
    total: npt.NDArray[np.float32],
    cover: npt.NDArray[np.float32],
) -> None:
    """Hand over a span of a row whose column 0 lies at `start`, and each next one a `step` on.

    A footprint of up to a cell touches four cells. What these get is added up apart and goes into the
    grid once they are left behind: added pixel by pixel, each would wait for what the one before has
    just stored. Sums have names of their own, as arrays of four would lie in memory again.
    """
    from_x, from_y = start[0] + 0.5 - pixel / 2.0, start[1] + 0.5 - pixel / 2.0 - low
    nothing = np.float32(0.0)
    row, col = _NOWHERE, _NOWHERE
    light = share = light_right = share_right = nothing
    light_up = share_up = light_across = share_across = nothing
    for j in range(span[0], span[1]):
        x, y = step[0] * j + from_x, step[1] * j + from_y
        left, bottom = int(np.floor(x)), int(np.floor(y))
        if left != col or bottom != row:
            moved_on = bottom == row and left == col + 1
            _leave(total, cover, row, col, light, share)
            _leave(total, cover, row + 1, col, light_up, share_up)
            if not moved_on:
                _leave(total, cover, row, col + 1, light_right, share_right)
                _leave(total, cover, row + 1, col + 1, light_across, share_across)
                light_right = share_right = light_across = share_across = nothing
            light, share, light_up, share_up = light_right, share_right, light_across, share_across
            light_right = share_right = light_across = share_across = nothing
            row, col = bottom, left
        over_x = max(np.float32(x - left + pixel - 1.0), nothing)
        over_y = max(np.float32(y - bottom + pixel - 1.0), nothing)
        under_x, under_y, value = np.float32(pixel) - over_x, np.float32(pixel) - over_y, values[np.uintp(j)]
        part, right, up, across = under_x * under_y, over_x * under_y, under_x * over_y, over_x * over_y
        light += part * value
        share += part
        light_right += right * value
        share_right += right
        light_up += up * value
        share_up += up
        light_across += across * value
        share_across += across
    _leave(total, cover, row, col, light, share)
    _leave(total, cover, row + 1, col, light_up, share_up)
    _leave(total, cover, row, col + 1, light_right, share_right)
    _leave(total, cover, row + 1, col + 1, light_across, share_across)


@njit(cache=True, nogil=True, error_model="numpy")
def _leave(
    total: npt.NDArray[np.float32],
    cover: npt.NDArray[np.float32],
    row: int,
    col: int,
    light: np.float32,
    share: np.float32,
) -> None:
    """Hand over what a cell gets, if it lies in the grid."""
    if 0 <= row < total.shape[0] and 0 <= col < total.shape[1]:
        total[np.uintp(row), np.uintp(col)] += light
        cover[np.uintp(row), np.uintp(col)] += share


@njit(cache=True, nogil=True, error_model="numpy")
def _spread_over(
    values: npt.NDArray[np.float32],
    span: tuple[int, int],
    step: npt.NDArray[np.float64],
    start: tuple[float, float],
    half: float,
    low: int,
    total: npt.NDArray[np.float32],
    cover: npt.NDArray[np.float32],
) -> None:
    """Do as `_hand_over` for footprints of any size."""
    for j in range(span[0], span[1]):
        _spread(values[j], step[0] * j + start[0], step[1] * j + start[1], half, low, total, cover)


@njit(cache=True, nogil=True, error_model="numpy")
def _spread(
    value: np.float32,
    x: float,
    y: float,
    half: float,
    low: int,
    total: npt.NDArray[np.float32],
    cover: npt.NDArray[np.float32],
) -> None:
    """Share a value among all cells of a band that its footprint about x, y overlaps."""
    rows, cols = total.shape
    # Cell k spans k - 0.5 to k + 0.5.
    first_col, last_col = int(np.floor(x - half + 0.5)), int(np.floor(x + half + 0.5))
    first_row, last_row = int(np.floor(y - half + 0.5)), int(np.floor(y + half + 0.5))
    for r in range(max(first_row, low), min(last_row, low + rows - 1) + 1):
        tall = min(y + half, r + 0.5) - max(y - half, r - 0.5)
        for c in range(max(first_col, 0), min(last_col, cols - 1) + 1):
            broad = min(x + half, c + 0.5) - max(x - half, c - 0.5)
            share = np.float32(tall * broad)
            total[r - low, c] += share * value
            cover[r - low, c] += share


@njit(cache=True, nogil=True, error_model="numpy")
def _columns_within(slope: float, at: float, low: float, high: float, count: int) -> tuple[int, int]:
    """Return the span of columns 0 to `count` where slope * column + at may lie within low to high."""
    if abs(slope) * count < 1e-6:
        return (0, count) if low - 1.0 <= at <= high + 1.0 else (0, 0)
    one, other = (low - at) / slope, (high - at) / slope
    first, last = min(one, other) - 1.0, max(one, other) + 2.0
    return int(min(max(first, 0.0), count)), int(min(max(last, 0.0), count))


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
    across = np.zeros((high, wide), np.bool_)
    for i in range(high):
        reach = -1
        for j in range(wide):
            if mask[i, j]:
                for k in range(max(reach + 1, j - radius), min(wide - 1, j + radius) + 1):
                    across[i, k] = True
                reach = min(wide - 1, j + radius)
    out = np.zeros((high, wide), np.bool_)
    last = np.full(wide, -1, np.int64)
    for i in range(high):
        for j in range(wide):
            if across[i, j]:
                for k in range(max(last[j] + 1, i - radius), min(high - 1, i + radius) + 1):
                    out[k, j] = True
                last[j] = min(high - 1, i + radius)
    return out


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
            for col in range(begin, end):
                mask[row, col] = not mask[row, col]
