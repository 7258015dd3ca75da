"""Join the bands of a map and read off the pair of media that each merge first connects."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numba import njit

from firedeck.kernel.breach_bands import Band
from firedeck.kernel.breach_sets import Floats, Ints, find, join, order_of

__all__ = ["first_connections"]


def first_connections(bands: Sequence[Band], count: int) -> tuple[Floats, Ints]:
    """Lowest height at which each pair of media is connected through open cells.

    Parameters
    ----------
    bands : sequence of Band
        All bands of the map, from its first row to its last.
    count : int
        Number of media K.

    Returns
    -------
    heights : (K, K) float64 array
        Height of the connection [MPa], infinite where there is none, 0 on the diagonal.
    cells : (K, K) int64 array
        Flat index in the map of the cell that decides it, -1 where there is none.
    """
    starts = np.cumsum([0, *(len(band.medium) for band in bands)])
    parent = np.arange(starts[-1], dtype=np.int32)
    for upper, lower, start, next_start in zip(bands, bands[1:], starts, starts[1:], strict=False):
        _identify(parent, upper.rims[3], lower.rims[0], start, next_start)
        _identify(parent, upper.rims[1], lower.rims[2], start, next_start)
    ends = np.concatenate([band.ends + start for band, start in zip(bands, starts, strict=False)])
    return _connect(
        parent,
        np.concatenate([band.medium for band in bands]),
        np.concatenate([band.heights for band in bands]),
        np.concatenate([band.cells for band in bands]),
        ends,
        np.concatenate([band.touches for band in bands]),
        count,
    )


@njit(cache=True, nogil=True)
def _identify(parent: Ints, upper: Ints, lower: Ints, upper_start: int, lower_start: int) -> None:
    """Make one node of the two that two neighbouring bands hold for the same cell."""
    for j in range(len(upper)):
        if upper[j] >= 0 and lower[j] >= 0:
            join(parent, find(parent, upper_start + upper[j]), find(parent, lower_start + lower[j]))


@njit(cache=True, nogil=True)
def _connect(
    parent: Ints, medium: Ints, heights: Floats, cells: Ints, ends: Ints, touches: Ints, count: int
) -> tuple[Floats, Ints]:
    lowest = np.full((count, count), np.inf)
    decides = np.full((count, count), -1, np.int64)
    for k in range(count):
        lowest[k, k] = 0.0
    for i in range(len(touches)):
        _record(lowest, decides, touches[i, 1] - 1, touches[i, 2] - 1, 0.0, touches[i, 0])
    slot, reach = _reach(parent, medium, count)
    for merge in order_of(heights):
        one, other = find(parent, ends[merge, 0]), find(parent, ends[merge, 1])
        if one == other:
            continue
        mine, theirs = slot[one], slot[other]
        root = join(parent, one, other)
        slot[root] = max(mine, theirs)
        if mine >= 0 and theirs >= 0:
            into = slot[root]
            _record_all(lowest, decides, reach[mine], reach[theirs], heights[merge], cells[merge])
            reach[into] |= reach[mine] | reach[theirs]
    return lowest, decides


@njit(cache=True, nogil=True)
def _reach(parent: Ints, medium: Ints, count: int) -> tuple[Ints, Ints]:
    """Row of each set in the table of the media it touches, -1 for none; and that table."""
    slot = np.full(len(parent), -1, np.int32)
    rows = 0
    for node in range(len(parent)):
        if medium[node] > 0 and slot[find(parent, node)] < 0:
            slot[find(parent, node)] = rows
            rows += 1
    reach = np.zeros((rows, count), np.bool_)
    for node in range(len(parent)):
        if medium[node] > 0:
            reach[slot[find(parent, node)], medium[node] - 1] = True
    return slot, reach


@njit(cache=True, nogil=True)
def _record_all(lowest: Floats, decides: Ints, mine: Ints, theirs: Ints, height: float, cell: int) -> None:
    for a in np.flatnonzero(mine):
        for b in np.flatnonzero(theirs):
            if a != b:
                _record(lowest, decides, int(a), int(b), height, cell)


@njit(cache=True, nogil=True)
def _record(lowest: Floats, decides: Ints, a: int, b: int, height: float, cell: int) -> None:
    if lowest[a, b] == np.inf:
        lowest[a, b] = lowest[b, a] = height
        decides[a, b] = decides[b, a] = cell
