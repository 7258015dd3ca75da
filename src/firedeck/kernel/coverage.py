"""Share of every square of a raster that lies inside polygons, exact for straight edges."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from numba import njit

__all__ = ["covered"]

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]


def covered(points: Floats, starts: Ints, shape: tuple[int, int]) -> Floats:
    """Return the covered share of every square.

    Every edge adds the area between itself and the far end of its rows; what edges add along a row
    sums up to the share inside.

    Parameters
    ----------
    points : ndarray, shape (n, 2)
        Corners of closed rings, outer ones counter-clockwise, holes clockwise, in squares from the
        corner of the raster and inside it [1].
    starts : ndarray of int, shape (rings + 1,)
        Where each ring begins; its last corner repeats its first.
    shape : tuple of int
        Squares along x and along y.

    Returns
    -------
    ndarray, shape `shape`
        Shares from 0 to 1.
    """
    steps = np.zeros((shape[0], shape[1] + 2))
    for ring in range(len(starts) - 1):
        _add_edges(points[starts[ring] : starts[ring + 1]], steps)
    out = np.empty(shape)
    _sum_up(steps, out)
    return out


@njit(cache=True, nogil=True)
def _sum_up(steps: Floats, out: Floats) -> None:
    for row in range(len(out)):
        inside = 0.0
        for square in range(out.shape[1]):
            inside += steps[row, square]
            out[row, square] = min(max(inside, 0.0), 1.0)


@njit(cache=True, nogil=True)
def _add_edges(ring: Floats, steps: Floats) -> None:
    for k in range(len(ring) - 1):
        low, high, sense = ring[k], ring[k + 1], 1.0
        if low[0] > high[0]:
            low, high, sense = high, low, -1.0
        if low[0] == high[0]:
            continue
        slope = (high[1] - low[1]) / (high[0] - low[0])
        last = min(len(steps), int(np.ceil(high[0])))
        for row in range(max(0, int(np.floor(low[0]))), last):
            start, end = max(low[0], float(row)), min(high[0], float(row + 1))
            y0, y1 = low[1] + slope * (start - low[0]), low[1] + slope * (end - low[0])
            _add_piece(steps[row], min(y0, y1), max(y0, y1), sense * (end - start))


@njit(cache=True, nogil=True)
def _add_piece(steps: Floats, near: float, far: float, width: float) -> None:
    """Add a straight piece within one row, from `near` to `far`; all squares beyond it are inside."""
    last = len(steps) - 2
    first = min(max(int(np.floor(near)), 0), last)
    before, area = 0.0, _beyond(float(first), near, far)
    for square in range(first, last + 1):
        reached = _beyond(float(square + 1), near, far)
        steps[square] += width * (reached - area - before)
        before, area = reached - area, reached
        if square >= far:
            break


@njit(cache=True, nogil=True)
def _beyond(end: float, near: float, far: float) -> float:
    """Return the mean length between a piece and an end of squares [squares]."""
    if end <= near:
        return 0.0
    if end >= far:
        return end - 0.5 * (near + far)
    return 0.5 * (end - near) ** 2 / (far - near)
