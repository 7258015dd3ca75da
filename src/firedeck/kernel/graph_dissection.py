"""Order of elimination of a mesh without a grid: sets of nodes parted by their smallest cuts.

Every set is cut by the plane across an axis that leaves the fewest nodes beside it, and of the links
that cross this plane the fewest nodes that meet them all are taken out (nested dissection: George,
SIAM J. Numer. Anal. 10 (1973) 345; the fewest nodes from the largest matching: Koenig's theorem; both
from memory).
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from numba import njit
from scipy.sparse import csr_array
from scipy.sparse.csgraph import maximum_bipartite_matching

__all__ = ["dissect_graph"]

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Small = npt.NDArray[np.int32]

#: Nodes that are eliminated together without a further cut.
_LEAF = 64

#: Least share of the nodes that a plane leaves on either side [1].
_LEAST_SHARE = 0.3


def dissect_graph(starts: Ints, links: Small, places: Floats) -> list[tuple[Ints, list[int]]]:
    """Order the nodes of a graph so that few neighbours remain at each elimination.

    Parameters
    ----------
    starts : ndarray of int, shape (n + 1,)
        Where the neighbours of every node begin.
    links : ndarray of int32
        The neighbours: every coupling stands at both its ends.
    places : ndarray, shape (n, 3)
        Where the nodes lie [mm].

    Returns
    -------
    list of (ndarray of int, list of int)
        Groups of nodes in order of elimination, children first, with the numbers of their children.
    """
    run = _Halving(starts, links, places)
    if len(places):
        run.halve(np.arange(len(places), dtype=np.int64))
    return run.groups


class _Halving:
    """One run over a graph; a node's mark says which set it is in just now."""

    def __init__(self, starts: Ints, links: Small, places: Floats) -> None:
        self.starts, self.links, self.places = starts, links, places
        self.groups: list[tuple[Ints, list[int]]] = []
        self.level = np.full(len(places), -1, dtype=np.int64)
        self.where = np.zeros(len(places), dtype=np.int64)

    def halve(self, chosen: Ints) -> int:
        """Add the groups of a set, children first, and return the number of its last group."""
        own, children = chosen, []
        if len(chosen) > _LEAF:
            low, high, between = self._cut(chosen)
            if len(low) and len(high):
                own = between
                children = [self.halve(side) for side in (low, high)]
        self.groups.append((own, children))
        return len(self.groups) - 1

    def _cut(self, chosen: Ints) -> tuple[Ints, Ints, Ints]:
        """Part a set into two that do not touch, and what is between them."""
        best = (np.inf, 0, chosen)
        for axis in range(3):
            level = _levels(self.places[chosen, axis])
            self.level[chosen] = level
            counts = _beside(chosen, self.level, self.starts, self.links)
            score, at = _fairest(counts, level)
            if score < best[0]:
                best = (score, at, level)
        self.level[chosen] = -1
        if not np.isfinite(best[0]):
            return chosen[:0], chosen[:0], chosen
        below = best[2] < best[1]
        between = self._crossing(chosen, below)
        return chosen[below & ~between], chosen[~below & ~between], chosen[between]

    def _crossing(self, chosen: Ints, below: npt.NDArray[np.bool_]) -> npt.NDArray[np.bool_]:
        """Return which of a set's nodes meet every link between its lower and its upper part, few of them."""
        self.level[chosen] = np.where(below, 0, 1)
        self.where[chosen] = np.arange(len(chosen))
        rows, columns = _across(chosen, self.level, self.where, self.starts, self.links)
        self.level[chosen] = -1
        lower, row = np.unique(rows, return_inverse=True)
        upper, column = np.unique(columns, return_inverse=True)
        links = csr_array((np.ones(len(row), dtype=np.int8), (row, column)), (len(lower), len(upper)))
        partner = maximum_bipartite_matching(links, perm_type="column").astype(np.int64)
        reached_low, reached_high = _alternating(links.indptr, links.indices, partner, len(upper))
        between = np.zeros(len(chosen), dtype=bool)
        between[lower[~reached_low]] = True
        between[upper[reached_high]] = True
        return between


