"""What stands in the fronts of a body of bricks: ranks its nodes are coupled to, stiffness, loads."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import numpy.typing as npt
from numba import njit

from firedeck.kernel.elimination import gathered

__all__ = ["RankedBricks", "add_loads", "assemble", "links", "multiply", "neighbours_left", "rows_met"]

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Small = npt.NDArray[np.int32]


class RankedBricks(NamedTuple):
    """Bricks and loads, with the place of every freedom in the elimination.

    Attributes
    ----------
    rank : ndarray of int, shape (nodes, 3)
        Rank of each freedom, -1 for a held one [1].
    begins, corners : ndarray of int
        Per node the start in a list, and the list: eight times a brick plus the node's corner of it [1].
    elements : ndarray of int32, shape (m, 8)
        Nodes of every brick [1].
    kinds : ndarray of int32, shape (m,)
        Number of the element matrix of every brick [1].
    matrices : ndarray, shape (kinds, 24, 24)
        Element matrices, symmetric [N/mm].
    starts, columns : ndarray of int
        Per node the start in a list, and the list: ranks of the columns of its loads [1].
    values : ndarray, shape (entries, 3)
        The loads [N].
    """

    rank: Ints
    begins: Ints
    corners: Ints
    elements: Small
    kinds: Small
    matrices: Floats
    starts: Ints
    columns: Ints
    values: Floats


@njit(cache=True, nogil=True)
def links(begins: Ints, corners: Ints, elements: Small) -> tuple[Ints, Small]:
    """Return which nodes share a brick: where each one's neighbours begin, and these.

    Parameters
    ----------
    begins, corners, elements
        As for `RankedBricks`.
    """
    count = len(begins) - 1
    starts, stamp = np.zeros(count + 1, dtype=np.int64), np.full(count, -1, dtype=np.int64)
    # Seven other corners to a brick are more than enough.
    found, total = np.empty(7 * len(corners), dtype=np.int32), 0
    for node in range(count):
        stamp[node] = node
        for met in range(begins[node], begins[node + 1]):
            for other in elements[corners[met] // 8]:
                if stamp[other] != node:
                    stamp[other] = node
                    found[total] = other
                    total += 1
        starts[node + 1] = total
    return starts, found[:total].copy()


@njit(cache=True, nogil=True)
def neighbours_left(
    nodes: Ints, bricks: RankedBricks, past: int, stamp: Ints, mark: int, found: Ints, count: int
) -> int:
    """Add to what is found the ranks coupled to some nodes and not eliminated before `past`.

    Parameters
    ----------
    nodes : ndarray of int
        Node numbers of a group.
    bricks : RankedBricks
        The body.
    past, stamp, mark, found, count
        As for `gathered`.

    Returns
    -------
    int
        How many there are now.
    """
    for node in nodes:
        for met in range(bricks.begins[node], bricks.begins[node + 1]):
            for other in bricks.elements[bricks.corners[met] // 8]:
                count = gathered(bricks.rank[other], past, stamp, mark, found, count)
        loads = bricks.columns[bricks.starts[node] : bricks.starts[node + 1]]
        count = gathered(loads, past, stamp, mark, found, count)
    return count


@njit(cache=True, nogil=True)
def assemble(front: Floats, place_of: Ints, nodes: Ints, first: int, past: int, bricks: RankedBricks) -> None:
    """Add the stiffness of some freedoms to a front.

    Parameters
    ----------
    front : ndarray, shape (k, n)
        The front's first columns, those of the freedoms, one to a row; changed in place from the diagonal on.
    place_of : ndarray of int
        Place in the front of every rank that is in it.
    nodes : ndarray of int
        Node numbers.
    first, past : int
        Ranks of the freedoms of these nodes that are meant: from the first to before the last.
    bricks : RankedBricks
        The body.
    """
    for node in nodes:
        for met in range(bricks.begins[node], bricks.begins[node + 1]):
            brick, corner = bricks.corners[met] // 8, bricks.corners[met] % 8
            matrix = bricks.matrices[bricks.kinds[brick]]
            for axis in range(3):
                rank = bricks.rank[node, axis]
                if rank < first or rank >= past:
                    continue
                column = place_of[rank]
                into, added = front[column], matrix[3 * corner + axis]
                for other in range(8):
                    at = bricks.elements[brick, other]
                    for toward in range(3):
                        coupled = bricks.rank[at, toward]
                        if coupled >= rank:
                            into[place_of[coupled]] += added[3 * other + toward]


@njit(cache=True, nogil=True)
def add_loads(
    front: Floats, place_of: Ints, nodes: Ints, first: int, past: int, bricks: RankedBricks
) -> None:
    """Subtract the loads on some freedoms where their columns stand in the front.

    Parameters
    ----------
    front, place_of, nodes, first, past, bricks
        As for `assemble`.
    """
    for node in nodes:
        for axis in range(3):
            rank = bricks.rank[node, axis]
            if rank < first or rank >= past:
                continue
            into = front[place_of[rank]]
            for at in range(bricks.starts[node], bricks.starts[node + 1]):
                into[place_of[bricks.columns[at]]] -= bricks.values[at, axis]


@njit(cache=True, nogil=True)
def multiply(
    vectors: Floats,
    elements: Small,
    kinds: Small,
    matrices: Floats,
) -> Floats:
    """Return stiffness times displacements, shape (nodes, 3, k), element by element.

    Parameters
    ----------
    vectors : ndarray, shape (nodes, 3, k)
        Displacements [mm].
    elements, kinds, matrices
        As for `RankedBricks`.
    """
    out = np.zeros_like(vectors)
    moved, force = np.empty(24), np.empty(24)
    for brick in range(len(elements)):
        matrix, nodes = matrices[kinds[brick]], elements[brick]
        for column in range(vectors.shape[2]):
            for corner in range(8):
                for axis in range(3):
                    moved[3 * corner + axis] = vectors[nodes[corner], axis, column]
            force[:] = 0.0
            for freedom in range(24):
                factor = moved[freedom]
                for other in range(24):
                    force[other] += matrix[freedom, other] * factor
            for corner in range(8):
                for axis in range(3):
                    out[nodes[corner], axis, column] += force[3 * corner + axis]
    return out


@njit(cache=True, nogil=True)
def rows_met(rows: Floats) -> Ints:
    """Return the numbers of the rows, of shape (n, 3), that hold anything but zeros, rising."""
    found, count = np.empty(len(rows), dtype=np.int64), 0
    for row in range(len(rows)):
        if rows[row, 0] != 0.0 or rows[row, 1] != 0.0 or rows[row, 2] != 0.0:
            found[count] = row
            count += 1
    return found[:count].copy()
