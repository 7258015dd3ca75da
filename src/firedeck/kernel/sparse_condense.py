"""Condensation of any sparse stiffness to few freedoms and load patterns by multifrontal elimination.

The same elimination as on a grid of bricks, for meshes without one: freedoms are halved along the
longest side of where they lie, those of one half that touch the other are eliminated after both, and
every front is dense (George, SIAM J. Numer. Anal. 10 (1973) 345; Duff and Reid, ACM Trans. Math.
Softw. 9 (1983) 302; both from memory). Kept freedoms and load columns are never pivots.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from scipy.sparse import csr_array, hstack, tril, vstack

from firedeck.kernel.condense import Condensed
from firedeck.kernel.fronts import add_update, eliminate_front

__all__ = ["condense_sparse"]

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

#: Freedoms that are eliminated together without a further cut.
_LEAF = 192


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
    inner = np.setdiff1d(np.arange(len(places)), kept)
    groups: list[tuple[Ints, list[int]]] = []
    if len(inner):
        _halve(stiffness[inner][:, inner].tocsr(), places[inner], np.arange(len(inner)), groups)
    order = np.concatenate([*(inner[own] for own, _ in groups), kept]).astype(np.int64)
    whole = _bordered(stiffness[order][:, order], loads[order])
    return _Fronts(whole, groups, len(inner)).run(len(kept))


def _bordered(stiffness: csr_array, loads: csr_array) -> csr_array:
    """Return the upper triangle of the stiffness, with the loads as further columns."""
    upper = tril(stiffness).T
    count = loads.shape[1]
    empty = csr_array((count, stiffness.shape[0] + count))
    return csr_array(vstack([hstack([upper, -loads]), empty], format="csr"))


def _halve(graph: csr_array, places: Floats, chosen: Ints, groups: list[tuple[Ints, list[int]]]) -> int:
    """Add the groups of a set of freedoms, children first, and return the number of its last group."""
    own, children = chosen, []
    if len(chosen) > _LEAF:
        low, high, between = _cut(graph, places, chosen)
        if len(low) and len(high):
            own = between
            children = [_halve(graph, places, side, groups) for side in (low, high)]
    groups.append((own, children))
    return len(groups) - 1


def _cut(graph: csr_array, places: Floats, chosen: Ints) -> tuple[Ints, Ints, Ints]:
    """Part a set of freedoms along the axis that leaves the fewest between both halves."""
    best: tuple[Ints, Ints, Ints] | None = None
    near = graph[chosen][:, chosen]
    for axis in range(3):
        along = places[chosen, axis]
        below = along < np.median(along)
        touching = below & (near.astype(bool).astype(np.int32) @ (~below).astype(np.int32) > 0)
        parts = (chosen[below & ~touching], chosen[~below], chosen[touching])
        fair = min(len(parts[0]), len(parts[1])) > 0.15 * len(chosen)
        if best is None or (fair and (len(parts[2]) < len(best[2]) or not len(best[0]))):
            best = parts
    assert best is not None
    return best


class _Fronts:
    """One run over the groups of freedoms; what each leaves waits for its parent."""

    def __init__(self, whole: csr_array, groups: list[tuple[Ints, list[int]]], inner: int) -> None:
        self.whole, self.groups, self.inner = whole, groups, inner
        self.left: dict[int, tuple[Ints, Floats]] = {}
        self.place_of = np.zeros(whole.shape[0], dtype=np.int64)

    def run(self, kept: int) -> Condensed:
        """Eliminate group by group and return what remains of kept freedoms and loads."""
        first = 0
        for number, (own, children) in enumerate(self.groups):
            self.left[number] = self._front(first, first + len(own), children)
            first += len(own)
        ranks = np.arange(self.inner, self.whole.shape[0])
        last = self._filled(ranks, self.inner, self.inner + kept, len(ranks))
        for place, update in self._children(ranks, list(self.left)):
            add_update(last, update, place, 0, len(place), 0)
        full = np.tril(last) + np.tril(last, -1).T
        return Condensed(
            np.ascontiguousarray(full[:kept, :kept]),
            np.ascontiguousarray(-full[:kept, kept:]),
            np.ascontiguousarray(-full[kept:, kept:]),
        )

    def _front(self, first: int, past: int, children: list[int]) -> tuple[Ints, Floats]:
        columns = self.whole.indices[self.whole.indptr[first] : self.whole.indptr[past]]
        met = np.concatenate([columns, *(self.left[child][0] for child in children)])
        ranks = np.concatenate([np.arange(first, past), np.unique(met[met >= past])]).astype(np.int64)
        panel = self._filled(ranks, first, past, past - first)
        left = eliminate_front(panel, self._children(ranks, children))
        if left is None:
            raise ArithmeticError("a part of the body can move without resistance")
        return ranks[past - first :], left

    def _filled(self, ranks: Ints, first: int, past: int, width: int) -> Floats:
        """Return the first columns of a front with its rows of the matrix, lower triangle."""
        front = np.zeros((len(ranks), width), order="F")
        self.place_of[ranks] = np.arange(len(ranks))
        entries = slice(self.whole.indptr[first], self.whole.indptr[past])
        row = np.repeat(np.arange(past - first), np.diff(self.whole.indptr[first : past + 1]))
        front[self.place_of[self.whole.indices[entries]], row] = self.whole.data[entries]
        return front

    def _children(self, ranks: Ints, children: list[int]) -> list[tuple[Ints, Floats]]:
        """Return what some fronts have left, with its places among the ranks of another."""
        found = [self.left.pop(child) for child in children]
        return [(np.searchsorted(ranks, own), update) for own, update in found if len(own)]
