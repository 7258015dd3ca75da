"""Things that hang together, and lists of them by what they belong to."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from numba import njit

__all__ = ["grouped", "joined", "met", "top"]

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
        one, other = top(above, first[at]), top(above, second[at])
        if one < other:
            above[other] = one
        else:
            above[one] = other
    for thing in range(count):
        # What stands above comes before, and has its own first already.
        above[thing] = above[above[thing]]
    return above


@njit(cache=True, nogil=True)
def top(above: Ints, thing: int) -> int:
    """Return what a thing hangs on in the end, and shorten the way there.

    Parameters
    ----------
    above : ndarray of int
        What every thing hangs on, itself for a first one; changed in place.
    thing : int
        The thing.
    """
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
