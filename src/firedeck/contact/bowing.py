"""Where a face's bow is looked at: midway between two fasteners, against beside them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.spatial import Delaunay, QhullError

__all__ = ["REACH_MM", "BowLooks", "bow_looks"]

Floats = npt.NDArray[np.float64]

#: How far from the wanted place the face is looked at [mm].
REACH_MM = 15.0

#: Fewest kept nodes from which a face's height at a place is taken [1].
_FEWEST_NODES = 4


@dataclass(frozen=True)
class BowLooks:
    """Pairs of neighbouring fasteners between which a bow can be told.

    Attributes
    ----------
    pairs : tuple of (int, int)
        Places of the two among the fasteners [1].
    weights : ndarray, shape (pairs, nodes)
        What the height of every kept node adds to each pair's bow [1].
    """

    pairs: tuple[tuple[int, int], ...]
    weights: Floats


def bow_looks(nodes: Floats, fasteners: Floats, reach: float = REACH_MM) -> BowLooks:
    """Return where the bow between neighbouring fasteners is looked at.

    A height is that of a plane through the kept nodes within reach, the near ones counting most. Pairs
    are left out where too few lie there.

    Parameters
    ----------
    nodes : ndarray, shape (n, 2)
        Places of the kept nodes [mm].
    fasteners : ndarray, shape (m, 2)
        Places of the fasteners [mm].
    reach : float
        How far from the wanted place the face is looked at [mm].
    """
    pairs: list[tuple[int, int]] = []
    rows: list[Floats] = []
    for a, b in _neighbours(fasteners):
        where = (fasteners[a], 0.5 * (fasteners[a] + fasteners[b]), fasteners[b])
        beside_a, midway, beside_b = (_height(nodes, place, reach) for place in where)
        if beside_a is None or midway is None or beside_b is None:
            continue
        pairs.append((a, b))
        rows.append(midway - 0.5 * (beside_a + beside_b))
    return BowLooks(tuple(pairs), np.array(rows).reshape(len(pairs), len(nodes)))


def _neighbours(places: Floats) -> list[tuple[int, int]]:
    try:
        corners = Delaunay(places).simplices
    except QhullError:
        return [(k, k + 1) for k in range(len(places) - 1)]
    pairs = {tuple(sorted(pair)) for tri in corners for pair in (tri[:2], tri[1:], tri[[0, 2]])}
    kept = []
    for a, b in pairs:
        middle, radius = 0.5 * (places[a] + places[b]), 0.5 * np.linalg.norm(places[a] - places[b])
        others = np.delete(places, [a, b], axis=0)
        # Strictly: the diagonals of a rectangle are not neighbours, and which one Delaunay drew is chance.
        if np.all(np.linalg.norm(others - middle, axis=1) > radius * (1.0 + 1e-9)):
            kept.append((int(a), int(b)))
    return sorted(kept)


def _height(nodes: Floats, place: Floats, reach: float) -> Floats | None:
    """Return what every node adds to the height at a place, by a plane through those within reach [1].

    The nearer a node, the more it counts, on a scale of its own and not of the grid: a finer grid
    looks at the same piece of the face. None where too few lie there.
    """
    arms = nodes - place
    weights = np.maximum(1.0 - (arms**2).sum(axis=1) / reach**2, 0.0) ** 2
    near = weights > 0.0
    if near.sum() < _FEWEST_NODES:
        return None
    root = np.sqrt(weights[near])
    rows = root[:, None] * np.column_stack([np.ones(int(near.sum())), arms[near]])
    out = np.zeros(len(nodes))
    out[near] = np.linalg.pinv(rows, rcond=1e-6)[0] * root
    return out
