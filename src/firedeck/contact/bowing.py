"""Where a face's bow is looked at: midway between two fasteners, against beside them."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import shapely
from scipy.spatial import Delaunay, QhullError
from shapely.geometry.base import BaseGeometry

from firedeck.contact.lattice import Lattice
from firedeck.contact.section import union
from firedeck.contact.weights import node_weights
from firedeck.definition.deck import DeckPlan
from firedeck.definition.shape import SealLine, feature_polygon, outline_polygon

__all__ = ["REACH_MM", "BowLooks", "bow_looks", "clear_face"]

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

#: How far from the wanted place the face is looked at [mm].
REACH_MM = 15.0

#: How far beside a seal's line its own dent shows [mm].
_DENTED_MM = 6.0
#: Distance of the points at which a face is looked at [mm].
_LOOK_STEP_MM = 1.5
#: Fewest of them from which a height is told [1].
_FEWEST = 4
#: Least share of them that must lie on a known face for its height to be told [1].
_LEAST_KNOWN = 0.2


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


def bow_looks(
    face: tuple[Lattice, Ints],
    fasteners: Floats,
    looked_at: Sequence[BaseGeometry],
    reach: float = REACH_MM,
) -> BowLooks:
    """Return where the bow between neighbouring fasteners is looked at.

    Heights are those of planes through the face within reach, what is near counting most. Pairs are left
    out where too little of the face is known.

    Parameters
    ----------
    face : tuple of (Lattice, ndarray of int)
        Cells in plan, and the place of every node among the kept ones, -1 elsewhere.
    fasteners : ndarray, shape (m, 2)
        Places of the fasteners [mm].
    looked_at : sequence of shapely geometry
        Where the face is looked at, each where those before are too little; see `clear_face` [mm].
    reach : float
        How far from the wanted place the face is looked at [mm].
    """
    pairs: list[tuple[int, int]] = []
    rows: list[Floats] = []
    for a, b in _neighbours(fasteners):
        row = _rise(face, looked_at, (fasteners[a], fasteners[b]), reach)
        if row is not None:
            pairs.append((a, b))
            rows.append(row)
    return BowLooks(tuple(pairs), np.array(rows).reshape(len(pairs), int(face[1].max()) + 1))


def clear_face(plan: DeckPlan, lines: Iterable[SealLine]) -> tuple[BaseGeometry, ...]:
    """Return where a deck's face may be looked at, the best first [mm].

    That is its face clear of seals, what is clear of seals with the chambers' roofs, and what is left on a
    deck that is full of seals. A seal dents the face beside it, as wide as the grid's cells and not as it
    is. A roof says where the head is between two bores, where all else is dented; but its nodes are kept or
    not as the block's edge runs through the grid's cells, and it is no face that presses.

    Parameters
    ----------
    plan : DeckPlan
        The sealing plane.
    lines : iterable of SealLine
        The seals' lines.
    """
    holes = union(feature_polygon(hole) for hole in plan.fastener_holes)
    with_roofs = outline_polygon(plan).difference(holes)
    dented = union(shapely.LinearRing(line.points) for line in lines).buffer(_DENTED_MM)
    face = with_roofs.difference(union(feature_polygon(one) for one in plan.openings))
    return face.difference(dented), with_roofs.difference(dented), face


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


def _rise(
    face: tuple[Lattice, Ints],
    looked_at: Sequence[BaseGeometry],
    ends: tuple[Floats, Floats],
    reach: float,
) -> Floats | None:
    """Return what every node adds to the rise midway between two places [1], None if too little is known.

    Each of the three places has its height and its slope along the line; the slope across is common to
    all, because midway a seal often leaves only one side of the line.
    """
    along = (ends[1] - ends[0]) / np.linalg.norm(ends[1] - ends[0])
    rows, roots, numbers, shares = [], [], [], []
    for k, place in enumerate((ends[0], 0.5 * (ends[0] + ends[1]), ends[1])):
        seen = _seen(face, looked_at, place, reach)
        if seen is None:
            return None
        arms, weights, near, share = seen
        row = np.zeros((len(arms), 7))
        row[:, k], row[:, 3 + k] = 1.0, arms @ along
        row[:, 6] = arms @ np.array([-along[1], along[0]])
        rows.append(row)
        roots.append(np.sqrt(weights))
        numbers.append(near)
        shares.append(share)
    root = np.concatenate(roots)
    fit = np.linalg.pinv(root[:, None] * np.concatenate(rows), rcond=1e-6) * root
    points = (fit[1] - 0.5 * (fit[0] + fit[2]))[:, None] * np.concatenate(shares)
    nodes = np.concatenate(numbers)
    out = np.zeros(int(face[1].max()) + 1)
    np.add.at(out, nodes[nodes >= 0], points[nodes >= 0])
    return out


def _seen(
    face: tuple[Lattice, Ints], looked_at: Sequence[BaseGeometry], place: Floats, reach: float
) -> tuple[Floats, Floats, Ints, Floats] | None:
    """Return the points of the face within reach: arms [mm], weights, nodes and their shares [1].

    The points lie evenly and by the place, not by the grid: whatever grid looks at the same piece of the
    face. The nearer a point, the more it counts.
    """
    steps = np.arange(-reach, reach + 0.5 * _LOOK_STEP_MM, _LOOK_STEP_MM)
    arms = np.stack(np.meshgrid(steps, steps, indexing="ij"), axis=-1).reshape(-1, 2)
    weights = np.maximum(1.0 - (arms**2).sum(axis=1) / reach**2, 0.0) ** 2
    for area in looked_at:
        seen = np.flatnonzero((weights > 0.0) & shapely.contains_xy(area, *(place + arms).T))
        numbers, shares = node_weights(place + arms[seen], face)
        known = np.abs(shares.sum(axis=1) - 1.0) < 1e-6
        if known.sum() >= max(_FEWEST, _LEAST_KNOWN * (weights > 0.0).sum()):
            used = seen[known]
            return arms[used], weights[used], numbers[known], shares[known]
    return None
