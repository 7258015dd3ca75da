"""The shortest route through the cells of a map that a fluid may enter."""

from __future__ import annotations

import numpy as np
from numba import njit

from firedeck.kernel.breach_sets import Ints

__all__ = ["CLOSED", "ENTERED", "LEFT", "OPEN", "route_from"]

#: What a cell is to a route: not to be entered, free, of the medium it leaves, of the one it enters.
CLOSED, OPEN, LEFT, ENTERED = 0, 1, 2, 3

# A step to the side and one across a corner: 17/12 is the square root of two to 0.2 %.
_STRAIGHT, _ACROSS = 12, 17
# The eight steps: four to the side, then four across a corner.
_ROWS = (-1, 0, 0, 1, -1, -1, 1, 1)
_COLS = (0, -1, 1, 0, -1, 1, -1, 1)
# A step can raise the estimate of the whole length by twice its own, no more.
_SHELVES = 64
_EMPTY = -1


def route_from(cell: tuple[int, int], state: Ints) -> Ints | None:
    """Shortest route from one medium to another that runs through a given cell.

    Parameters
    ----------
    cell : tuple of int
        Row and column of the cell, in the padded array.
    state : (rows + 2, cols + 2) uint8 array
        `CLOSED`, `OPEN`, `LEFT` or `ENTERED` for each cell, with a closed margin of one cell.

    Returns
    -------
    (n,) int64 array or None
        Flat indices into `state`, from a cell of the medium left to one of the medium
        entered, none of them twice; None when the cell does not reach both.
    """
    start = cell[0] * state.shape[1] + cell[1]
    leaving, entering = _half(start, state, LEFT), _half(start, state, ENTERED)
    if len(leaving) == 0 or len(entering) == 0:
        return None
    route = np.concatenate([leaving[:0:-1], entering])
    return _without_loops(route) if len(np.unique(route)) < len(route) else route


def _half(start: int, state: Ints, goal: int) -> Ints:
    """Shortest route from a cell to a medium; empty when there is none."""
    rows, cols = (np.flatnonzero((state == goal).any(axis=axis)) for axis in (1, 0))
    if len(rows) == 0:
        return np.empty(0, np.int64)
    box = np.array([rows[0], rows[-1], cols[0], cols[-1]])
    stride = state.shape[1]
    steps = np.array(_ROWS) * stride + np.array(_COLS)
    marks, length = state.ravel().copy(), np.zeros(state.size, np.int32)
    end = _search(marks, length, start, goal, box, steps, stride)
    return _walk_back(length, end, steps) if end >= 0 else np.empty(0, np.int64)


def _without_loops(route: Ints) -> Ints:
    last = {cell: i for i, cell in enumerate(route)}
    kept, i = [], 0
    while i < len(route):
        kept.append(route[i])
        i = last[route[i]] + 1
    return np.array(kept)


@njit(cache=True, nogil=True)
def _search(marks: Ints, length: Ints, start: int, goal: int, box: Ints, steps: Ints, stride: int) -> int:
    """Search from a cell for the nearest of a medium, nearest to its box first; -1 if there is none.

    `length` receives one more than the length to each cell reached, and `marks` turns to
    `CLOSED` where that length is final. As lengths are whole numbers and the estimates of
    the cells in hand lie within a narrow span, shelves by estimate replace a heap; of those
    on one shelf the last comes first, which keeps the search going ahead.
    """
    shelves = np.full(_SHELVES, _EMPTY, np.int64)
    slips = np.empty((1024, 2), np.int64)  # a cell, and the slip below it on the shelf
    stock = np.array([_EMPTY, 0])  # the slip last freed, and the number ever used
    length[start] = 1
    level = 1 + _to_box(start // stride, start % stride, box)
    slips = _shelve(shelves, slips, stock, level, start)
    last = level + _SHELVES
    while level < last:
        cell = _take(shelves, slips, stock, level)
        if cell == _EMPTY:
            level += 1
            continue
        last = level + _SHELVES
        if marks[cell] == goal:
            return int(cell)
        if marks[cell] == CLOSED:
            continue
        marks[cell] = CLOSED
        row, col = cell // stride, cell % stride
        for k, step in enumerate(steps):
            beyond, offer = cell + step, length[cell] + (_STRAIGHT if k < 4 else _ACROSS)
            fit = marks[beyond] == OPEN or marks[beyond] == goal
            if fit and (length[beyond] == 0 or length[beyond] > offer):
                length[beyond] = offer
                estimate = offer + _to_box(row + _ROWS[k], col + _COLS[k], box)
                slips = _shelve(shelves, slips, stock, estimate, beyond)
    return -1


@njit(cache=True, nogil=True)
def _shelve(shelves: Ints, slips: Ints, stock: Ints, level: int, cell: int) -> Ints:
    slip = stock[0]
    if slip != _EMPTY:
        stock[0] = slips[slip, 1]
    else:
        slip = stock[1]
        stock[1] += 1
        if slip == len(slips):
            grown = np.empty((2 * len(slips), 2), np.int64)
            grown[: len(slips)] = slips
            slips = grown
    slips[slip, 0], slips[slip, 1] = cell, shelves[level % _SHELVES]
    shelves[level % _SHELVES] = slip
    return slips


@njit(cache=True, nogil=True)
def _take(shelves: Ints, slips: Ints, stock: Ints, level: int) -> int:
    """Take the last cell from a shelf; `_EMPTY` when it holds none."""
    slip = shelves[level % _SHELVES]
    if slip == _EMPTY:
        return _EMPTY
    shelves[level % _SHELVES] = slips[slip, 1]
    slips[slip, 1], stock[0] = stock[0], slip
    return int(slips[slip, 0])


@njit(cache=True, nogil=True)
def _to_box(row: int, col: int, box: Ints) -> int:
    """Length from a cell to a box were nothing in the way."""
    rows = max(box[0] - row, row - box[1], 0)
    cols = max(box[2] - col, col - box[3], 0)
    return int(_STRAIGHT * max(rows, cols) + (_ACROSS - _STRAIGHT) * min(rows, cols))


@njit(cache=True, nogil=True)
def _walk_back(length: Ints, end: int, steps: Ints) -> Ints:
    """Cells from the start of a search to its end, each the one that gave the next its length."""
    route = [end]
    while length[route[-1]] > 1:
        cell = route[-1]
        for k, step in enumerate(steps):
            before = length[cell] - (_STRAIGHT if k < 4 else _ACROSS)
            if before > 0 and length[cell + step] == before:
                route.append(cell + step)
                break
    return np.array(route[::-1])
