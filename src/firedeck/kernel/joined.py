"""Things that hang together, and what squares of a plan they fill."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from numba import njit

__all__ = ["grouped", "joined", "met", "tallied"]

Ints = npt.NDArray[np.int64]


@njit(cache=True, nogil=True)
def joined(count: int, first: Ints, second: Ints) -> Ints:
    """Return for each of some things the first of those it hangs together with, shape (count,).

    Parameters
    ----------
    count : int
        How many things there are.
    first, second : ndarray of int, of one shape
        Pairs of things that are joined.
    """
    above = np.arange(count)
    for at in range(len(first)):
        one, other = _top(above, first[at]), _top(above, second[at])
        if one < other:
            above[other] = one
        else:
            above[one] = other
    for thing in range(count):
        # What stands above comes before, and has its own first already.
        above[thing] = above[above[thing]]
    return above


@njit(cache=True, nogil=True)
def _top(above: Ints, thing: int) -> int:
    while above[thing] != thing:
        above[thing] = above[above[thing]]
        thing = above[thing]
    return thing


@njit(cache=True, nogil=True)
def grouped(owners: npt.NDArray[np.integer], count: int) -> tuple[Ints, Ints]:
    """Return where each owner's things begin in a list, and the list, rising for every owner.

    Parameters
    ----------
    owners : ndarray of int, shape (n,)
        Owner of every thing.
    count : int
        How many owners there are.
    """
    starts, order = np.zeros(count + 1, dtype=np.int64), np.empty(len(owners), dtype=np.int64)
    for owner in owners:
        starts[owner + 1] += 1
    starts = np.cumsum(starts)
    at = starts.copy()
    for thing in range(len(owners)):
        order[at[owners[thing]]] = thing
        at[owners[thing]] += 1
    return starts, order


@njit(cache=True, nogil=True)
def met(first: npt.NDArray[np.int32], second: npt.NDArray[np.int32], width: int) -> Ints:
    """Return which labels lie side by side, ``first * width + second``, most of them once.

    Parameters
    ----------
    first, second : ndarray of int32, shape (n,)
        Labels on either side; 0 where there is none.
    width : int
        More than the greatest label of the second.
    """
    found, count, last = np.empty(len(first), dtype=np.int64), 0, -1
    for at in range(len(first)):
        pair = np.int64(first[at]) * width + second[at]
        if first[at] > 0 and second[at] > 0 and pair != last:
            found[count] = last = pair
            count += 1
    return found[:count].copy()


@njit(cache=True, nogil=True)
def tallied(labels: npt.NDArray[np.int32], count: int, fine: int) -> tuple[Ints, Ints]:
    """Return the cell of every label, and how many squares of every part of it the label has.

    Parameters
    ----------
    labels : ndarray of int32, shape (cells, side, side)
        Label of every square of every cell, counted from one; 0 for none.
    count : int
        How many labels there are.
    fine : int
        Squares to a part, each way.

    Returns
    -------
    cell : ndarray of int, shape (count,)
        Cells.
    squares : ndarray of int, shape (count, parts)
        Squares of every part, the first index of a square fastest.
    """
    side = labels.shape[1]
    across = side // fine
    cell, squares = np.zeros(count, dtype=np.int64), np.zeros((count, across**2), dtype=np.int64)
    for place in range(len(labels)):
        for x in range(side):
            for y in range(side):
                label = labels[place, x, y] - 1
                if label >= 0:
                    cell[label] = place
                    squares[label, x // fine + across * (y // fine)] += 1
    return cell, squares
