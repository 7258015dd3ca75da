"""Order of elimination: sets of nodes parted by light separators, again and again.

Every set is cut by planes across each axis; the nodes beside a plane that meet all links across it are
made fewer, and the lightest of these separators is taken out (nested dissection: George, SIAM J. Numer.
Anal. 10 (1973) 345, from memory).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from numba import njit

from firedeck.kernel.separators import BETWEEN, Graph, Separating, lightened, separating

__all__ = ["Dissection", "dissect"]

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

#: Nodes that are eliminated together without a further cut.
_LEAF_NODES = 32

#: Share of the weight beyond which no side of a cut grows while its separator is made lighter [1].
_LARGEST_SHARE = 0.8

#: Planes whose own nodes are worth more than so many times the best separator are not looked at [1].
_WORSE = 1.5


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


def dissect(places: Ints, graph: Graph) -> Dissection:
    """Order the nodes of a graph so that few neighbours remain at each elimination.

    Parameters
    ----------
    places : ndarray of int, shape (n, 3)
        Where the nodes lie, in steps; cuts start between two steps [1].
    graph : Graph
        Freedoms of every node that are eliminated, and which nodes are coupled.

    Returns
    -------
    Dissection
        The order.
    """
    # One layout in memory, for which it is compiled ahead.
    nodes, sizes, parents = _halved(np.ascontiguousarray(places), graph, separating(len(places)))
    # Found from the whole inward, eliminated the other way round.
    starts = np.concatenate([[0], np.cumsum(sizes[::-1])])
    parents = np.where(parents < 0, -1, len(parents) - 1 - parents)[::-1]
    return Dissection(nodes, starts, np.ascontiguousarray(parents))


@njit(cache=True, nogil=True)
def _halved(places: Ints, graph: Graph, work: Separating) -> tuple[Ints, Ints, Ints]:
    """Return the nodes in order of elimination, and from the last group to the first: sizes and parents.

    Parameters
    ----------
    places, graph
        As for `dissect`.
    work : Separating
        Memory.
    """
    total = len(places)
    left, ordered = np.arange(total), np.empty(total, dtype=np.int64)
    sizes, parents = np.empty(total, dtype=np.int64), np.empty(total, dtype=np.int64)
    reach, best = np.empty((total, 3, 2), dtype=np.int64), np.empty(total, dtype=np.int64)
    # A list that is empty from the start would have no type.
    sets = [(0, total, -1)] if total else [(0, 0, -1)][:0]
    groups, free = 0, total
    while len(sets):
        first, past, parent = sets.pop()
        chosen, marks = left[first:past], best[: past - first]
        low, high = 0, 0
        if past - first > _LEAF_NODES and _cut(chosen, places, graph, work, reach, marks):
            low, high = _parted(chosen, marks)
        own = chosen[low + high :]
        if len(own):
            free -= len(own)
            ordered[free : free + len(own)] = own
            sizes[groups], parents[groups], parent = len(own), parent, groups
            groups += 1
        if low:
            # What is put down first is eliminated first. It is the larger side, so that what that needs
            # meanwhile does not come on top of what the other one leaves.
            sides = (first, first + low, parent), (first + low, first + low + high, parent)
            sets.append(sides[int(high > low)])
            sets.append(sides[int(high <= low)])
    return ordered, sizes[:groups].copy(), parents[:groups].copy()


@njit(cache=True, nogil=True)
def _parted(chosen: Ints, marks: Ints) -> tuple[int, int]:
    """Sort a set, in place, into its sides and what is between; return how many are on either side."""
    before, counts = chosen.copy(), np.zeros(3, dtype=np.int64)
    for mark in marks:
        counts[mark] += 1
    at = np.array([0, counts[0], counts[0] + counts[1]])
    for place in range(len(before)):
        chosen[at[marks[place]]] = before[place]
        at[marks[place]] += 1
    return counts[0], counts[1]


@njit(cache=True, nogil=True)
def _cut(chosen: Ints, places: Ints, graph: Graph, work: Separating, reach: Ints, best: Ints) -> bool:
    """Find the best separator of a set; return whether there is one.

    Parameters
    ----------
    chosen : ndarray of int
        The set.
    places, graph, work
        As for `_halved`.
    reach : ndarray of int, shape (n, 3, 2)
        Room for the lowest and highest step that a node is coupled to along each axis.
    best : ndarray of int, shape (nodes of the set,)
        Where the side of every node of the set goes.
    """
    for node in chosen:
        work.marks[node] = 0
    _reached(chosen, places, graph, work.marks, reach)
    worth, planes = _planes(chosen, places, graph.weights, reach)
    least, total, weights = np.inf, graph.weights[chosen].sum(), np.empty(3, dtype=np.int64)
    for number in np.argsort(worth, kind="mergesort"):
        if worth[number] > _WORSE * least:
            break
        axis, plane, upper = planes[number]
        count = _marked(chosen, places[:, axis], reach[:, axis], plane, upper, graph.weights, work, weights)
        lightened(count, graph, work, weights, _LARGEST_SHARE * total)
        found = _worth(weights[0], weights[1], weights[BETWEEN])
        if found < least:
            least = found
            for place in range(len(chosen)):
                best[place] = work.marks[chosen[place]]
    for node in chosen:
        work.marks[node] = -1
    return bool(np.isfinite(least))


@njit(cache=True, nogil=True)
def _reached(chosen: Ints, places: Ints, graph: Graph, marks: Ints, reach: Ints) -> None:
    """Find the lowest and the highest step along each axis that every node of a set is coupled to in it."""
    for axis in range(3):
        for node in chosen:
            low = high = places[node, axis]
            for other in graph.links[graph.starts[node] : graph.starts[node + 1]]:
                if marks[other] >= 0:
                    low, high = min(low, places[other, axis]), max(high, places[other, axis])
            reach[node, axis, 0], reach[node, axis, 1] = low, high


@njit(cache=True, nogil=True)
def _marked(
    chosen: Ints, steps: Ints, reach: Ints, plane: int, upper: int, own: Ints, work: Separating, weights: Ints
) -> int:
    """Mark a set by a plane: below, from it on, and beside it; return how many nodes are beside it.

    Parameters
    ----------
    chosen : ndarray of int
        The set.
    steps : ndarray of int, shape (n,)
        Step of every node along the axis that the plane cuts.
    reach : ndarray of int, shape (n, 2)
        Lowest and highest step that it is coupled to.
    plane, upper : int
        First step above the plane, and 1 if the nodes above it are those between the sides, 0 if those below.
    own : ndarray of int, shape (n,)
        Weight of every node.
    work : Separating
        Memory that takes the marks and what is between.
    weights : ndarray of int, shape (3,)
        Takes the weights of both sides and of what is between.
    """
    marks, count = work.marks, 0
    weights[:] = 0
    for node in chosen:
        above = steps[node] >= plane
        mark = 1 if above else 0
        if (upper and above and reach[node, 0] < plane) or (
            not upper and not above and reach[node, 1] >= plane
        ):
            mark = BETWEEN
            work.between[count] = node
            count += 1
        marks[node] = mark
        weights[mark] += own[node]
    return count


@njit(cache=True, nogil=True)
def _worth(low: int, high: int, between: int) -> float:
    """Return what a separator is worth, the less the better: its weight over four times the shares' product.

    A cut down the middle counts as it is, one that leaves a fifth on one side must be a third lighter.
    """
    if not low or not high:
        return float(np.inf)
    share = low / (low + high)
    return float(max(between, 1) / (4.0 * share * (1.0 - share)))


@njit(cache=True, nogil=True)
def _planes(chosen: Ints, places: Ints, weights: Ints, reach: Ints) -> tuple[Floats, Ints]:
    """Return the planes that cut a set: what each is worth; axis, first step above it, and which side is cut.

    Of the nodes beside a plane those on one side are enough to part the set: the lighter ones.
    """
    worth, planes, count = np.empty(16), np.empty((16, 3), dtype=np.int64), 0
    for axis in range(3):
        low, high = places[chosen[0], axis], places[chosen[0], axis]
        for node in chosen:
            low, high = min(low, places[node, axis]), max(high, places[node, axis])
        # Weights by step, and by plane as differences: below, then beside the plane below and above it.
        sums = np.zeros((3, high - low + 2), dtype=np.int64)
        for node in chosen:
            step, weight = places[node, axis] - low, weights[node]
            sums[0, step + 1] += weight
            sums[1, step + 1] += weight
            sums[1, reach[node, axis, 1] - low + 1] -= weight
            sums[2, reach[node, axis, 0] - low + 1] += weight
            sums[2, step + 1] -= weight
        below, under, over = 0, 0, 0
        total = sums[0].sum()
        for plane in range(1, high - low + 1):
            below, under, over = below + sums[0, plane], under + sums[1, plane], over + sums[2, plane]
            upper = 1 if over < under else 0
            beside = over if upper else under
            found = _worth(below - under * (1 - upper), total - below - over * upper, beside)
            if not np.isfinite(found):
                continue
            if count == len(worth):
                worth = np.concatenate((worth, np.empty_like(worth)))
                planes = np.concatenate((planes, np.empty_like(planes)))
            worth[count] = found
            planes[count, 0], planes[count, 1], planes[count, 2] = axis, low + plane, upper
            count += 1
    return worth[:count], planes[:count]
