"""Unrolling a seal's band from a map, and finding what does not belong to the seal on it."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from numba import njit

from firedeck.kernel.lookup import slope_at

__all__ = ["DARKER", "LIGHTER", "drop_wide_parts", "grow_marks", "own_samples", "sample_band", "stand_out"]

FloatArray = npt.NDArray[np.float64]
MapArray = npt.NDArray[np.float32]
CodeArray = npt.NDArray[np.int8]

#: Codes of samples that stand out from their neighbours.
DARKER, LIGHTER = 1, 2

#: Smallest slope of the conversion that noise is divided by [MPa].
_LEAST_SLOPE = 1e-6


@njit(cache=True, nogil=True, error_model="numpy")
def sample_band(
    points: FloatArray,
    normals: FloatArray,
    across: FloatArray,
    grid: tuple[float, float, float],
    signal: MapArray,
    noise: MapArray,
) -> tuple[MapArray, MapArray, npt.NDArray[np.int32], npt.NDArray[np.int32]]:
    """Sample two fields of a map along a line and across it, between cells.

    Parameters
    ----------
    points, normals : ndarray, shape (n, 2)
        Points of the line and its unit normals, x and y [mm].
    across : ndarray, shape (m,)
        Distances from the line [mm].
    grid : tuple of float
        Corner x, y of the map and side of its cells [mm].
    signal, noise : ndarray of float32, shape (rows, cols)
        The fields.

    Returns
    -------
    signal, noise : ndarray of float32, shape (n, m)
        Samples; NaN off the map or beside a NaN.
    row, col : ndarray of int32, shape (n, m)
        Cell that each sample falls into; -1 off the map.
    """
    high, wide = signal.shape
    x0, y0, pitch = grid
    shape = (points.shape[0], across.size)
    found_signal, found_noise = np.empty(shape, np.float32), np.empty(shape, np.float32)
    row, col = np.empty(shape, np.int32), np.empty(shape, np.int32)
    for k in range(shape[0]):
        for m in range(shape[1]):
            c = (points[k, 0] + across[m] * normals[k, 0] - x0) / pitch - 0.5
            r = (points[k, 1] + across[m] * normals[k, 1] - y0) / pitch - 0.5
            near_r, near_c = int(np.floor(r + 0.5)), int(np.floor(c + 0.5))
            off = near_r < 0 or near_c < 0 or near_r >= high or near_c >= wide
            row[k, m], col[k, m] = (-1, -1) if off else (near_r, near_c)
            i, j = int(np.floor(r)), int(np.floor(c))
            if i < 0 or j < 0 or i + 1 >= high or j + 1 >= wide:
                found_signal[k, m] = found_noise[k, m] = np.nan
                continue
            v, u = np.float32(r - i), np.float32(c - j)
            found_signal[k, m] = _between(signal, i, j, v, u)
            found_noise[k, m] = _between(noise, i, j, v, u)
    return found_signal, found_noise, row, col


@njit(cache=True, nogil=True, inline="always", error_model="numpy")
def _between(field: MapArray, i: int, j: int, v: np.float32, u: np.float32) -> np.float32:
    lower = field[i, j] + u * (field[i, j + 1] - field[i, j])
    upper = field[i + 1, j] + u * (field[i + 1, j + 1] - field[i + 1, j])
    return np.float32(lower + v * (upper - lower))


@njit(cache=True, nogil=True, error_model="numpy")
def own_samples(
    signal: MapArray,
    own: npt.NDArray[np.bool_],
    cell: tuple[npt.NDArray[np.int32], npt.NDArray[np.int32]],
    flags: npt.NDArray[np.uint16],
    bits: tuple[int, int],
) -> tuple[npt.NDArray[np.bool_], npt.NDArray[np.bool_]]:
    """Take out the samples that belong to another band, and tell which of the rest count.

    Parameters
    ----------
    signal : ndarray of float32, shape (n, m)
        Signal, changed in place: NaN where the sample is not this band's.
    own : ndarray of bool, shape (n, m)
        Samples that are.
    cell : tuple of ndarray of int32, shape (n, m)
        Row and column of the map's cell that each sample falls into.
    flags : ndarray of uint16, shape (rows, cols)
        Flags of the map.
    bits : tuple of int
        Bits of cells that are marked, and of others that do not count either.

    Returns
    -------
    usable, marked : ndarray of bool, shape (n, m)
        Samples that count, and own samples on marked cells.
    """
    rows, cols = signal.shape
    usable, marked = np.zeros((rows, cols), np.bool_), np.zeros((rows, cols), np.bool_)
    for k in range(rows):
        for m in range(cols):
            if not own[k, m]:
                signal[k, m] = np.nan
                continue
            found = flags[cell[0][k, m], cell[1][k, m]]  # off the map the signal is NaN, whatever the flags
            marked[k, m] = (found & bits[0]) != 0
            usable[k, m] = np.isfinite(signal[k, m]) and (found & (bits[0] | bits[1])) == 0
    return usable, marked


@njit(cache=True, nogil=True, error_model="numpy")
def stand_out(
    signal: MapArray,
    noise: MapArray,
    usable: npt.NDArray[np.bool_],
    curve: tuple[FloatArray, FloatArray, npt.NDArray[np.int64]],
    left_out: CodeArray,
    half: int,
    limits: tuple[float, float, float],
) -> CodeArray:
    """Find samples that differ from the mean of their neighbours along a closed band.

    A sample stands out if it differs by more than its noise and the seal's wandering explain, and
    so does a whole square of two by two samples.

    Parameters
    ----------
    signal, noise : ndarray of float32, shape (n, m)
        Signal [1] and independent noise [MPa]; the band is closed along its first axis.
    usable : ndarray of bool, shape (n, m)
        Samples that count.
    curve : tuple
        Knots, pressures and guide of the conversion from signal to pressure.
    left_out : ndarray of int8, shape (n, m)
        Samples with a code other than 0 are left out of the means.
    half : int
        Rows to either side that a sample is compared with; at most half of all rows.
    limits : tuple of float
        Standard deviations of noise allowed [1], least difference [1], and the wandering of the
        seal across per step across [1].

    Returns
    -------
    ndarray of int8, shape (n, m)
        0, `DARKER` or `LIGHTER`.
    """
    rows, cols = signal.shape
    total, mean = np.zeros(cols), np.zeros(cols)
    count = np.zeros(cols, np.int64)
    raw = np.zeros((rows, cols), np.int8)
    for k in range(-half, half):
        _add(signal, usable, left_out, k % rows, 1, total, count)
    for k in range(rows):
        _add(signal, usable, left_out, (k + half) % rows, 1, total, count)
        for m in range(cols):
            mean[m] = total[m] / count[m] if count[m] > 0 else 0.0
        for m in range(cols):
            if not usable[k, m] or 2 * count[m] <= half:
                continue
            excess = signal[k, m] - mean[m]
            # Hardly any sample differs by even the least difference: the rest is looked at for those.
            if abs(excess) > limits[1] and abs(excess) > _allowed(
                signal[k, m], noise[k, m], curve, mean, m, limits
            ):
                raw[k, m] = DARKER if excess > 0 else LIGHTER
        _add(signal, usable, left_out, (k - half) % rows, -1, total, count)
    return _squares(raw)


@njit(cache=True, nogil=True, inline="always", error_model="numpy")
def _allowed(
    signal: float,
    noise: float,
    curve: tuple[FloatArray, FloatArray, npt.NDArray[np.int64]],
    mean: FloatArray,
    m: int,
    limits: tuple[float, float, float],
) -> float:
    """Return the difference from the mean that noise and wandering explain."""
    sigmas, least, wander = limits
    slope = max(slope_at(np.float64(signal), *curve), _LEAST_SLOPE)
    doubt = 0.0 if np.isnan(noise) else sigmas * noise / slope
    left, right = max(m - 1, 0), min(m + 1, mean.size - 1)
    return float(max(doubt, least) + wander * abs(mean[right] - mean[left]) / (right - left))


@njit(cache=True, nogil=True, error_model="numpy")
def _add(
    signal: MapArray,
    usable: npt.NDArray[np.bool_],
    left_out: CodeArray,
    row: int,
    sign: int,
    total: FloatArray,
    count: npt.NDArray[np.int64],
) -> None:
    """Add the samples of a row that count to the running sums, or take them out again."""
    for m in range(total.size):
        counts = usable[row, m] and left_out[row, m] == 0
        total[m] += sign * (np.float64(signal[row, m]) if counts else 0.0)
        count[m] += sign * np.int64(counts)


@njit(cache=True, nogil=True, error_model="numpy")
def _squares(raw: CodeArray) -> CodeArray:
    """Keep the codes of samples in a square of two by two with one code."""
    out = np.zeros(raw.shape, np.int8)
    for k in range(raw.shape[0] - 1):
        for m in range(raw.shape[1] - 1):
            code = raw[k, m]
            if code != 0 and code == raw[k + 1, m] == raw[k, m + 1] == raw[k + 1, m + 1]:
                out[k : k + 2, m : m + 2] = code
    return out


@njit(cache=True, nogil=True, error_model="numpy")
def drop_wide_parts(codes: CodeArray, code: int, most: tuple[int, int]) -> None:
    """Take out the connected parts of one code that reach over more than `most` samples.

    Parameters
    ----------
    codes : ndarray of int8, shape (n, m)
        Codes, changed in place; parts hang together across corners too.
    code : int
        The code that is looked at.
    most : tuple of int
        Most samples along and across.
    """
    rows, cols = codes.shape
    seen = np.zeros((rows, cols), np.bool_)
    part = [(0, 0)]
    for k in range(rows):
        for m in range(cols):
            if codes[k, m] != code or seen[k, m]:
                continue
            seen[k, m] = True
            part.clear()
            part.append((k, m))
            low_k, high_k, low_m, high_m = k, k, m, m
            done = 0
            while done < len(part):
                i, j = part[done]
                done += 1
                low_k, high_k = min(low_k, i), max(high_k, i)
                low_m, high_m = min(low_m, j), max(high_m, j)
                for a in range(max(i - 1, 0), min(i + 2, rows)):
                    for b in range(max(j - 1, 0), min(j + 2, cols)):
                        if codes[a, b] == code and not seen[a, b]:
                            seen[a, b] = True
                            part.append((a, b))
            if high_k - low_k >= most[0] or high_m - low_m >= most[1]:
                for i, j in part:
                    codes[i, j] = 0


@njit(cache=True, nogil=True, error_model="numpy")
def grow_marks(codes: CodeArray, reach: tuple[int, int]) -> npt.NDArray[np.bool_]:
    """Return the samples within a rectangle about any sample that stands out.

    Parameters
    ----------
    codes : ndarray of int8, shape (n, m)
        0 where nothing stands out.
    reach : tuple of int
        Samples to either side, along and across.

    Returns
    -------
    ndarray of bool, shape (n, m)
        The grown marks.
    """
    rows, cols = codes.shape
    out = np.zeros((rows, cols), np.bool_)
    for k in range(rows):
        for m in range(cols):
            if codes[k, m] != 0:
                low, high = max(k - reach[0], 0), min(k + reach[0] + 1, rows)
                out[low:high, max(m - reach[1], 0) : min(m + reach[1] + 1, cols)] = True
    return out
