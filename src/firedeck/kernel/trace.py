"""Array work on crank-resolved pressure: unwrapping, folding into cycles, pegging, peaks, work."""

from __future__ import annotations

import math

import numba as nb
import numpy as np
from numpy.typing import NDArray

__all__ = [
    "cycle_peaks",
    "fold_cycles",
    "mark_edges",
    "polytropic_offsets",
    "unwrap_angles",
    "window_amplitudes",
]

Floats = NDArray[np.float64]


@nb.njit(cache=True, nogil=True)
def unwrap_angles(angles: Floats, period: float) -> Floats:
    """Make a crank angle that starts over every `period` run on.

    Parameters
    ----------
    angles : ndarray
        Angles as recorded [deg], shape (n,).
    period : float
        Where the record starts over [deg].

    Returns
    -------
    ndarray
        Running angles [deg], shape (n,).
    """
    running = np.empty(angles.size)
    turns = 0.0
    for i in range(angles.size):
        if i > 0 and angles[i] - angles[i - 1] < -0.5 * period:
            turns += period
        running[i] = angles[i] + turns
    return running


@nb.njit(cache=True, nogil=True)
def mark_edges(time: Floats, signal: Floats, low: float, high: float) -> Floats:
    """Find when a signal rises through the middle of `low` and `high` after having been low.

    Parameters
    ----------
    time : ndarray
        Times [s], shape (n,).
    signal : ndarray
        Signal of a crank wheel, any unit, shape (n,).
    low, high : float
        Levels of hysteresis, in the signal's unit.

    Returns
    -------
    ndarray
        Interpolated times of the rising edges [s].
    """
    edges = np.empty(signal.size)
    count = 0
    armed = False
    middle = 0.5 * (low + high)
    crossing = math.nan
    for i in range(1, signal.size):
        if signal[i] < low:
            armed = True
        if signal[i - 1] < middle <= signal[i]:
            part = (middle - signal[i - 1]) / (signal[i] - signal[i - 1])
            crossing = time[i - 1] + part * (time[i] - time[i - 1])
        if armed and signal[i] > high:
            edges[count] = crossing
            count += 1
            armed = False
    return edges[:count].copy()


@nb.njit(cache=True, nogil=True)
def fold_cycles(
    angles: Floats, values: Floats, first: float, count: int, grid: Floats
) -> tuple[Floats, Floats]:
    """Cut a running record into cycles on a common grid by linear interpolation.

    Parameters
    ----------
    angles : ndarray
        Running angles, rising [deg], shape (n,).
    values : ndarray
        What was recorded, shape (n,).
    first : float
        Running angle of the first cycle's zero [deg].
    count : int
        Cycles of 720 deg.
    grid : ndarray
        Crank angles within a cycle [deg], rising, shape (m,).

    Returns
    -------
    tuple of ndarray
        Cycles, shape (count, m), and the widest gap of the record within each [deg], shape (count,).
    """
    cycles = np.empty((count, grid.size))
    gaps = np.zeros(count)
    place = 0
    last = angles.size - 2
    for c in range(count):
        for k in range(grid.size):
            wanted = first + 720.0 * c + grid[k]
            while place < last and angles[place + 1] <= wanted:
                place += 1
            step = angles[place + 1] - angles[place]
            part = (wanted - angles[place]) / step
            cycles[c, k] = values[place] + part * (values[place + 1] - values[place])
            gaps[c] = max(gaps[c], step)
    return cycles, gaps


@nb.njit(cache=True, nogil=True)
def polytropic_offsets(cycles: Floats, shape: Floats, start: int, stop: int) -> tuple[Floats, Floats]:
    """Shift of each cycle that makes its compression follow p V^n = const.

    Least squares of p + shift = C shape over columns `start` to `stop`.

    Parameters
    ----------
    cycles : ndarray
        Recorded pressure [MPa], shape (c, m).
    shape : ndarray
        V^-n in any scale, shape (m,).
    start, stop : int
        Columns of the window.

    Returns
    -------
    tuple of ndarray
        Shift to be added to each cycle [MPa] and root mean square misfit [MPa], shape (c,).
    """
    count = stop - start
    mean_shape = np.mean(shape[start:stop])
    spread = 0.0
    for k in range(start, stop):
        spread += (shape[k] - mean_shape) ** 2
    shifts, misfits = np.empty(cycles.shape[0]), np.empty(cycles.shape[0])
    for c in range(cycles.shape[0]):
        mean = 0.0
        cross = 0.0
        for k in range(start, stop):
            mean += cycles[c, k]
            cross += cycles[c, k] * (shape[k] - mean_shape)
        mean /= count
        slope = cross / spread
        shifts[c] = slope * mean_shape - mean
        square = 0.0
        for k in range(start, stop):
            square += (cycles[c, k] + shifts[c] - slope * shape[k]) ** 2
        misfits[c] = math.sqrt(square / count)
    return shifts, misfits


@nb.njit(cache=True, nogil=True)
def cycle_peaks(cycles: Floats, grid: Floats, start: int, stop: int) -> tuple[Floats, Floats]:
    """Highest value of each cycle and its angle, by a parabola through the three highest points.

    Parameters
    ----------
    cycles : ndarray
        Values, shape (c, m).
    grid : ndarray
        Evenly spaced angles [deg], shape (m,).
    start, stop : int
        Columns to look in.

    Returns
    -------
    tuple of ndarray
        Peaks, in the unit of `cycles`, and angles [deg], shape (c,).
    """
    peaks, angles = np.empty(cycles.shape[0]), np.empty(cycles.shape[0])
    step = grid[1] - grid[0]
    for c in range(cycles.shape[0]):
        k = start + int(np.argmax(cycles[c, start:stop]))
        peaks[c], angles[c] = cycles[c, k], grid[k]
        if 0 < k < grid.size - 1:
            before, here, after = cycles[c, k - 1], cycles[c, k], cycles[c, k + 1]
            bend = before - 2.0 * here + after
            if bend < 0.0:
                shift = 0.5 * (before - after) / bend
                peaks[c] = here - 0.25 * (before - after) * shift
                angles[c] = grid[k] + shift * step
    return peaks, angles


@nb.njit(cache=True, nogil=True)
def window_amplitudes(cycles: Floats, start: int, stop: int) -> Floats:
    """Largest absolute value of each cycle between two columns; shape (c,), unit of `cycles`."""
    amplitudes = np.empty(cycles.shape[0])
    for c in range(cycles.shape[0]):
        amplitudes[c] = np.max(np.abs(cycles[c, start:stop]))
    return amplitudes
