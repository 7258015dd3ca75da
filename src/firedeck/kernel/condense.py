"""Condensation of an elastic body to few freedoms and load patterns by multifrontal elimination.

The freedoms of a grid of bricks are eliminated in the order of nested dissection, front by front
with dense matrices; kept freedoms and load columns are never pivots, so what is left at the end is

    [ S   -G ]
    [ -G' -D ]

with S the stiffness of the kept freedoms, G the loads as they arrive there and D the flexibilities
between load patterns (Duff and Reid, ACM Trans. Math. Softw. 9 (1983) 302; George, SIAM J. Numer.
Anal. 10 (1973) 345; both from memory). No factor is stored.
"""

from __future__ import annotations

import os
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt
from numba import njit

from firedeck.kernel.dense import Routines, eliminate_columns, routines
from firedeck.kernel.dissection import Dissection, dissect
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
from firedeck.kernel.fronts import RankedBricks, add_loads, assemble, links, neighbours_left
from firedeck.kernel.joined import grouped
from firedeck.kernel.separators import Graph
from firedeck.kernel.shared_columns import eliminate_shared
from firedeck.kernel.threads import side_by_side

__all__ = ["Condensed", "GridBody", "Loads", "condense", "ordered"]

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

#: Products in a front from which it is shared among threads [1].
_SHARED = 1.5e9


@dataclass(frozen=True)
class GridBody:
    """Bricks on a grid; a place of the grid may have several nodes.

    Attributes
    ----------
    places : ndarray of int, shape (nodes, 3)
        Grid indices of the nodes [1].
    elements : ndarray of int32, shape (m, 8)
        Nodes of every brick, x fastest, then y, then z [1].
    kinds : ndarray of int32, shape (m,)
        Number of the element matrix of every brick [1].
    matrices : ndarray, shape (kinds, 24, 24)
        Element stiffness [N/mm].
    """

    places: Ints
    elements: npt.NDArray[np.int32]
    kinds: npt.NDArray[np.int32]
    matrices: Floats

    @cached_property
    def around(self) -> tuple[Ints, Ints]:
        """Per node the start in a list, and the list: eight times a brick plus the node's corner of it."""
        starts, corners = grouped(self.elements.ravel(), len(self.places))
        return starts, corners


@dataclass(frozen=True)
class Loads:
    """Load patterns as lists by node.

    Attributes
    ----------
    starts : ndarray of int, shape (nodes + 1,)
        Where each node's entries begin [1].
    columns : ndarray of int, shape (entries,)
        Pattern of each entry [1].
    values : ndarray, shape (entries, 3)
        Load of each entry, x, y, z, per unit of the pattern's amount [N].
    count : int
        Number of patterns [1].
    """

    starts: Ints
    columns: Ints
    values: Floats
    count: int


@dataclass(frozen=True)
class Condensed:
    """A body as its kept freedoms and load patterns see it.

    Attributes
    ----------
    stiffness : ndarray, shape (n, n)
        Stiffness of the kept freedoms [N/mm].
    arriving : ndarray, shape (n, p)
        Load at the kept freedoms, when held, per unit of each pattern [N].
    flexibility : ndarray, shape (p, p)
        Displacement in the sense of one pattern per unit of another, kept freedoms held [mm].
    """

    stiffness: Floats
    arriving: Floats
    flexibility: Floats


def ordered(body: GridBody, kept: Ints, held: npt.NDArray[np.bool_]) -> Dissection:
    """Return the order in which `condense` eliminates; loads have no part in it.

    Parameters
    ----------
    body, kept, held
        As for `condense`.
    """
    return dissect(body.places, Graph(_free(kept, held).sum(axis=1), *links(*body.around, body.elements)))


def _free(kept: Ints, held: npt.NDArray[np.bool_]) -> npt.NDArray[np.bool_]:
    """Return which freedoms are eliminated."""
    free = ~held
    free[kept[:, 0], kept[:, 1]] = False
    return free


def condense(
    body: GridBody, kept: Ints, held: npt.NDArray[np.bool_], loads: Loads, order: Dissection | None = None
) -> Condensed:
    """Eliminate every freedom that is neither kept nor held.

    Parameters
    ----------
    body : GridBody
        Grid, cells and element matrices.
    kept : ndarray of int, shape (n, 2)
        Node and axis of the kept freedoms; their order is kept.
    held : ndarray of bool, shape (nodes, 3)
        Freedoms that do not move.
    loads : Loads
        Load patterns; loads on held freedoms are left out.
    order : Dissection, optional
        What `ordered` gives for the same, where it is known already.

    Returns
    -------
    Condensed
        Stiffness, arriving loads and flexibilities.

    Raises
    ------
    ArithmeticError
        If what is eliminated can move without resistance.
    """
    order = order or ordered(body, kept, held)
    rank, firsts = _ranked(order, kept, _free(kept, held))
    inner = int(firsts[-1])
    columns = loads.columns + inner + len(kept)
    bricks = RankedBricks(
        rank, *body.around, body.elements, body.kinds, body.matrices, loads.starts, columns, loads.values
    )
    tree = tree_of(firsts, order.parents)
    total = inner + len(kept) + loads.count
    rows = Rows(*_left(order.nodes, order.starts, tree, bricks, total))
    space = room(tree, rows, total)
    if not _eliminated(order.nodes, order.starts, tree, rows, space, bricks, routines()):
        raise ArithmeticError("a part of the body can move without resistance")
    last = last_front(tree, rows, space)
    _add_last(last, np.unique(kept[:, 0]), inner, inner + len(kept), space.place_of, bricks)
    return Condensed(*parted(last, len(kept)))


