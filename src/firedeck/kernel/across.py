"""What stands across a closed strip in windows along it: pressure, the line's extent and its sums."""

from __future__ import annotations

from typing import TypeAlias

import numpy as np
import numpy.typing as npt
from numba import njit

from firedeck.kernel.lookup import span_at
from firedeck.kernel.windows import fill_rows

__all__ = ["Curve", "curve_shifts", "line_sums", "line_tails", "tell_lines", "unseen_lines"]

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]
BoolArray = npt.NDArray[np.bool_]

#: Knots of the signal [1], pressure at them [MPa], and where to begin looking among them.
Curve: TypeAlias = tuple[FloatArray, FloatArray, IntArray]

#: Blur is put back as far as it changes the pressure by no more than this share [1].
_MOST_BLUR = 0.3


@njit(cache=True, nogil=True, error_model="numpy")
def tell_lines(
    means: tuple[FloatArray, FloatArray, FloatArray],
    curve: Curve,
    place: FloatArray,
    outer: tuple[int, int],
    limits: tuple[float, float, float, float, float],
) -> tuple[FloatArray, IntArray]:
    """Turn window averages into pressure, and tell each window's line from the land beside it.

    Parameters
    ----------
    means : tuple of ndarray, shape (k, m)
        Mean signal [1] and noise [MPa], which are filled in place where nothing is seen, and the share
        of each window that is seen [1].
    curve : tuple of ndarray
        From signal to pressure.
    place : ndarray, shape (m,)
        Where the columns lie in the band, 0 at its one edge and 1 at the other.
    outer : tuple of int
        Columns before the first, and from the second on, show the land.
    limits : tuple of float
        Least share that is seen, share beyond which a line is seen [1], least signal of a line [1],
        noise of a mean per noise of a cell [1], and variance of the blur over the columns' step squared [1].

    Returns
    -------
    pressure : ndarray, shape (k, m)
        Pressure, blur put back [MPa].
    extent : ndarray of int, shape (k, 2)
        First column of the line and the one after its last; both 0 where there is no line.
    """
    signal, noise, share = means
    seen, firm, least, spread, blur = limits
    land = np.empty((signal.shape[0], 2))
    for i in range(signal.shape[0]):
        for j in range(signal.shape[1]):
            if share[i, j] < seen:
                signal[i, j] = np.nan
            if np.isnan(noise[i, j]):
                noise[i, j] = 0.0
        land[i] = _land_ends(signal[i], outer)
    fill_rows(signal)
    knots, ordinates, guide = curve
    pressure = np.empty(signal.shape)
    extent = np.zeros((signal.shape[0], 2), np.int64)
    above = np.zeros(signal.shape[1], np.bool_)
    for i in range(signal.shape[0]):
        for j in range(signal.shape[1]):
            span, part = span_at(signal[i, j], knots, guide)
            rise = ordinates[span + 1] - ordinates[span]
            pressure[i, j] = ordinates[span] + part * rise
            above[j] = signal[i, j] > least and share[i, j] > firm
            if above[j]:
                cell = noise[i, j] / max(rise / (knots[span + 1] - knots[span]), 1e-9)
                shown = land[i, 0] * (1.0 - place[j]) + land[i, 1] * place[j]
                above[j] = signal[i, j] > shown + 3.0 * spread * cell
        extent[i] = _firm_extent(above)
    if blur > 0.0:
        _put_blur_back(signal, pressure, extent, curve, blur)
    return pressure, extent


@njit(cache=True, nogil=True, error_model="numpy")
def _land_ends(signal: FloatArray, outer: tuple[int, int]) -> tuple[float, float]:
    """Return the land's signal at both edges; what is not seen is taken from elsewhere in the window."""
    one, other = _mean_known(signal[: outer[0]]), _mean_known(signal[outer[1] :])
    if np.isnan(one):
        one = other
    if np.isnan(other):
        other = one
    if np.isnan(one):
        lowest = np.inf
        for value in signal:
            if value < lowest:
                lowest = value
        one = other = lowest if np.isfinite(lowest) else 0.0
    return one, other


@njit(cache=True, nogil=True, error_model="numpy")
def _mean_known(values: FloatArray) -> float:
    total, count = 0.0, 0
    for value in values:
        if not np.isnan(value):
            total += value
            count += 1
    return total / count if count > 0 else np.nan


