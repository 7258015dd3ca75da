"""A seal's band averaged along the seal and laid back over the cells of the map."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from numba import njit

from firedeck.kernel.lookup import interpolate_into
from firedeck.kernel.windows import add_row

__all__ = ["band_pressure", "gaussian_taps", "lay_band", "least_crowns", "smooth_rows"]

FloatArray = npt.NDArray[np.float64]
MapArray = npt.NDArray[np.float32]
BoolArray = npt.NDArray[np.bool_]
IntArray = npt.NDArray[np.int64]

#: A bell curve is cut off at this many standard deviations.
_CUT_OFF = 4.0


def gaussian_taps(deviation: float) -> FloatArray:
    """Return the weights of a bell curve of a standard deviation [samples], odd in number, sum 1."""
    reach = max(1, int(_CUT_OFF * deviation + 0.5))
    taps = np.exp(-0.5 * (np.arange(-reach, reach + 1) / deviation) ** 2)
    return np.asarray(taps / taps.sum())


@njit(cache=True, nogil=True, error_model="numpy")
def smooth_rows(values: FloatArray, taps: FloatArray) -> FloatArray:
    """Smooth every row; its ends are taken to run on level.

    Parameters
    ----------
    values : ndarray, shape (n, m)
        Rows.
    taps : ndarray, shape (odd,)
        Weights, the same to either side of the middle one.

    Returns
    -------
    ndarray, shape (n, m)
        Smoothed rows.
    """
    rows, cols = values.shape
    reach = taps.size // 2
    out = np.empty((rows, cols))
    padded = np.empty(cols + 2 * reach)
    for k in range(rows):
        padded[reach : reach + cols] = values[k]
        _smooth(padded, taps, out[k])
    return out


@njit(cache=True, nogil=True, error_model="numpy")
def _smooth(padded: FloatArray, taps: FloatArray, out: FloatArray) -> None:
    """Smooth a row that lies in the middle of `padded`, and fill what lies to either side of it."""
    reach = taps.size // 2
    padded[:reach] = padded[reach]
    padded[padded.size - reach :] = padded[padded.size - reach - 1]
    middle = padded[reach : reach + out.size]
    for m in range(out.size):
        out[m] = taps[reach] * middle[m]
    # Pair by pair of taps over the whole row, so that several samples are added at once.
    for t in range(reach):
        weight, before, after = taps[t], padded[t : t + out.size], padded[2 * reach - t :]
        for m in range(out.size):
            out[m] += weight * (before[m] + after[m])


@njit(cache=True, nogil=True, error_model="numpy")
def least_crowns(pressure: FloatArray, noise: FloatArray, unit: FloatArray, starts: IntArray) -> FloatArray:
    """Return the least row maximum of pressure with noise added, for several helpings of noise.

    Parameters
    ----------
    pressure, noise : ndarray, shape (n, m)
        Pressure and the standard deviation of its noise [MPa].
    unit : ndarray, shape (h, at least m)
        Noise of standard deviation about 1, taken over again from its first row after its last.
    starts : ndarray of int, shape (k,)
        Row of `unit` at which each helping begins.

    Returns
    -------
    ndarray, shape (k,)
        Least of the row maxima [MPa].
    """
    rows, cols = pressure.shape
    least = np.full(starts.size, np.inf)
    for helping in range(starts.size):
        for k in range(rows):
            row = unit[(starts[helping] + k) % unit.shape[0]]
            crown = -np.inf
            for m in range(cols):
                crown = max(crown, pressure[k, m] + noise[k, m] * row[m])
            least[helping] = min(least[helping], crown)
    return least


@njit(cache=True, nogil=True, error_model="numpy")
def band_pressure(
    signal: MapArray,
    usable: BoolArray,
    hidden: BoolArray,
    curve: tuple[FloatArray, FloatArray, IntArray],
    halves: tuple[int, int],
    lowest: float,
    taps: FloatArray,
) -> MapArray:
    """Average a closed band along itself and turn it into pressure.

    Where too little of a stretch is usable a longer one speaks for it. Where that shows nothing
    either, a hidden sample becomes infinite, which lets no path through, and any other is left out.

    Parameters
    ----------
    signal : ndarray of float32, shape (n, m)
        Signal; NaN where the sample is not this band's.
    usable, hidden : ndarray of bool, shape (n, m)
        Samples that count, and samples that a mark hides.
    curve : tuple
        Knots, pressures and guide of the conversion from signal to pressure.
    halves : tuple of int
        Rows to either side of the short and the long stretch; each at most (n - 1) // 2.
    lowest : float
        Lower pressures become 0 [MPa].
    taps : ndarray, shape (odd,)
        Weights of the smoothing across the band, the same to either side of the middle one.

    Returns
    -------
    ndarray of float32, shape (n, m)
        Pressure [MPa]; NaN where it is left out.
    """
    rows, cols = signal.shape
    out = np.empty((rows, cols), np.float32)
    short_sum, long_sum = np.zeros(cols), np.zeros(cols)
    short, long = np.zeros(cols, np.int32), np.zeros(cols, np.int32)
    reach = taps.size // 2
    padded, value = np.zeros(cols + 2 * reach), np.zeros(cols)
    row = padded[reach : reach + cols]
    for half, total, count in ((halves[0], short_sum, short), (halves[1], long_sum, long)):
        for k in range(-half - 1, half):
            add_row(signal[k % rows], usable[k % rows], 1, total, count)
    for k in range(rows):
        for half, total, count in ((halves[0], short_sum, short), (halves[1], long_sum, long)):
            come, gone = (k + half) % rows, (k - half - 1) % rows
            _move_on(signal[come], usable[come], signal[gone], usable[gone], total, count)
        _choose_means(short_sum, short, long_sum, long, halves[0], row)
        interpolate_into(row, *curve, row)
        _smooth(padded, taps, value)
        for m in range(cols):
            found = value[m] if value[m] >= lowest else 0.0
            found = found if hidden[k, m] or not np.isnan(signal[k, m]) else np.nan
            unseen = np.inf if hidden[k, m] else np.nan
            out[k, m] = unseen if 2 * max(short[m], long[m]) <= halves[0] else found
    return out


# Both choose without a branch, so that several samples are done at once.
@njit(cache=True, nogil=True, error_model="numpy")
def _move_on(
    come: MapArray,
    come_usable: BoolArray,
    gone: MapArray,
    gone_usable: BoolArray,
    total: FloatArray,
    count: npt.NDArray[np.int32],
) -> None:
    """Add the usable samples of one row to the running sums and take out those of another."""
    for m in range(total.size):
        more = np.float64(come[m]) if come_usable[m] else 0.0
        total[m] += more - (np.float64(gone[m]) if gone_usable[m] else 0.0)
        count[m] += np.int32(come_usable[m]) - np.int32(gone_usable[m])


@njit(cache=True, nogil=True, error_model="numpy")
def _choose_means(
    short_sum: FloatArray,
    short: npt.NDArray[np.int32],
    long_sum: FloatArray,
    long: npt.NDArray[np.int32],
    half: int,
    out: FloatArray,
) -> None:
    """Write the mean over the short stretch; over the long one where too little of the short is usable."""
    for m in range(out.size):
        thin = 2 * short[m] <= half
        total = long_sum[m] if thin else short_sum[m]
        count = long[m] if thin else short[m]
        mean = total / np.float64(max(count, 1))
        out[m] = mean if count > 0 else 0.0


@njit(cache=True, nogil=True, error_model="numpy")
def lay_band(
    value: MapArray,
    row: npt.NDArray[np.int32],
    col: npt.NDArray[np.int32],
    first: int,
    target: MapArray,
    scratch: MapArray,
) -> None:
    """Replace the cells of some rows of a map that a band's samples fall into by the samples' mean.

    Parameters
    ----------
    value : ndarray of float32, shape (n, m)
        Samples; NaN is left out.
    row, col : ndarray of int32, shape (n, m)
        Cell of each sample; -1 off the map. The samples of each k lie on a straight line.
    first : int
        Row of the map that is the target's first one.
    target : ndarray of float32, shape (rows, cols)
        Some rows of the map, changed in place.
    scratch : ndarray of float32, shape (rows, cols, 2)
        Room for sums and numbers side by side, all zero before and after: one for many bands.
    """
    high = target.shape[0]
    for k in range(row.shape[0]):
        if not _may_reach(row[k], first, first + high):
            continue
        for m in range(row.shape[1]):
            i, j = row[k, m] - first, col[k, m]
            if 0 <= i < high and j >= 0 and not np.isnan(value[k, m]):
                scratch[i, j, 0] += value[k, m]
                scratch[i, j, 1] += np.float32(1.0)
    for k in range(row.shape[0]):
        if not _may_reach(row[k], first, first + high):
            continue
        for m in range(row.shape[1]):
            i, j = row[k, m] - first, col[k, m]
            if 0 <= i < high and j >= 0 and scratch[i, j, 1] > 0.0:
                target[i, j] = scratch[i, j, 0] / scratch[i, j, 1]
                scratch[i, j, 0] = scratch[i, j, 1] = 0.0


@njit(cache=True, nogil=True, inline="always", error_model="numpy")
def _may_reach(row: npt.NDArray[np.int32], first: int, end: int) -> bool:
    """Tell from its ends alone whether samples on a straight line may fall into rows `first` to `end` - 1."""
    one, other = row[0], row[-1]
    return bool(one < 0 or other < 0 or (min(one, other) < end and max(one, other) >= first))