def _levels(along: Floats) -> Ints:
    """Return how many nodes lie lower than each; those at one height have one level."""
    return np.searchsorted(np.sort(along), along - 1e-9 * (1.0 + np.ptp(along))).astype(np.int64)


def _fairest(counts: Ints, level: Ints) -> tuple[float, int]:
    """Return the least number of nodes beside a plane, uneven halves counting more, and its level."""
    total = len(level)
    planes = np.unique(level)
    planes = planes[(planes >= _LEAST_SHARE * total) & (planes <= (1.0 - _LEAST_SHARE) * total)]
    if not len(planes):
        return np.inf, 0
    uneven = 2.0 * planes / total - 1.0
    score = counts[planes] * (1.0 + uneven**2)
    at = int(np.argmin(score))
    return float(score[at]), int(planes[at])


@njit(cache=True, nogil=True)
def _beside(chosen: Ints, level: Ints, starts: Ints, links: Small) -> Ints:
    """Count for every level the nodes that lie beside a plane there, the fewer of both sides.

    Parameters
    ----------
    chosen : ndarray of int
        The set.
    level : ndarray of int
        Level of every node of the graph, -1 outside of the set [1].
    starts, links : ndarray of int
        Neighbours of every node.
    """
    count = len(chosen)
    under, over = np.zeros(count + 2, dtype=np.int64), np.zeros(count + 2, dtype=np.int64)
    for node in chosen:
        own = level[node]
        low, high = own, own
        for at in range(starts[node], starts[node + 1]):
            other = level[links[at]]
            if other >= 0:
                low, high = min(low, other), max(high, other)
        under[own + 1] += 1
        under[high + 1] -= 1
        over[low + 1] += 1
        over[own + 1] -= 1
    out = np.zeros(count + 1, dtype=np.int64)
    sum_under, sum_over = 0, 0
    for plane in range(count + 1):
        sum_under += under[plane]
        sum_over += over[plane]
        out[plane] = min(sum_under, sum_over)
    return out


@njit(cache=True, nogil=True)
def _across(chosen: Ints, side: Ints, where: Ints, starts: Ints, links: Small) -> tuple[Ints, Ints]:
    """Return the links from side 0 to side 1 by the places of their ends in the set."""
    count = 0
    for turn in range(2):
        if turn:
            low, high = np.empty(count, dtype=np.int64), np.empty(count, dtype=np.int64)
        else:
            low, high = np.empty(0, dtype=np.int64), np.empty(0, dtype=np.int64)
        count = 0
        for place in range(len(chosen)):
            node = chosen[place]
            if side[node] != 0:
                continue
            for at in range(starts[node], starts[node + 1]):
                other = links[at]
                if side[other] == 1:
                    if turn:
                        low[count], high[count] = place, where[other]
                    count += 1
    return low, high


@njit(cache=True, nogil=True)
def _alternating(
    starts: Small, links: Small, partner: Ints, others: int
) -> tuple[npt.NDArray[np.bool_], npt.NDArray[np.bool_]]:
    """Return what is reached from unmatched nodes along unmatched links forth and matched ones back."""
    back = np.full(others, -1, dtype=np.int64)
    low, high = np.zeros(len(partner), dtype=np.bool_), np.zeros(others, dtype=np.bool_)
    waiting = np.empty(len(partner), dtype=np.int64)
    count = 0
    for node in range(len(partner)):
        if partner[node] >= 0:
            back[partner[node]] = node
        else:
            low[node] = True
            waiting[count] = node
            count += 1
    while count:
        count -= 1
        node = waiting[count]
        for at in range(starts[node], starts[node + 1]):
            other = links[at]
            if not high[other]:
                high[other] = True
                mate = back[other]
                if mate >= 0 and not low[mate]:
                    low[mate] = True
                    waiting[count] = mate
                    count += 1
    return low, high