@njit(cache=True, nogil=True, error_model="numpy")
def _put_blur_back(
    signal: FloatArray, pressure: FloatArray, extent: IntArray, curve: Curve, blur: float
) -> None:
    """Add to the pressure what blur, which averages signal, has changed in its mean.

    Within the blur the signal varies by its slope across the seal; the mean of a bent function differs
    from the function of the mean by half its bend times that variance. Beside the line this is done only
    where the pressure could be the window's highest: nothing else there is asked for.
    """
    knots, ordinates, guide = curve
    step, last = min(0.02, 0.02 * knots[-1]), signal.shape[1] - 1
    for i in range(signal.shape[0]):
        begin, end = extent[i]
        reached = (1.0 - _MOST_BLUR) / (1.0 + _MOST_BLUR) * np.max(pressure[i])
        for j in range(last + 1):
            if not begin <= j < end and pressure[i, j] < reached:
                continue
            low, high = max(j - 1, 0), min(j + 1, last)
            change = (signal[i, high] - signal[i, low]) / (high - low)
            middle = min(max(signal[i, j], knots[0] + step), knots[-1] - step)
            span, part = span_at(middle, knots, guide)
            bend = -2.0 * (ordinates[span] + part * (ordinates[span + 1] - ordinates[span]))
            for beside in (middle + step, middle - step):
                span, part = span_at(beside, knots, guide)
                bend += ordinates[span] + part * (ordinates[span + 1] - ordinates[span])
            limit = _MOST_BLUR * pressure[i, j]
            pressure[i, j] += min(max(0.5 * bend / step**2 * blur * change**2, -limit), limit)


@njit(cache=True, nogil=True, error_model="numpy")
def _firm_extent(above: BoolArray) -> tuple[int, int]:
    """Return everything from the first to the last place, two in a row, above the threshold.

    At the band's own edges a place stands for itself: its neighbour may lie beyond.
    """
    begin, end, last = above.size, 0, above.size - 1
    for j in range(above.size):
        if above[j] and (j in (0, last) or above[j - 1] or above[j + 1]):
            begin, end = min(begin, j), j + 1
    return (begin, end) if end > 0 else (0, 0)


@njit(cache=True, nogil=True, error_model="numpy")
def line_sums(
    pressure: FloatArray, noise: FloatArray, extent: IntArray
) -> tuple[FloatArray, FloatArray, FloatArray, IntArray, IntArray]:
    """Sum and seek along every window's line.

    Parameters
    ----------
    pressure, noise : ndarray, shape (k, m)
        Pressure and noise [MPa].
    extent : ndarray of int, shape (k, 2)
        From `tell_lines`.

    Returns
    -------
    total : ndarray, shape (k,)
        Sum of the line's pressure [MPa].
    squares : ndarray, shape (k,)
        Sum of its noise squared [MPa^2].
    peak : ndarray, shape (k,)
        Its highest pressure [MPa].
    crown : ndarray of int, shape (k,)
        Column of that; 0 without a line.
    highest : ndarray of int, shape (k,)
        Column of the highest pressure, line or not.
    """
    count = len(pressure)
    total, squares, peak = np.zeros(count), np.zeros(count), np.zeros(count)
    crown, highest = np.zeros(count, np.int64), np.zeros(count, np.int64)
    for i in range(count):
        highest[i] = np.argmax(pressure[i])
        begin, end = extent[i]
        if end > begin:
            crown[i] = begin + np.argmax(pressure[i, begin:end])
            peak[i] = pressure[i, crown[i]]
        for j in range(begin, end):
            total[i] += pressure[i, j]
            squares[i] += noise[i, j] ** 2
    return total, squares, peak, crown, highest


