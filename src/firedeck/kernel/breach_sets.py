"""Disjoint sets and the ordering of heights, shared by the steps of the leak-path search."""

from __future__ import annotations

from typing import Any, TypeAlias

import numpy as np
from numba import njit
from numpy.typing import NDArray

__all__ = ["Floats", "Ints", "find", "join", "order_of"]

#: An array of float64.
Floats: TypeAlias = NDArray[np.float64]
#: An array of any integer type.
Ints: TypeAlias = NDArray[Any]

_DIGIT_BITS = 11
_DIGITS = 6
_BUCKETS = 1 << _DIGIT_BITS


@njit(cache=True, nogil=True)
def find(parent: Ints, node: int) -> int:
    """Root of the set that holds a node, halving the way there.

    Parameters
    ----------
    parent : (n,) int32 array
        Parent of each node; a root is its own parent. Changed in place.
    node : int
        The node asked for.

    Returns
    -------
    int
        Root of its set.
    """
    while parent[node] != node:
        parent[node] = parent[parent[node]]
        node = parent[node]
    return node


@njit(cache=True, nogil=True)
def join(parent: Ints, first: int, second: int) -> int:
    """Join two sets given by their roots; the lower root stays root.

    Parameters
    ----------
    parent : (n,) int32 array
        Parent of each node. Changed in place.
    first, second : int
        Roots of the two sets.

    Returns
    -------
    int
        Root of the joined set.
    """
    if first > second:
        first, second = second, first
    parent[second] = first
    return first


@njit(cache=True, nogil=True)
def order_of(heights: Floats) -> Ints:
    """Stable ascending order of heights that are not negative.

    The bit pattern of such a float64 grows with its value, so a radix sort of
    the patterns is exact; digits in which all heights agree are passed over.

    Parameters
    ----------
    heights : (n,) float64 array
        Heights, none negative, no NaN [any unit].

    Returns
    -------
    (n,) int32 array
        Indices that sort the heights.
    """
    keys = np.abs(heights).view(np.uint64)  # of the two zeros only one
    count = len(keys)
    tally = np.zeros((_DIGITS, _BUCKETS), np.int32)
    for key in keys:
        for digit in range(_DIGITS):
            tally[digit, (key >> np.uint64(digit * _DIGIT_BITS)) & np.uint64(_BUCKETS - 1)] += 1
    order = np.arange(count).astype(np.int32)
    spare = np.empty(count, np.int32)
    for digit in range(_DIGITS):
        if tally[digit].max() < count:
            _sort_digit(keys, digit * _DIGIT_BITS, tally[digit], order, spare)
            order, spare = spare, order
    return order


@njit(cache=True, nogil=True)
def _sort_digit(keys: Ints, shift: int, tally: Ints, order: Ints, out: Ints) -> None:
    place = np.cumsum(tally) - tally
    for index in order:
        bucket = (keys[index] >> np.uint64(shift)) & np.uint64(_BUCKETS - 1)
        out[place[bucket]] = index
        place[bucket] += 1
