"""Things that hang together, and what squares of a plan they fill."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from numba import njit

__all__ = ["joined", "tallied"]

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
