"""Order of elimination on a grid: boxes halved along the plane with the fewest nodes, again and again."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

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
    groups: list[Ints] = []
    parents: list[int] = []
    _visit(places, np.arange(len(places)), groups, parents)
    sizes = np.array([len(group) for group in groups], dtype=np.int64)
    nodes = np.concatenate(groups) if groups else np.zeros(0, dtype=np.int64)
    return Dissection(nodes, np.concatenate([[0], np.cumsum(sizes)]), np.asarray(parents, dtype=np.int64))


def _visit(places: Ints, chosen: Ints, groups: list[Ints], parents: list[int]) -> int:
    """Add the groups of a box, children first, and return the number of its last group."""
    cut = _best_cut(places[chosen]) if len(chosen) > _LEAF_NODES else None
    children: list[int] = []
    own = chosen
    if cut is not None:
        axis, plane = cut
        along = places[chosen, axis]
        own = chosen[along == plane]
        sides = (chosen[along < plane], chosen[along > plane])
        children = [_visit(places, side, groups, parents) for side in sides if len(side)]
    number = len(groups)
    groups.append(own)
    parents.append(-1)
    for child in children:
        parents[child] = number
    return number


def _best_cut(places: Ints) -> tuple[int, int] | None:
    """Return axis and index of the plane that parts the rest evenly with few nodes, or None if none helps.

    A plane is worth its nodes over four times the product of both shares: a cut down the middle counts as it
    is, one that leaves a fifth on one side must have a third fewer nodes.
    """
    total = len(places)
    best: tuple[float, int, int, int] | None = None
    for axis in range(3):
        low = int(places[:, axis].min())
        counts = np.bincount(places[:, axis] - low)
        below = np.cumsum(counts) - counts
        share = below / np.maximum(total - counts, 1)
        even = 4.0 * share * (1.0 - share)
        fair = np.minimum(share, 1.0 - share) >= _LEAST_SHARE
        if not fair.any():
            continue
        dear = np.divide(counts, even, out=np.full(len(counts), np.inf), where=fair)
        plane = int(np.argmin(dear))
        if best is None or dear[plane] < best[0]:
            best = (float(dear[plane]), axis, plane + low, int(counts[plane]))
    if best is None or best[3] > total // 2:
        return None
    return best[1], best[2]
