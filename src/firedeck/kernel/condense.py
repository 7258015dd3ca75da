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

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt

from firedeck.kernel.dissection import dissect
from firedeck.kernel.fronts import add_loads, add_update, assemble, eliminate_front, neighbours_left

__all__ = ["Condensed", "GridBody", "Loads", "condense"]

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]


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
        corners = self.elements.ravel()
        starts = np.concatenate([[0], np.cumsum(np.bincount(corners, minlength=len(self.places)))])
        return starts, np.argsort(corners, kind="stable")


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


def condense(body: GridBody, kept: Ints, held: npt.NDArray[np.bool_], loads: Loads) -> Condensed:
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

    Returns
    -------
    Condensed
        Stiffness, arriving loads and flexibilities.

    Raises
    ------
    ArithmeticError
        If what is eliminated can move without resistance.
    """
    run = _Elimination(body, kept, held, loads)
    run.eliminate()
    return run.answer()


class _Elimination:
    """One run over the fronts; ranks count eliminated freedoms first, then kept ones, then loads."""

    def __init__(self, body: GridBody, kept: Ints, held: npt.NDArray[np.bool_], loads: Loads) -> None:
        self.body, self.kept = body, kept
        order = dissect(body.places)
        free = ~held
        free[kept[:, 0], kept[:, 1]] = False
        per_node = free[order.nodes]
        rank = np.full(held.shape, -1, dtype=np.int64)
        place = np.flatnonzero(per_node.ravel())
        node, axis = order.nodes[place // 3], place % 3
        self.inner = len(place)
        rank[node, axis] = np.arange(self.inner)
        rank[kept[:, 0], kept[:, 1]] = self.inner + np.arange(len(kept))
        self.rank, self.order = rank, order
        ends = np.concatenate([[0], np.cumsum(per_node.sum(axis=1))])
        self.firsts = ends[order.starts]
        self.total = self.inner + len(kept) + loads.count
        self.loads = (loads.starts, loads.columns + self.inner + len(kept), loads.values)
        self.place_of = np.full(self.total, -1, dtype=np.int32)
        self.stamp = np.full(self.total, -1, dtype=np.int32)
        self.found = np.empty(self.total, dtype=np.int64)
        self.waiting: dict[int, list[tuple[Ints, Floats]]] = {}

    def eliminate(self) -> None:
        """Go through the groups, children first."""
        for group, parent in enumerate(self.order.parents):
            left = self._one_front(group)
            if len(left[0]):
                self.waiting.setdefault(int(parent), []).append(left)

    def _boundary(self, group: int, nodes: Ints) -> Ints:
        past = int(self.firsts[group + 1])
        count = 0
        for ranks, _ in self.waiting.get(group, []):
            later = ranks[ranks >= past]
            later = later[self.stamp[later] != group]
            self.stamp[later] = group
            self.found[count : count + len(later)] = later
            count += len(later)
        count = neighbours_left(
            nodes, self.body.around, self.body.elements, self.rank, past, self.loads[:2],
            self.stamp, group, self.found, count,
        )  # fmt: skip
        return np.sort(self.found[:count])

    def _one_front(self, group: int) -> tuple[Ints, Floats]:
        nodes = self.order.nodes[self.order.starts[group] : self.order.starts[group + 1]]
        first, past = int(self.firsts[group]), int(self.firsts[group + 1])
        ranks = np.concatenate([np.arange(first, past), self._boundary(group, nodes)])
        panel = np.zeros((len(ranks), past - first), order="F")
        self._fill(panel, ranks, (nodes, first, past))
        children = [
            (np.searchsorted(ranks, child_ranks), update)
            for child_ranks, update in self.waiting.pop(group, [])
        ]
        left = eliminate_front(panel, children)
        if left is None:
            raise ArithmeticError("a part of the body can move without resistance")
        return ranks[past - first :], left

    def _fill(self, front: Floats, ranks: Ints, rows: tuple[Ints, int, int]) -> None:
        body = self.body
        self.place_of[ranks] = np.arange(len(ranks))
        assemble(front, self.place_of, rows, body.around, body.elements, self.rank, body.kinds, body.matrices)
        add_loads(front, self.place_of, rows, self.rank, self.loads)
        self.place_of[ranks] = -1

    def answer(self) -> Condensed:
        """Add what is left to the kept freedoms' own stiffness and loads."""
        ranks = np.arange(self.inner, self.total)
        last = np.zeros((len(ranks), len(ranks)), order="F")
        self._fill(last, ranks, (np.unique(self.kept[:, 0]), self.inner, self.inner + len(self.kept)))
        for child_ranks, update in self.waiting.pop(-1, []):
            place = np.searchsorted(ranks, child_ranks)
            add_update(last, update, place, 0, len(place), 0)
        n = len(self.kept)
        lower = np.tril(last)
        full = lower + np.tril(lower, -1).T
        return Condensed(
            np.ascontiguousarray(full[:n, :n]),
            np.ascontiguousarray(-full[:n, n:]),
            np.ascontiguousarray(-full[n:, n:]),
        )
