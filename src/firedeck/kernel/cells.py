"""Cell-by-cell work on the deck grid: reference to the blank level and conversion through tables."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from numba import njit

__all__ = [
    "convert_cells",
    "flag_lighter",
    "open_ground",
    "refer_to_blank",
    "settle_faint",
    "tally_cells",
    "weighted_normal",
]


#: Columns over which the blank level is taken to run straight.
_PIECE = 16

#: Most of a cell's pressure that is put back for blur [1].
_MOST_RESTORED = np.float32(0.3)


@njit(cache=True, nogil=True, error_model="numpy")
def refer_to_blank(
    light: npt.NDArray[np.float32],
    terms_y: npt.NDArray[np.float64],
    terms_x: npt.NDArray[np.float64],
    factors: npt.NDArray[np.float64],
) -> None:
    """Turn light into signal in place: 1 - light / blank.

    The blank is exp of a polynomial sum of factors[a, b] * terms_y[i, a] * terms_x[j, b].

    Parameters
    ----------
    light : ndarray of float32, shape (h, w)
        Light of every cell, which becomes its signal; NaN stays.
    terms_y, terms_x : ndarray, shape (h, n) and (w, n)
        Powers of the scaled coordinates.
    factors : ndarray, shape (n, n)
        Factors of ln(blank).
    """
    high, wide = light.shape
    order = factors.shape[0]
    row_factors, inverse = np.empty(order), np.empty(wide, np.float32)
    for i in range(high):
        for b in range(order):
            row_factors[b] = 0.0
            for a in range(order):
                row_factors[b] += factors[a, b] * terms_y[i, a]
        # The blank bends over centimetres: straight pieces of a few cells differ from it by less
        # than rounding does.
        end = _inverse_blank(row_factors, terms_x[0])
        for first in range(0, wide, _PIECE):
            last = min(first + _PIECE, wide)
            begin, end = end, _inverse_blank(row_factors, terms_x[min(last, wide - 1)])
            step = (end - begin) / max(min(last, wide - 1) - first, 1)
            for j in range(first, last):
                inverse[j] = begin + step * (j - first)
        for j in range(wide):
            light[i, j] = np.float32(1.0) - light[i, j] * inverse[j]


@njit(cache=True, nogil=True, error_model="numpy")
def _inverse_blank(row_factors: npt.NDArray[np.float64], terms: npt.NDArray[np.float64]) -> float:
    log_blank = 0.0
    for b in range(row_factors.size):
        log_blank += row_factors[b] * terms[b]
    return float(np.exp(-log_blank))


@njit(cache=True, nogil=True, error_model="numpy")
def convert_cells(
    signal: npt.NDArray[np.float32],
    rows: tuple[int, int],
    around: npt.NDArray[np.float32],
    tables: npt.NDArray[np.float32],
    blur: float,
    limits: tuple[float, float, float],
    bits: tuple[int, int, int, int],
    out: tuple[npt.NDArray[np.float32], npt.NDArray[np.float32], npt.NDArray[np.uint16]],
) -> None:
    """Turn some rows of signals into pressure and noise through tables, and set range flags.

    Blur averages signal, and the pressure of an average is less than the average of the pressures
    where the conversion bends. Half the bend times the variance of the signal within the blur puts
    that back; the variance is the square of the signal's slope from cell to cell, less what grain
    alone would show, times that of the blur.

    Parameters
    ----------
    signal : ndarray of float32, shape (h, w)
        Signal of the whole map; NaN where there is no film.
    rows : tuple of int
        First row and one past the last that are converted.
    around : ndarray of float32, shape (rows, w)
        Mean signal around every cell of these rows: it decides on the flags, so that a cell's own
        grain does not choose whether the cell counts.
    tables : ndarray of float32, shape (4, n)
        At equal steps of the signal from 0 to 1: pressure [MPa], its noise [MPa], half its second
        derivative by the signal [MPa], and the variance of the signal's grain [1].
    blur : float
        Variance of the blur along each axis [cells^2]; 0 for none.
    limits : tuple of float
        Signal of the lowest answering piece, of the stated lower end, of saturation.
    bits : tuple of int
        Flag masks: below range, under stated range, saturated, outside the sheet.
    out : tuple of ndarray, shape (rows, w)
        Pressure, 0 below range, and its independent standard uncertainty [MPa]; flags, which are added to.
    """
    value, noise, flags = out
    pressures, noises, bends, grains = tables
    wide, last = signal.shape[1], pressures.size - 1
    for i in range(rows[0], rows[1]):
        for j in range(wide):
            s, r = signal[i, j], i - rows[0]
            if np.isnan(s):
                value[r, j] = np.nan
                noise[r, j] = np.nan
                flags[r, j] |= bits[3]
                continue
            place = min(max(s, 0.0), 1.0) * last
            k = min(int(place), last - 1)
            u = np.float32(place - k)
            noise[r, j] = noises[k] + u * (noises[k + 1] - noises[k])
            if around[r, j] < limits[0]:
                value[r, j] = 0.0
                flags[r, j] |= bits[0]
                continue
            found = pressures[k] + u * (pressures[k + 1] - pressures[k])
            if blur > 0.0 and around[r, j] < limits[2]:
                steep = _squared_slope(signal, i, j) - grains[k]
                taken = bends[k] * np.float32(blur) * steep
                found += min(max(taken, -_MOST_RESTORED * found), _MOST_RESTORED * found)
            value[r, j] = found
            if around[r, j] < limits[1]:
                flags[r, j] |= bits[1]
            elif around[r, j] >= limits[2]:
                flags[r, j] |= bits[2]


@njit(cache=True, nogil=True, error_model="numpy")
def _squared_slope(signal: npt.NDArray[np.float32], i: int, j: int) -> np.float32:
    """Return the square of the signal's slope at a cell [1/cell^2]; 0 at an edge or beside a NaN.

    White grain of unit variance shows a mean of 1 here: half from each axis.
    """
    if i == 0 or j == 0 or i == signal.shape[0] - 1 or j == signal.shape[1] - 1:
        return np.float32(0.0)
    down = np.float32(0.5) * (signal[i + 1, j] - signal[i - 1, j])
    right = np.float32(0.5) * (signal[i, j + 1] - signal[i, j - 1])
    steep = down * down + right * right
    return np.float32(0.0) if np.isnan(steep) else np.float32(steep)


@njit(cache=True, nogil=True, error_model="numpy")
def flag_lighter(
    signal: npt.NDArray[np.float32],
    rows: tuple[int, int],
    limit: float,
    bit: int,
    flags: npt.NDArray[np.uint16],
) -> None:
    """Flag every cell of some rows whose signal, or that of one of its four neighbours, lies below a limit.

    Parameters
    ----------
    signal : ndarray of float32, shape (h, w)
        Signal of the whole map; NaN cells are left out.
    rows : tuple of int
        First row and one past the last that are flagged: several threads may each take some.
    limit : float
        The limit [1].
    bit : int
        Flag mask.
    flags : ndarray of uint16, shape (h, w)
        Changed in place.
    """
    wide, (first, end) = signal.shape[1], rows
    for i in range(max(first - 1, 0), min(end + 1, signal.shape[0])):
        for j in range(wide):
            if signal[i, j] < limit:
                for r in range(max(i - 1, first), min(i + 2, end)):
                    flags[r, j] |= bit
                if first <= i < end:
                    for c in range(max(j - 1, 0), min(j + 2, wide)):
                        flags[i, c] |= bit


@njit(cache=True, nogil=True, error_model="numpy")
def open_ground(
    value: npt.NDArray[np.float32],
    flags: npt.NDArray[np.uint16],
    nothing: int,
    out: npt.NDArray[np.float32],
) -> None:
    """Copy a map's values, 0 where it shows nothing.

    Parameters
    ----------
    value : ndarray of float32, shape (h, w)
        Values; NaN where there is no film.
    flags : ndarray of uint16, shape (h, w)
        Flags.
    nothing : int
        Flag mask of cells that show nothing.
    out : ndarray of float32, shape (h, w)
        The copy, filled in.
    """
    for i in range(value.shape[0]):
        for j in range(value.shape[1]):
            shown = (flags[i, j] & nothing) == 0 and not np.isnan(value[i, j])
            out[i, j] = value[i, j] if shown else np.float32(0.0)


@njit(cache=True, nogil=True, error_model="numpy")
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
    bit = np.uint16(faint)
    total, count, mean = np.empty(wide), np.empty(wide, np.int64), np.empty(wide, np.float32)
    for top in range(0, high, side):
        end = min(top + side, high)
        total[:] = 0.0
        count[:] = 0
        for i in range(top, end):
            _add_flagged(signal[i], flags[i], bit, total, count)
        for left in range(0, wide, side):
            tile = slice(left, min(left + side, wide))
            mean[tile] = max(total[tile].sum() / max(count[tile].sum(), 1), 0.0) * per_signal
        for i in range(top, end):
            _set_flagged(value[i], flags[i], bit, mean)


# Both choose without a branch, as nothing foretells which cells are faint.
@njit(cache=True, nogil=True, error_model="numpy")
def _add_flagged(
    signal: npt.NDArray[np.float32],
    flags: npt.NDArray[np.uint16],
    bit: np.uint16,
    total: npt.NDArray[np.float64],
    count: npt.NDArray[np.int64],
) -> None:
    for j in range(signal.size):
        flagged, own = (flags[j] & bit) != 0, np.float64(signal[j])
        total[j] += own if flagged else 0.0
        count[j] += np.int64(flagged)


@njit(cache=True, nogil=True, error_model="numpy")
def _set_flagged(
    value: npt.NDArray[np.float32],
    flags: npt.NDArray[np.uint16],
    bit: np.uint16,
    mean: npt.NDArray[np.float32],
) -> None:
    for j in range(value.size):
        own, other = value[j], mean[j]
        value[j] = other if (flags[j] & bit) != 0 else own


@njit(cache=True, nogil=True, error_model="numpy")
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


@njit(cache=True, nogil=True, error_model="numpy")
def tally_cells(
    value: npt.NDArray[np.float32],
    signal: npt.NDArray[np.float32],
    flags: npt.NDArray[np.uint16],
    left_out: int,
    bits: tuple[int, int, int],
    clear: float,
) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.int64]]:
    """Add up the pressures of a map by kind of cell.

    Parameters
    ----------
    value, signal : ndarray of float32, shape (h, w)
        Pressure [MPa] and signal [1]; NaN where there is no film.
    flags : ndarray of uint16, shape (h, w)
        Flags.
    left_out : int
        Flag mask of cells that are not counted at all.
    bits : tuple of int
        Flag masks: below range, under stated range, saturated.
    clear : float
        Signal up to which a cell below range is clear of pressure [1].

    Returns
    -------
    sums : ndarray, shape (5,)
        Sums of the pressures [MPa] of cells clear of pressure, pressed but below range, under the
        stated range, in it, and saturated.
    counts : ndarray of int64, shape (5, 256)
        Cells of every kind whose signal lies in each of 256 equal steps from 0 to 1.
    """
    sums = np.zeros(5)
    counts = np.zeros((5, 256), np.int64)
    blank, pressed = 0.0, 0.0
    for i in range(value.shape[0]):
        for j in range(value.shape[1]):
            v, s, flag = value[i, j], signal[i, j], flags[i, j]
            if np.isnan(v) or flag & left_out:
                continue
            step = min(max(int(s * 256), 0), 255)
            if flag & bits[0]:
                # Most cells; grain alone puts them on either side of the limit, so nothing branches on it.
                is_pressed = s > clear
                blank += 0.0 if is_pressed else v
                pressed += v if is_pressed else 0.0
                counts[np.int64(is_pressed), step] += 1
                continue
            kind = 4 if flag & bits[2] else 2 if flag & bits[1] else 3
            sums[kind] += v
            counts[kind, step] += 1
    sums[0], sums[1] = blank, pressed
    return sums, counts
