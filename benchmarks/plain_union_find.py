"""The plain way to the same answer: sort all cells, join each with its lower neighbours."""

from __future__ import annotations

from typing import TypeAlias

import numpy as np
from numba import njit
from numpy.typing import NDArray

__all__ = ["plain_saddles"]

Ints: TypeAlias = NDArray[np.int64]
Labels: TypeAlias = NDArray[np.int32]
Map: TypeAlias = NDArray[np.float32]
Floats: TypeAlias = NDArray[np.float64]


def plain_saddles(pressure: Map, media: Labels) -> tuple[Floats, Ints]:
    """Saddle of every pair of media, each of which must hang together.

    Returns
    -------
    heights : ndarray, shape (K, K)
        Heights of the saddles [MPa].
    cells : ndarray of int, shape (K, K, 2)
        Row and column of the cell that decides each.
    """
    rows, cols = media.shape
    free = np.full((rows + 2, cols + 2), np.inf, np.float32)
    free[1:-1, 1:-1] = np.where(media > 0, np.float32(0.0), pressure)
    heights, cells = _join_in_order(_order(free.ravel()), free.ravel(), np.pad(media, 1).ravel(), cols + 2)
    return heights, np.stack([cells // (cols + 2) - 1, cells % (cols + 2) - 1], axis=-1)


def _order(free: Map) -> Ints:
    """Return the cells that a path may enter from the lowest up; most are zero and need no sorting."""
    open_ground, pressed = np.flatnonzero(free == 0), np.flatnonzero((free > 0) & np.isfinite(free))
    return np.concatenate([open_ground, pressed[np.argsort(free[pressed])]])


@njit(cache=True)
def _join_in_order(order: Ints, free: Map, labels: Labels, stride: int) -> tuple[Floats, Ints]:
    count = labels.max()
    heights = np.zeros((count, count))
    cells = np.zeros((count, count), np.int64)
    parent = np.full(len(free), -1, np.int32)
    holds = np.eye(count + 1) > 0
    row_of = np.zeros(len(free), np.int32)
    neighbours = np.array([-stride - 1, -stride, -stride + 1, -1, 1, stride - 1, stride, stride + 1])
    for cell in order:
        parent[cell] = cell
        row_of[cell] = labels[cell]
        for step in neighbours:
            if parent[cell + step] >= 0:
                one, other = _root(parent, cell), _root(parent, cell + step)
                if one != other:
                    _join(heights, cells, parent, holds, row_of, one, other, free[cell], cell)
    return heights, cells


@njit(cache=True)
def _root(parent: Labels, cell: int) -> int:
    while parent[cell] != cell:
        parent[cell] = parent[parent[cell]]
        cell = parent[cell]
    return cell


@njit(cache=True)
def _join(
    heights: Floats,
    cells: Ints,
    parent: Labels,
    holds: NDArray[np.bool_],
    row_of: Labels,
    one: int,
    other: int,
    height: float,
    cell: int,
) -> None:
    mine, theirs = row_of[one], row_of[other]
    parent[one] = other
    row_of[other] = max(mine, theirs)
    if mine > 0 and theirs > 0 and mine != theirs:
        for a in range(1, len(holds)):
            for b in range(1, len(holds)):
                if holds[mine, a] and holds[theirs, b]:
                    heights[a - 1, b - 1] = heights[b - 1, a - 1] = height
                    cells[a - 1, b - 1] = cells[b - 1, a - 1] = cell
        holds[row_of[other]] |= holds[mine] | holds[theirs]
