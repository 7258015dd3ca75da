"""Condensation of any sparse stiffness to few freedoms and load patterns by multifrontal elimination.

The same elimination as on a grid of bricks, for meshes without one: nodes are ordered by their graph
alone, and every front is dense (Duff and Reid, ACM Trans. Math. Softw. 9 (1983) 302, from
memory). Kept freedoms and load columns are never pivots.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from numba import njit
from scipy.sparse import coo_array, csr_array

from firedeck.kernel.condense import Condensed
from firedeck.kernel.dense import Routines, eliminate_columns, routines
from firedeck.kernel.dissection import dissect
from firedeck.kernel.elimination import (
    Rows,
    Space,
    Tree,
    appended,
    gathered,
    last_front,
    opened,
    parted,
    room,
    tree_of,
)
from firedeck.kernel.separators import Graph

__all__ = ["condense_sparse"]

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Small = npt.NDArray[np.int32]


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
    order, tree = _ordered(stiffness, places, kept)
    whole = _bordered(stiffness, loads, np.concatenate([order, kept]).astype(np.int64))
    total = whole.shape[0]
    rows = Rows(*_left(tree, whole.indptr, whole.indices, total))
    space = room(tree, rows, total)
    if not _eliminated(tree, rows, space, whole.indptr, whole.indices, whole.data, routines()):
        raise ArithmeticError("a part of the body can move without resistance")
    last, inner = last_front(tree, rows, space), int(tree.firsts[-1])
    _add_rows(last, space.place_of, inner, inner + len(kept), whole.indptr, whole.indices, whole.data)
    return Condensed(*parted(last, len(kept)))


def _ordered(stiffness: csr_array, places: Floats, kept: Ints) -> tuple[Ints, Tree]:
    """Return the freedoms that are not kept in order of elimination, and their groups."""
    inner = np.setdiff1d(np.arange(len(places)), kept)
    if not len(inner):
        return inner, tree_of(np.zeros(1, dtype=np.int64), np.zeros(0, dtype=np.int64))
    node = _nodes(places[inner])
    by_node = np.argsort(node, kind="stable")
    starts = np.searchsorted(node[by_node], np.arange(int(node.max()) + 2))
    node_of = np.full(len(places), -1, dtype=np.int64)
    node_of[inner] = node
    where = places[inner[by_node[starts[:-1]]]]
    ends, links = _links(inner[by_node], starts, node_of, stiffness.indptr, stiffness.indices)
    per_node = np.diff(starts)
    found = dissect(_steps(where, ends, links), Graph(per_node, ends, links))
    position = np.empty(len(where), dtype=np.int64)
    position[found.nodes] = np.arange(len(where))
    firsts = np.concatenate([[0], np.cumsum(per_node[found.nodes])])[found.starts]
    return inner[np.argsort(position[node], kind="stable")], tree_of(firsts, found.parents)


def _steps(places: Floats, starts: Ints, links: Small) -> Ints:
    """Return places in steps of half the mean distance of coupled nodes, shape (n, 3) [1]."""
    reach = np.linalg.norm(places[links] - np.repeat(places, np.diff(starts), axis=0), axis=1)
    step = 0.5 * float(reach.mean()) if len(reach) else 1.0
    return np.asarray(np.floor((places - places.min(axis=0)) / step), dtype=np.int64)


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


@njit(cache=True, nogil=True)
def _left(tree: Tree, starts: Small, columns: Small, total: int) -> tuple[Ints, Ints]:
    """Return the ranks that every group leaves coupled: where each group's begin, and the ranks.

    Parameters
    ----------
    tree : Tree
        The groups.
    starts, columns : ndarray of int
        Starts and columns of the bordered matrix, upper triangle.
    total : int
        How many ranks there are.
    """
    groups = len(tree.firsts) - 1
    stamp, found = np.full(total, -1, dtype=np.int64), np.empty(total, dtype=np.int64)
    ends, ranks = np.zeros(groups + 1, dtype=np.int64), np.empty(16 * total, dtype=np.int64)
    for group in range(groups):
        first, past = tree.firsts[group], tree.firsts[group + 1]
        count = gathered(columns[starts[first] : starts[past]].astype(np.int64), past, stamp, group, found, 0)
        for child in tree.children[tree.begins[group] : tree.begins[group + 1]]:
            count = gathered(ranks[ends[child] : ends[child + 1]], past, stamp, group, found, count)
        ranks = appended(ranks, ends, group, np.sort(found[:count]))
    return ends, ranks[: ends[groups]].copy()


@njit(cache=True, nogil=True)
def _eliminated(
    tree: Tree, rows: Rows, space: Space, starts: Small, columns: Small, values: Floats, call: Routines
) -> bool:
    """Go through the groups, children first; return whether all rows were positive definite.

    Parameters
    ----------
    tree, rows, space
        The elimination.
    starts, columns, values : ndarray
        The bordered matrix, upper triangle.
    call : Routines
        What does the dense work.
    """
    for group in range(len(tree.firsts) - 1):
        panel, left = opened(group, tree, rows, space)
        _add_rows(panel, space.place_of, tree.firsts[group], tree.firsts[group + 1], starts, columns, values)
        if not eliminate_columns(panel, left, call):
            return False
    return True


@njit(cache=True, nogil=True)
def _add_rows(
    front: Floats, place_of: Ints, first: int, past: int, starts: Small, columns: Small, values: Floats
) -> None:
    """Add the rows of the matrix from the first to before the last to the front, a column to a row."""
    for rank in range(first, past):
        to = front[place_of[rank]]
        for at in range(starts[rank], starts[rank + 1]):
            to[place_of[columns[at]]] += values[at]
