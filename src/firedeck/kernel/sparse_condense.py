"""Condensation of any sparse stiffness to few freedoms and load patterns by multifrontal elimination.

The same elimination as on a grid of bricks, for meshes without one: nodes are ordered by the smallest
cuts of their graph, and every front is dense (Duff and Reid, ACM Trans. Math. Softw. 9 (1983) 302, from
memory). Kept freedoms and load columns are never pivots.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from numba import njit
from scipy.sparse import coo_array, csr_array

from firedeck.kernel.condense import Condensed
from firedeck.kernel.fronts import add_update, eliminate_front
from firedeck.kernel.graph_dissection import dissect_graph

__all__ = ["condense_sparse"]

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Small = npt.NDArray[np.int32]

#: A group of freedoms: how many, and the groups whose remains it takes up.
_Group = tuple[int, list[int]]


def condense_sparse(stiffness: csr_array, loads: csr_array, places: Floats, kept: Ints) -> Condensed:
    """Eliminate every freedom that is not kept.

    Parameters
    ----------
    stiffness : sparse array, shape (n, n)
        Stiffness, symmetric, without freedoms that are held [N/mm].
    loads : sparse array, shape (n, p)
        Load patterns [N].
    places : ndarray, shape (n, 3)
        Where each freedom lies; it only steers the order of elimination [mm].
    kept : ndarray of int, shape (k,)
        Freedoms that are kept; their order is kept.

    Returns
    -------
    Condensed
        Stiffness, arriving loads and flexibilities.

    Raises
    ------
    ArithmeticError
        If what is eliminated can move without resistance.
    """
    order, groups = _ordered(stiffness, places, kept)
    inner = len(order)
    whole = _bordered(stiffness, loads, np.concatenate([order, kept]).astype(np.int64))
    return _Fronts(whole, groups, inner).run(len(kept))


def _ordered(stiffness: csr_array, places: Floats, kept: Ints) -> tuple[Ints, list[_Group]]:
    """Return the freedoms that are not kept in order of elimination, and their groups."""
    inner = np.setdiff1d(np.arange(len(places)), kept)
    if not len(inner):
        return inner, []
    node = _nodes(places[inner])
    by_node = np.argsort(node, kind="stable")
    starts = np.searchsorted(node[by_node], np.arange(int(node.max()) + 2))
    node_of = np.full(len(places), -1, dtype=np.int64)
    node_of[inner] = node
    where = places[inner[by_node[starts[:-1]]]]
    ends, links = _links(inner[by_node], starts, node_of, stiffness.indptr, stiffness.indices)
    found = dissect_graph(ends, links, where)
    position = np.empty(len(where), dtype=np.int64)
    position[np.concatenate([own for own, _ in found])] = np.arange(len(where))
    per_node = np.diff(starts)
    groups = [(int(per_node[own].sum()), children) for own, children in found]
    return inner[np.argsort(position[node], kind="stable")], groups


def _nodes(places: Floats) -> Ints:
    """Return for every freedom the number of the place where it lies; those at one place share it."""
    order = np.lexsort(places.T)
    rises = np.any(np.diff(places[order], axis=0) != 0.0, axis=1)
    node = np.empty(len(places), dtype=np.int64)
    node[order] = np.concatenate([[0], np.cumsum(rises)])
    return node


@njit(cache=True, nogil=True)
def _links(freedoms: Ints, starts: Ints, node_of: Ints, rows: Small, columns: Small) -> tuple[Ints, Small]:
    """Return which nodes are coupled: where each one's neighbours begin, and these.

    Parameters
    ----------
    freedoms : ndarray of int
        Freedoms, node by node.
    starts : ndarray of int
        Where those of each node begin.
    node_of : ndarray of int
        Node of every freedom, -1 for those left out.
    rows, columns : ndarray of int
        Starts and columns of the stiffness.
    """
    count = len(starts) - 1
    ends = np.zeros(count + 1, dtype=np.int64)
    stamp = np.full(count, -1, dtype=np.int64)
    links = np.empty(max(count, len(columns)), dtype=np.int32)
    found = 0
    for node in range(count):
        stamp[node] = node
        for at in range(starts[node], starts[node + 1]):
            freedom = freedoms[at]
            for entry in range(rows[freedom], rows[freedom + 1]):
                other = node_of[columns[entry]]
                if other >= 0 and stamp[other] != node:
                    stamp[other] = node
                    links[found] = other
                    found += 1
        ends[node + 1] = found
    return ends, links[:found].copy()


def _bordered(stiffness: csr_array, loads: csr_array, order: Ints) -> csr_array:
    """Return the upper triangle of the stiffness in an order, with the loads as further columns."""
    rank = np.empty(len(order), dtype=np.int64)
    rank[order] = np.arange(len(order))
    own, pushed = stiffness.tocoo(), loads.tocoo()
    row, column = rank[own.row], rank[own.col]
    upper = column >= row
    rows = np.concatenate([row[upper], rank[pushed.row]])
    columns = np.concatenate([column[upper], len(order) + pushed.col])
    values = np.concatenate([own.data[upper], -pushed.data])
    size = len(order) + loads.shape[1]
    return csr_array(coo_array((values, (rows, columns)), (size, size)))


class _Fronts:
    """One run over the groups of freedoms; what each leaves waits for its parent."""

    def __init__(self, whole: csr_array, groups: list[_Group], inner: int) -> None:
        self.starts, self.columns = whole.indptr.astype(np.int64), whole.indices.astype(np.int32)
        self.values = whole.data
        self.groups, self.inner, self.total = groups, inner, whole.shape[0]
        self.left: dict[int, tuple[Ints, Floats]] = {}
        self.place_of = np.zeros(self.total, dtype=np.int64)
        self.stamp = np.full(self.total, -1, dtype=np.int64)
        self.found = np.empty(self.total, dtype=np.int64)

    def run(self, kept: int) -> Condensed:
        """Eliminate group by group and return what remains of kept freedoms and loads."""
        first = 0
        for number, (count, children) in enumerate(self.groups):
            self.left[number] = self._front(number, first, first + count, children)
            first += count
        ranks = np.arange(self.inner, self.total)
        last = self._filled(ranks, self.inner, self.inner + kept, len(ranks))
        for place, update in self._children(list(self.left)):
            add_update(last, update, place, 0, len(place), 0)
        full = np.tril(last) + np.tril(last, -1).T
        return Condensed(
            np.ascontiguousarray(full[:kept, :kept]),
            np.ascontiguousarray(-full[:kept, kept:]),
            np.ascontiguousarray(-full[kept:, kept:]),
        )

    def _front(self, number: int, first: int, past: int, children: list[int]) -> tuple[Ints, Floats]:
        count = 0
        own = self.columns[self.starts[first] : self.starts[past]].astype(np.int64)
        for met in (own, *(self.left[child][0] for child in children)):
            count = _gathered(met, past, self.stamp, number, self.found, count)
        ranks = np.concatenate([np.arange(first, past), np.sort(self.found[:count])])
        panel = self._filled(ranks, first, past, past - first)
        left = eliminate_front(panel, self._children(children))
        if left is None:
            raise ArithmeticError("a part of the body can move without resistance")
        return ranks[past - first :], left

    def _filled(self, ranks: Ints, first: int, past: int, width: int) -> Floats:
        """Return the first columns of a front with its rows of the matrix, lower triangle."""
        front = np.zeros((len(ranks), width), order="F")
        self.place_of[ranks] = np.arange(len(ranks))
        _fill(front, self.place_of, (first, past), self.starts, self.columns, self.values)
        return front

    def _children(self, children: list[int]) -> list[tuple[Ints, Floats]]:
        """Return what some fronts have left, with its places in the front that was filled last."""
        found = [self.left.pop(child) for child in children]
        return [(self.place_of[own], update) for own, update in found if len(own)]


@njit(cache=True, nogil=True)
def _gathered(met: Ints, past: int, stamp: Ints, mark: int, found: Ints, count: int) -> int:
    """Add to what is found the ranks not eliminated before `past`, each once; return how many there are."""
    for rank in met:
        if rank >= past and stamp[rank] != mark:
            stamp[rank] = mark
            found[count] = rank
            count += 1
    return count


@njit(cache=True, nogil=True)
def _fill(
    front: Floats, place_of: Ints, rows: tuple[int, int], starts: Ints, columns: Small, values: Floats
) -> None:
    """Put the rows of the matrix from the first to before the last into the front's lower triangle."""
    for rank in range(rows[0], rows[1]):
        to = front[:, place_of[rank]]
        for at in range(starts[rank], starts[rank + 1]):
            to[place_of[columns[at]]] = values[at]