def _ranked(order: Dissection, kept: Ints, free: npt.NDArray[np.bool_]) -> tuple[Ints, Ints]:
    """Return the rank of each freedom, eliminated ones first, then kept ones, and each group's first."""
    per_node = free[order.nodes]
    place = np.flatnonzero(per_node.ravel())
    rank = np.full(free.shape, -1, dtype=np.int64)
    rank[order.nodes[place // 3], place % 3] = np.arange(len(place))
    rank[kept[:, 0], kept[:, 1]] = len(place) + np.arange(len(kept))
    ends = np.concatenate([[0], np.cumsum(per_node.sum(axis=1))])
    return rank, ends[order.starts]


@njit(cache=True, nogil=True)
def _left(nodes: Ints, starts: Ints, tree: Tree, bricks: RankedBricks, total: int) -> tuple[Ints, Ints]:
    """Return the ranks that every group leaves coupled: where each group's begin, and the ranks.

    Parameters
    ----------
    nodes, starts : ndarray of int
        Nodes in order of elimination, and where each group's begin.
    tree, bricks
        The elimination.
    total : int
        How many ranks there are.
    """
    groups = len(starts) - 1
    stamp, found = np.full(total, -1, dtype=np.int64), np.empty(total, dtype=np.int64)
    ends, ranks = np.zeros(groups + 1, dtype=np.int64), np.empty(16 * total, dtype=np.int64)
    for group in range(groups):
        past, count = tree.firsts[group + 1], 0
        for child in tree.children[tree.begins[group] : tree.begins[group + 1]]:
            count = gathered(ranks[ends[child] : ends[child + 1]], past, stamp, group, found, count)
        own = nodes[starts[group] : starts[group + 1]]
        count = neighbours_left(own, bricks, past, stamp, group, found, count)
        ranks = appended(ranks, ends, group, np.sort(found[:count]))
    return ends, ranks[: ends[groups]].copy()


def _eliminated(
    nodes: Ints, starts: Ints, tree: Tree, rows: Rows, space: Space, bricks: RankedBricks, call: Routines
) -> bool:
    """Go through the groups, children first; return whether all rows were positive definite.

    Parameters
    ----------
    nodes, starts : ndarray of int
        Nodes in order of elimination, and where each group's begin.
    tree, rows, space, bricks
        The elimination.
    call : Routines
        What does the dense work.
    """
    task, begun = (nodes, starts, tree, rows, space, bricks), 0
    # The largest fronts are shared: whichever body is done first lends a hand with the other's last ones.
    with side_by_side(os.cpu_count() or 1) as pool:
        for group in _large(tree, rows):
            if not _eliminated_groups(begun, group, *task, call):
                return False
            if not eliminate_shared(*_opened(group, *task), call, pool):
                return False
            begun = group + 1
    return bool(_eliminated_groups(begun, len(starts) - 1, *task, call))


def _large(tree: Tree, rows: Rows) -> list[int]:
    """Return the groups whose fronts are worth the threads, rising."""
    own, left = np.diff(tree.firsts).astype(np.float64), np.diff(rows.starts).astype(np.float64)
    return [int(group) for group in np.flatnonzero(own * left**2 > _SHARED)]


@njit(cache=True, nogil=True)
def _eliminated_groups(
    first: int,
    past: int,
    nodes: Ints,
    starts: Ints,
    tree: Tree,
    rows: Rows,
    space: Space,
    bricks: RankedBricks,
    call: Routines,
) -> bool:
    """Go through the groups from the first to before the last as `_eliminated` does through all."""
    for group in range(first, past):
        panel, left = _opened(group, nodes, starts, tree, rows, space, bricks)
        if not eliminate_columns(panel, left, call):
            return False
    return True


@njit(cache=True, nogil=True)
def _opened(
    group: int, nodes: Ints, starts: Ints, tree: Tree, rows: Rows, space: Space, bricks: RankedBricks
) -> tuple[Floats, Floats]:
    """Return a group's front as `opened` does, with its stiffness and loads."""
    panel, left = opened(group, tree, rows, space)
    own = nodes[starts[group] : starts[group + 1]]
    first, past = tree.firsts[group], tree.firsts[group + 1]
    assemble(panel, space.place_of, own, first, past, bricks)
    add_loads(panel, space.place_of, own, first, past, bricks)
    return panel, left


@njit(cache=True, nogil=True)
def _add_last(last: Floats, nodes: Ints, inner: int, past: int, place_of: Ints, bricks: RankedBricks) -> None:
    """Add what the matrix holds of kept freedoms and loads.

    Parameters
    ----------
    last : ndarray
        The front of them all, a column to a row, changed from the diagonal on.
    nodes : ndarray of int
        Nodes with kept freedoms.
    inner, past : int
        Ranks of these freedoms: from the first to before the last.
    place_of, bricks
        As for `assemble`.
    """
    assemble(last, place_of, nodes, inner, past, bricks)
    add_loads(last, place_of, nodes, inner, past, bricks)
