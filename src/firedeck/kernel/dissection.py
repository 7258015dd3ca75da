"""Order of elimination on a grid: boxes halved along the plane with the fewest nodes, again and again."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from numba import njit

__all__ = ["Dissection", "dissect"]

Ints = npt.NDArray[np.int64]

#: Nodes that are eliminated together without a further cut.
_LEAF_NODES = 32

#: Least share of the nodes that a cut leaves on either side [1].
_LEAST_SHARE = 0.2


@dataclass(frozen=True)
class Dissection:
    """Nodes in order of elimination, in groups; a group's children come before it.

    Attributes
    ----------
    nodes : ndarray of int
        Node numbers in order of elimination.
    starts : ndarray of int, shape (groups + 1,)
        Where each group begins in `nodes`.
    parents : ndarray of int, shape (groups,)
        Group that takes up what each group leaves; -1 for a last one.
    """

    nodes: Ints
    starts: Ints
    parents: Ints


def dissect(places: Ints) -> Dissection:
    """Order the nodes of a grid so that few neighbours remain at each elimination.

    Parameters
    ----------
    places : ndarray of int, shape (n, 3)
        Grid indices of the nodes; only nodes that differ by at most one in each index may be coupled.

    Returns
    -------
    Dissection
        The order.
    """
    nodes, sizes, parents = _halved(places.astype(np.int64), _LEAF_NODES)
    # Found from the whole inward, eliminated the other way round.
    starts = np.concatenate([[0], np.cumsum(sizes[::-1])])
    parents = np.where(parents < 0, -1, len(parents) - 1 - parents)[::-1]
    return Dissection(nodes, starts, np.ascontiguousarray(parents))


@njit(cache=True, nogil=True)
def _halved(places: Ints, leaf: int) -> tuple[Ints, Ints, Ints]:
    """Return the nodes in order of elimination, and from the last group to the first: sizes and parents.

    Parameters
    ----------
    places : ndarray of int, shape (n, 3)
        Grid indices of the nodes.
    leaf : int
        Nodes that are eliminated together without a further cut.
    """
    total = len(places)
    left, ordered = np.arange(total), np.empty(total, dtype=np.int64)
    sizes, parents = np.empty(total, dtype=np.int64), np.empty(total, dtype=np.int64)
    # A list that is empty from the start would have no type.
    boxes = [(0, total, -1)] if total else [(0, 0, -1)][:0]
    groups, free = 0, total
    while len(boxes):
        first, past, parent = boxes.pop()
        axis, plane = -1, 0
        if past - first > leaf:
            axis, plane = _best_cut(places, left[first:past])
        low, high = first, past
        if axis >= 0:
            low, high = _parted(places, left[first:past], axis, plane)
            low, high = low + first, high + first
            if low > first:
                boxes.append((first, low, groups))
            if past > high:
                boxes.append((high, past, groups))
            own = left[low:high]
        else:
            own = left[first:past]
        free -= len(own)
        ordered[free : free + len(own)] = own
        sizes[groups], parents[groups] = len(own), parent
        groups += 1
    return ordered, sizes[:groups].copy(), parents[:groups].copy()


@njit(cache=True, nogil=True)
def _parted(places: Ints, nodes: Ints, axis: int, plane: int) -> tuple[int, int]:
    """Sort nodes, in place, into those below a plane, on it and above; return where it begins and ends."""
    before = nodes.copy()
    counts = np.zeros(3, dtype=np.int64)
    for node in before:
        counts[1 + np.sign(places[node, axis] - plane)] += 1
    at = np.array([0, counts[0], counts[0] + counts[1]])
    for node in before:
        side = 1 + np.sign(places[node, axis] - plane)
        nodes[at[side]] = node
        at[side] += 1
    return at[0], at[1]


@njit(cache=True, nogil=True)
def _best_cut(places: Ints, nodes: Ints) -> tuple[int, int]:
    """Return axis and index of the plane that parts the rest evenly with few nodes; axis -1 if none helps.

    A plane is worth its nodes over four times the product of both shares: a cut down the middle counts as it
    is, one that leaves a fifth on one side must have a third fewer nodes.
    """
    total = len(nodes)
    best, axis_of, plane_of, own = np.inf, -1, 0, 0
    for axis in range(3):
        low, high = places[nodes[0], axis], places[nodes[0], axis]
        for node in nodes:
            low, high = min(low, places[node, axis]), max(high, places[node, axis])
        counts = np.zeros(high - low + 1, dtype=np.int64)
        for node in nodes:
            counts[places[node, axis] - low] += 1
        below = 0
        for plane in range(len(counts)):
            share = below / max(total - counts[plane], 1)
            below += counts[plane]
            if min(share, 1.0 - share) < _LEAST_SHARE:
                continue
            dear = counts[plane] / (4.0 * share * (1.0 - share))
            if dear < best:
                best, axis_of, plane_of, own = dear, axis, plane + low, counts[plane]
    if own > total // 2:
        return -1, 0
    return axis_of, plane_of
