"""Fronts of the multifrontal elimination: gathering, assembling, adding up."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt
from numba import njit

from firedeck.kernel.dense import eliminate_rows

__all__ = ["add_loads", "add_update", "assemble", "eliminate_front", "multiply", "neighbours_left"]

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]


@njit(cache=True, nogil=True)
def neighbours_left(
    pivots: Ints,
    places: Ints,
    numbers: npt.NDArray[np.int32],
    rank: Ints,
    past: int,
    loads: tuple[Ints, Ints],
    stamp: npt.NDArray[np.int32],
    mark: int,
    found: Ints,
    count: int,
) -> int:
    """Add to `found` the ranks coupled to the pivots that are not eliminated with or before them.

    Parameters
    ----------
    pivots : ndarray of int
        Node numbers of the group.
    places : ndarray of int, shape (nodes, 3)
        Grid indices of every node, counted with a rim of one.
    numbers : ndarray of int32, shape (nx, ny, nz)
        Node number at each place of the rimmed grid, -1 where there is none.
    rank : ndarray of int, shape (nodes, 3)
        Place of each freedom in the elimination, -1 for a held one.
    past : int
        First rank that is left after this group.
    loads : tuple of ndarray of int
        Per node the start in a list of ranks of load columns, and the list.
    stamp : ndarray of int32
        Last mark of every rank, changed in place.
    mark : int
        Mark of this group.
    found : ndarray of int
        Ranks found so far, changed in place.
    count : int
        How many there are.

    Returns
    -------
    int
        How many there are now.
    """
    starts, columns = loads
    for node in pivots:
        i, j, k = places[node, 0], places[node, 1], places[node, 2]
        for di in range(-1, 2):
            for dj in range(-1, 2):
                for dk in range(-1, 2):
                    other = numbers[i + di, j + dj, k + dk]
                    if other < 0:
                        continue
                    for axis in range(3):
                        r = rank[other, axis]
                        if r >= past and stamp[r] != mark:
                            stamp[r] = mark
                            found[count] = r
                            count += 1
        for at in range(starts[node], starts[node + 1]):
            r = columns[at]
            if stamp[r] != mark:
                stamp[r] = mark
                found[count] = r
                count += 1
    return count


@njit(cache=True, nogil=True)
def assemble(
    front: Floats,
    place_of: npt.NDArray[np.int32],
    rows: tuple[Ints, int, int],
    places: Ints,
    numbers: npt.NDArray[np.int32],
    rank: Ints,
    cells: npt.NDArray[np.int32],
    matrices: Floats,
) -> None:
    """Add the stiffness rows of some freedoms to the lower triangle of a front.

    Parameters
    ----------
    front : ndarray, shape (n, k), columns in memory one after the other
        The front's first columns, those of the freedoms, changed in place.
    place_of : ndarray of int32
        Place in the front of every rank, -1 for those not in it.
    rows : tuple
        Node numbers, and the first and last-but-one rank whose rows are added.
    places, numbers, rank
        As for `neighbours_left`.
    cells : ndarray of int32, shape (nx - 1, ny - 1, nz - 1)
        Number of the element matrix of every cell of the rimmed grid, -1 where it is empty.
    matrices : ndarray, shape (m, 24, 24)
        Element matrices.
    """
    nodes, first, past = rows
    for node in nodes:
        i, j, k = places[node, 0], places[node, 1], places[node, 2]
        for corner in range(8):
            a, b, c = corner & 1, (corner >> 1) & 1, corner >> 2
            pattern = cells[i - a, j - b, k - c]
            if pattern < 0:
                continue
            for axis in range(3):
                r = rank[node, axis]
                if r < first or r >= past:
                    continue
                column = place_of[r]
                for other in range(8):
                    at = numbers[i - a + (other & 1), j - b + ((other >> 1) & 1), k - c + (other >> 2)]
                    for toward in range(3):
                        s = rank[at, toward]
                        if s < 0:
                            continue
                        row = place_of[s]
                        if row >= column:
                            front[row, column] += matrices[pattern, 3 * other + toward, 3 * corner + axis]


@njit(cache=True, nogil=True)
def add_loads(
    front: Floats,
    place_of: npt.NDArray[np.int32],
    rows: tuple[Ints, int, int],
    rank: Ints,
    loads: tuple[Ints, Ints, Floats],
) -> None:
    """Subtract the loads on some freedoms where their columns stand in the front.

    Parameters
    ----------
    front, place_of, rows, rank
        As for `assemble`.
    loads : tuple
        Per node the start in the lists, ranks of the load columns, and loads, shape (entries, 3).
    """
    nodes, first, past = rows
    starts, columns, values = loads
    for node in nodes:
        for axis in range(3):
            r = rank[node, axis]
            if r < first or r >= past:
                continue
            for at in range(starts[node], starts[node + 1]):
                row, column = place_of[columns[at]], place_of[r]
                front[max(row, column), min(row, column)] -= values[at, axis]


@njit(cache=True, nogil=True)
def _ends_of_runs(place: Ints) -> Ints:
    """Return for every row where the run of places one after the other ends that it lies in."""
    ends = np.empty(len(place), dtype=np.int64)
    end = len(place)
    for row in range(len(place) - 1, -1, -1):
        if row + 1 < len(place) and place[row + 1] != place[row] + 1:
            end = row + 1
        ends[row] = end
    return ends


@njit(cache=True, nogil=True)
def add_update(front: Floats, update: Floats, place: Ints, first: int, past: int, shift: int) -> None:
    """Add some columns of the lower triangle of a child's update to a front, or to a part of it.

    Parameters
    ----------
    front : ndarray, shape (n, k), columns in memory one after the other
        The part of the front, changed in place.
    update : ndarray, shape (m, m), columns in memory one after the other
        What the child leaves.
    place : ndarray of int, shape (m,)
        Rising place in the front of every row of the update.
    first, past : int
        Columns of the update that are added.
    shift : int
        Place in the front at which the part begins, in rows and in columns.
    """
    ends = _ends_of_runs(place)
    for column in range(first, past):
        into, left = front[:, place[column] - shift], update[:, column]
        row = column
        while row < len(place):
            end, at = ends[row], place[row] - shift
            # Slices, so that the inner loop runs over memory without a look at each index.
            to, added = into[at : at + end - row], left[row:end]
            for i in range(len(added)):
                to[i] += added[i]
            row = end


def eliminate_front(panel: Floats, children: Sequence[tuple[Ints, Floats]]) -> Floats | None:
    """Add what its children leave to a front, eliminate its first rows, and return what is left of it.

    Parameters
    ----------
    panel : ndarray, shape (n, k), columns in memory one after the other
        First columns of the front, of the rows that are eliminated, with what the matrix holds there;
        lower triangle used, changed in place. The matrix holds nothing beyond them.
    children : sequence of (ndarray of int, ndarray)
        Places in the front, rising, and lower triangles of what the children leave.

    Returns
    -------
    ndarray, shape (n - k, n - k), or None
        What is left, lower triangle only; nothing where the rows were not positive definite.
    """
    pivots = panel.shape[1]
    splits = [int(np.searchsorted(place, pivots)) for place, _ in children]
    for (place, update), split in zip(children, splits, strict=True):
        add_update(panel, update, place, 0, split, 0)
    left = eliminate_rows(panel)
    if left is None:
        return None
    for (place, update), split in zip(children, splits, strict=True):
        add_update(left, update, place, split, len(place), pivots)
    return left


@njit(cache=True, nogil=True)
def multiply(
    vectors: Floats,
    places: Ints,
    numbers: npt.NDArray[np.int32],
    cells: npt.NDArray[np.int32],
    matrices: Floats,
) -> Floats:
    """Return stiffness times displacements, shape (nodes, 3, k), element by element.

    Parameters
    ----------
    vectors : ndarray, shape (nodes, 3, k)
        Displacements [mm].
    places, numbers, cells, matrices
        As for `assemble`.
    """
    out = np.zeros_like(vectors)
    for node in range(len(places)):
        i, j, k = places[node, 0], places[node, 1], places[node, 2]
        for corner in range(8):
            a, b, c = corner & 1, (corner >> 1) & 1, corner >> 2
            pattern = cells[i - a, j - b, k - c]
            if pattern < 0:
                continue
            for other in range(8):
                at = numbers[i - a + (other & 1), j - b + ((other >> 1) & 1), k - c + (other >> 2)]
                for axis in range(3):
                    for toward in range(3):
                        factor = matrices[pattern, 3 * corner + axis, 3 * other + toward]
                        for column in range(vectors.shape[2]):
                            out[node, axis, column] += factor * vectors[at, toward, column]
    return out
