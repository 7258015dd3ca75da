"""Conservative resampling of a scan onto the deck grid."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from numba import njit

from firedeck.kernel.threads import for_each, row_bands

__all__ = ["resample_mean"]

#: Rows of the grid that are filled at a time: they and the pixels on them stay in the cache.
_BAND_ROWS = 64

#: Pixels of a row that are handed over at a time [1].
_CHUNK = 512

#: Columns of a band that are written to the grid at a time: a line of the cache each way.
_PIECE = 16

FloatArray = npt.NDArray[np.float64]
PictureArray = npt.NDArray[np.float32]


def resample_mean(
    picture: PictureArray,
    film: npt.NDArray[np.bool_],
    factor: int,
    matrix: FloatArray,
    pixel: float,
    shape: tuple[int, int],
    least_cover: float,
) -> PictureArray:
    """Average the pixels on every grid cell, each by the share of its footprint that lies on the cell.

    The footprint is a square of the pixel's area, parallel to the grid; it is shared among the
    cells by overlap, so that the sum over the grid of mean times cover equals that over the pixels.

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
    least_cover : float
        Least area of footprints on a cell for it to have a mean [cells], above 0.

    Returns
    -------
    ndarray of float32, shape `shape`
        Means; NaN where footprints cover less of a cell.

    Notes
    -----
    The grid is filled in bands, several at a time, that run as the picture's rows do: most pixels of
    a row then share its cells with their neighbours, in whatever quarter the sheet lay on the scanner.
    """
    mean = np.empty(shape, np.float32)
    matrix, (high, wide), steps = _along_rows(matrix, shape)

    def fill(band: slice) -> None:
        # A margin of a cell takes what lies beyond the band's edge, so that none has to be looked for.
        light, share = (np.zeros((band.stop - band.start + 2, wide + 2), np.float32) for _ in range(2))
        _fill_band(picture, film, factor, matrix, pixel, band.start, light, share)
        _put_means(light, share, least_cover, band.start, mean.ravel(), steps)

    for_each(fill, row_bands(high, _BAND_ROWS))
    return mean


def _along_rows(
    matrix: FloatArray, shape: tuple[int, int]
) -> tuple[FloatArray, tuple[int, int], tuple[int, int, int]]:
    """Turn and mirror a grid so that a picture's rows run along its own, towards higher columns.

    Returns
    -------
    matrix : ndarray, shape (2, 3)
        From pixel column, row to the turned grid's column, row.
    shape : tuple of int
        Its rows and columns.
    steps : tuple of int
        Where the grid has the turned one's first cell; how far on its next row and column lie [cells].
    """
    (high, wide), first, down, right = shape, 0, shape[1], 1
    if abs(matrix[1, 0]) > abs(matrix[0, 0]):
        matrix, high, wide, down, right = matrix[::-1], wide, high, right, down
    if matrix[0, 0] < 0:
        matrix = np.vstack([np.array([0.0, 0.0, wide - 1.0]) - matrix[0], matrix[1]])
        first, right = (wide - 1) * right, -right
    return np.ascontiguousarray(matrix), (high, wide), (first, down, right)


@njit(cache=True, nogil=True, error_model="numpy")
def _put_means(
    total: PictureArray,
    cover: PictureArray,
    least: float,
    low: int,
    out: PictureArray,
    steps: tuple[int, int, int],
) -> None:
    """Write a band's total over cover, without the margin, to a grid that may lie turned in memory.

    `out` is the grid cell by cell, `low` the band's first row, `steps` from `_along_rows`. Where cover is
    less than the least, a cell becomes NaN.
    """
    first, down, right = steps
    high, wide = total.shape
    # A few columns at a time stay in the cache until all rows have given theirs.
    for begin in range(1, wide - 1, _PIECE):
        end = min(begin + _PIECE, wide - 1)
        for i in range(1, high - 1):
            at = first + (low + i - 1) * down + (begin - 1) * right
            for j in range(begin, end):
                known = cover[i, j] >= least
                out[at] = total[i, j] / cover[i, j] if known else np.float32(np.nan)
                at += right


@njit(cache=True, nogil=True, error_model="numpy")
def _fill_band(
    picture: PictureArray,
    film: npt.NDArray[np.bool_],
    factor: int,
    matrix: FloatArray,
    pixel: float,
    low: int,
    total: PictureArray,
    cover: PictureArray,
) -> None:
    """Fill the rows of a grid from `low` on; `total` and `cover` have a margin of one cell all round."""
    wide = min(picture.shape[1], film.shape[1] * factor)
    scratch = np.empty(_CHUNK, np.int32), np.empty((2, _CHUNK), np.float32)
    # Lower left corners of footprints, by the margin's; cell k spans k to k + 1.
    from_x, from_y = matrix[0, 2] + 1.5 - pixel / 2.0, matrix[1, 2] + 1.5 - pixel / 2.0 - low
    # A hair less to the right: rounded elsewhere, a footprint at the very edge must not lie beyond it.
    least, rows, cols = 1.0 - np.ceil(pixel), total.shape[0] - 1.0, total.shape[1] - 1.0 - 1e-6
    for i in range(min(picture.shape[0], film.shape[0] * factor)):
        start = matrix[0, 1] * i + from_x, matrix[1, 1] * i + from_y
        begin, end = _columns_within(matrix[1, 0], start[1], least, rows, 0, wide)
        first, end = _columns_within(matrix[0, 0], start[0], least, cols, begin, end)
        while first < end:
            last = _run_end(film[i // factor], factor, first, end)
            if film[i // factor, first // factor]:
                if pixel <= 1.0:
                    _hand_over(picture[i], (first, last), matrix[:, 0], start, pixel, scratch, total, cover)
                else:
                    _spread(picture[i], (first, last), matrix[:, 0], start, pixel, total, cover)
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
def _columns_within(
    slope: float, at: float, low: float, high: float, begin: int, end: int
) -> tuple[int, int]:
    """Return which of the columns `begin` to `end` have low <= slope * column + at < high."""
    if slope == 0.0:
        return (begin, end) if low <= at < high else (begin, begin)
    one, other = (low - at) / slope, (high - at) / slope
    # Wide enough for any rounding, then columns that are beyond taken off again.
    slack = 2.0 + 1e-9 / abs(slope)
    first = int(min(max(min(one, other) - slack, begin), end))
    last = int(min(max(max(one, other) + slack, begin), end))
    while first < last and not low <= slope * first + at < high:
        first += 1
    while first < last and not low <= slope * (last - 1) + at < high:
        last -= 1
    return first, last


@njit(cache=True, nogil=True, error_model="numpy")
def _hand_over(
    values: PictureArray,
    span: tuple[int, int],
    step: FloatArray,
    start: tuple[float, float],
    pixel: float,
    scratch: tuple[npt.NDArray[np.int32], PictureArray],
    total: PictureArray,
    cover: PictureArray,
) -> None:
    """Hand over a span of a row whose column 0 lies at `start`, and each next one a `step` on."""
    first = span[0]
    while first < span[1]:
        row = int(np.floor(start[1] + step[1] * first))
        last = _columns_within(step[1], start[1], row, row + 1.0, first, min(span[1], first + _CHUNK))[1]
        left, (over_x, over_y) = scratch[0][: last - first], scratch[1][:, : last - first]
        _overlaps(first, step, (start[0], start[1] - row), pixel, left, over_x, over_y)
        two = total[row : row + 2], cover[row : row + 2]
        _add(values[first:last], left, over_x, over_y, np.float32(pixel), two)
        first = last


@njit(cache=True, nogil=True, error_model="numpy")
def _overlaps(
    first: int,
    step: FloatArray,
    start: tuple[float, float],
    pixel: float,
    left: npt.NDArray[np.int32],
    over_x: PictureArray,
    over_y: PictureArray,
) -> None:
    """Tell in which column each footprint begins, and how far it reaches into the next column and row."""
    x0, y0 = start[0] + step[0] * first, start[1] + step[1] * first + pixel - 1.0
    for k in range(left.size):
        on = np.float64(np.int32(k))
        x = x0 + step[0] * on
        whole = np.floor(x)
        left[k] = np.int32(whole)
        over_x[k] = np.float32(max(x - whole + pixel - 1.0, 0.0))
        over_y[k] = np.float32(max(y0 + step[1] * on, 0.0))


@njit(cache=True, nogil=True, error_model="numpy")
def _add(
    values: PictureArray,
    left: npt.NDArray[np.int32],
    over_x: PictureArray,
    over_y: PictureArray,
    pixel: np.float32,
    two: tuple[PictureArray, PictureArray],
) -> None:
    """Add pixels that all begin in the first of two rows of `total` and `cover`.

    What a cell gets is added up apart and goes into the grid once the cell is left behind: added pixel
    by pixel, each would wait for what the one before has just stored. Sums have names of their own, as
    arrays would lie in memory again.
    """
    total, cover = two
    nothing = np.float32(0.0)
    light = share = light_right = share_right = nothing
    light_up = share_up = light_across = share_across = nothing
    col = np.uintp(left[np.uintp(0)])
    for k in range(left.size):
        j = np.uintp(k)
        while col != np.uintp(left[j]):
            total[0, col] += light
            total[1, col] += light_up
            cover[0, col] += share
            cover[1, col] += share_up
            light, share, light_up, share_up = light_right, share_right, light_across, share_across
            light_right = share_right = light_across = share_across = nothing
            col += np.uintp(1)
        under_x, under_y, value = pixel - over_x[j], pixel - over_y[j], values[j]
        part, right = under_x * under_y, over_x[j] * under_y
        up, across = under_x * over_y[j], over_x[j] * over_y[j]
        light += part * value
        share += part
        light_right += right * value
        share_right += right
        light_up += up * value
        share_up += up
        light_across += across * value
        share_across += across
    for _ in range(2):
        total[0, col] += light
        total[1, col] += light_up
        cover[0, col] += share
        cover[1, col] += share_up
        light, share, light_up, share_up = light_right, share_right, light_across, share_across
        col += np.uintp(1)


@njit(cache=True, nogil=True, error_model="numpy")
def _spread(
    values: PictureArray,
    span: tuple[int, int],
    step: FloatArray,
    start: tuple[float, float],
    pixel: float,
    total: PictureArray,
    cover: PictureArray,
) -> None:
    """Do as `_hand_over` for footprints larger than a cell."""
    rows, cols = total.shape
    for j in range(span[0], span[1]):
        x, y = start[0] + step[0] * j, start[1] + step[1] * j
        for r in range(max(int(np.floor(y)), 0), min(int(np.floor(y + pixel)), rows - 1) + 1):
            tall = min(y + pixel, r + 1.0) - max(y, r)
            for c in range(max(int(np.floor(x)), 0), min(int(np.floor(x + pixel)), cols - 1) + 1):
                share = np.float32(tall * (min(x + pixel, c + 1.0) - max(x, c)))
                total[r, c] += share * values[j]
                cover[r, c] += share