@njit(cache=True, nogil=True, error_model="numpy")
def curve_shifts(
    signal: FloatArray, extent: IntArray, curve: Curve, modes: FloatArray, zero: float
) -> tuple[FloatArray, FloatArray]:
    """Sum over every window's line how its pressure shifts with the curve and with the blank level.

    Parameters
    ----------
    signal : ndarray, shape (k, m)
        Signal [1].
    extent : ndarray of int, shape (k, 2)
        From `tell_lines`.
    curve : tuple of ndarray
        From signal to pressure.
    modes : ndarray, shape (number of knots, j)
        Shift of the curve at its knots, one column a mode [MPa].
    zero : float
        Standard deviation of the blank level [1].

    Returns
    -------
    by_mode : ndarray, shape (j, k)
        Sums of every mode's shift [MPa].
    by_zero : ndarray, shape (k,)
        Sums of the shift for one standard deviation of the blank level [MPa].
    """
    knots, ordinates, guide = curve
    by_mode, by_zero = np.zeros((modes.shape[1], len(signal))), np.zeros(len(signal))
    for i in range(len(signal)):
        for j in range(extent[i, 0], extent[i, 1]):
            span, part = span_at(signal[i, j], knots, guide)
            slope = (ordinates[span + 1] - ordinates[span]) / (knots[span + 1] - knots[span])
            by_zero[i] += slope * (1.0 - min(max(signal[i, j], 0.0), 1.0)) * zero
            for c in range(modes.shape[1]):
                by_mode[c, i] += modes[span, c] + part * (modes[span + 1, c] - modes[span, c])
    return by_mode, by_zero


@njit(cache=True, nogil=True, error_model="numpy")
def line_tails(pressure: FloatArray, extent: IntArray, step: float, reach: int) -> FloatArray:
    """Return height times run of both flanks' feet, drawn straight on from the edges of every line.

    Parameters
    ----------
    pressure : ndarray, shape (k, m)
        Pressure [MPa].
    extent : ndarray of int, shape (k, 2)
        From `tell_lines`.
    step : float
        Distance between columns [mm].
    reach : int
        Columns over which a flank's slope is taken.

    Returns
    -------
    ndarray, shape (k,)
        Height times run, both flanks together [N/mm].
    """
    out = np.zeros(len(pressure))
    last = pressure.shape[1] - 1
    for i in range(len(pressure)):
        begin, end = extent[i]
        if end == begin:
            continue
        for edge, inner, room in (
            (begin, min(begin + reach, last), begin * step),
            (end - 1, max(end - 1 - reach, 0), (last - (end - 1)) * step),
        ):
            height = pressure[i, edge]
            above = pressure[i, inner] if begin <= inner < end else 0.0
            slope = max((above - height) / (reach * step), 1.0)
            if height > 0.0:
                out[i] += height * min(height / slope, room)
    return out


@njit(cache=True, nogil=True, error_model="numpy")
def unseen_lines(
    pressure: FloatArray, share: FloatArray, extent: IntArray, limits: tuple[float, float, float, float]
) -> BoolArray:
    """Return which windows do not show their line: too little of it, not its crown, or not a flank.

    Parameters
    ----------
    pressure : ndarray, shape (k, m)
        Pressure [MPa].
    share : ndarray, shape (k, m)
        Share of the window that is seen [1].
    extent : ndarray of int, shape (k, 2)
        From `tell_lines`.
    limits : tuple of float
        Least mean share of the line, or of a window without one; share below which a place is unseen;
        largest part of the line's width that may be unseen; and largest part of the crown's pressure that
        may stand at an edge beyond which nothing is seen [1].

    Returns
    -------
    ndarray of bool, shape (k,)
        Windows whose line is not shown.
    """
    usable, seen, most, flank = limits
    out = np.zeros(len(pressure), np.bool_)
    for i in range(len(pressure)):
        begin, end = extent[i]
        if end == begin:
            out[i] = np.mean(share[i]) < usable
            continue
        width = end - begin
        total = np.sum(share[i, begin:end])
        unseen = np.sum(share[i, begin:end] < seen)
        thin = total < usable * width or unseen > most * width
        out[i] = thin or _cut_off(pressure[i], share[i], (begin, end), flank)
    return out


@njit(cache=True, nogil=True, error_model="numpy")
def _cut_off(pressure: FloatArray, share: FloatArray, extent: tuple[int, int], flank: float) -> bool:
    """Tell whether the line still presses where film ends or a mark begins."""
    begin, end = extent
    limit = flank * max(np.max(pressure[begin:end]), 0.0)
    for edge, beyond in ((begin, begin - 1), (end - 1, end)):
        blind = beyond < 0 or beyond >= pressure.size or share[min(max(beyond, 0), pressure.size - 1)] <= 0.5
        if blind and pressure[edge] > limit:
            return True
    return False
