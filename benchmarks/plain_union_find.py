"""The plain way to the same answer: sort all cells, join each with its lower neighbours."""

from __future__ import annotations

from typing import TypeAlias

import numpy as np
from numba import njit
from numpy.typing import NDArray

__all__ = ["plain_saddles"]

Ints: TypeAlias = NDArray[np.int32]
Floats: TypeAlias = NDArray[np.float64]


def plain_saddles(pressure: NDArray[np.float32], media: NDArray[np.int32]) -> NDArray[np.float64]:
    """Saddle of every pair of media, each of which must hang together; shape (K, K) [MPa]."""
    rows, cols = media.shape
    free = np.full((rows + 2, cols + 2), np.inf, np.float32)
    free[1:-1, 1:-1] = np.where(media > 0, np.float32(0.0), pressure)
    labels = np.pad(media, 1)
    return _join_in_order(
        np.argsort(free, axis=None, kind="stable")[: rows * cols], free.ravel(), labels.ravel(), cols + 2
    )


@njit
def _join_in_order(order: Ints, free: Floats, labels: Ints, stride: int) -> Floats:
    count = labels.max()
    heights = np.zeros((count, count))
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
                    _join(heights, parent, holds, row_of, one, other, free[cell])
    return heights


@njit
def _root(parent: Ints, cell: int) -> int:
    while parent[cell] != cell:
        parent[cell] = parent[parent[cell]]
        cell = parent[cell]
    return cell


@njit
def _join(
    heights: Floats, parent: Ints, holds: Ints, row_of: Ints, one: int, other: int, height: float
) -> None:
    mine, theirs = row_of[one], row_of[other]
    parent[one] = other
    row_of[other] = max(mine, theirs)
    if mine > 0 and theirs > 0 and mine != theirs:
        for a in range(1, len(holds)):
            for b in range(1, len(holds)):
                if holds[mine, a] and holds[theirs, b]:
                    heights[a - 1, b - 1] = heights[b - 1, a - 1] = height
        holds[row_of[other]] |= holds[mine] | holds[theirs]
