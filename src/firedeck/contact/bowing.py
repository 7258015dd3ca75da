"""Where a face's bow is looked at: midway between two fasteners, against beside them."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
import numpy.typing as npt
import shapely
from scipy.spatial import Delaunay, QhullError
from shapely.geometry.base import BaseGeometry

from firedeck.contact.section import union
from firedeck.definition.deck import DeckPlan
from firedeck.definition.shape import SealLine, feature_polygon, outline_polygon

__all__ = ["BowLooks", "LookedAt", "bow_looks", "looked_at"]

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

#: Gives nodes and weights of places in the sealing plane, -1 and nothing where a body has none.
_Shares = Callable[[Floats], tuple[Ints, Floats]]

#: How far from the wanted place the face is looked at [mm].
_REACH_MM = 15.0

#: How far beside a seal's line its own dent shows [mm].
_DENTED_MM = 6.0
#: Distance of the points at which a face is looked at [mm].
_LOOK_STEP_MM = 1.5
#: Fewest of them from which a height is told [1].
_FEWEST = 4
#: Least share of them that must lie where the face is looked at for its height to be told [1].
_LEAST_SEEN = 0.2


@dataclass(frozen=True)
class BowLooks:
    """Pairs of neighbouring fasteners between which a bow can be told.

    Attributes
    ----------
    pairs : tuple of (int, int)
        Places of the two among the fasteners [1].
    weights : ndarray, shape (pairs, nodes)
        What the height of every node adds to each pair's bow [1].
    """

    pairs: tuple[tuple[int, int], ...]
    weights: Floats


@dataclass(frozen=True)
class LookedAt:
    """Where faces may be looked at, the best first; the next counts where those before are too little.

    Attributes
    ----------
    head : tuple of shapely geometry
        On the head alone [mm].
    gap : tuple of shapely geometry
        Between both faces [mm].
    """

    head: tuple[BaseGeometry, ...]
    gap: tuple[BaseGeometry, ...]


def bow_looks(shares: _Shares, count: int, fasteners: Floats, areas: Sequence[BaseGeometry]) -> BowLooks:
    """Return where the bow between neighbouring fasteners is looked at.

    Heights are those of planes through the face within 15 mm, what is near counting most. Which places
    are looked at is a matter of the plan and not of nodes; pairs are left out where they are too few.

    Parameters
    ----------
    shares : callable
        Gives nodes and weights of places, each of shape (places, k) [1].
    count : int
        Number of nodes [1].
    fasteners : ndarray, shape (m, 2)
        Places of the fasteners [mm].
    areas : sequence of shapely geometry
        Where the face is looked at, each where those before are too little [mm].
    """
    pairs: list[tuple[int, int]] = []
    rows: list[Floats] = []
    seen = [_seen(shares, areas, place) for place in fasteners]
    for a, b in _neighbours(fasteners):
        middle = _seen(shares, areas, 0.5 * (fasteners[a] + fasteners[b]))
        row = _rise((seen[a], middle, seen[b]), fasteners[b] - fasteners[a], count)
        if row is not None:
            pairs.append((a, b))
            rows.append(row)
    return BowLooks(tuple(pairs), np.array(rows).reshape(len(pairs), count))


def looked_at(plan: DeckPlan, lines: Iterable[SealLine]) -> LookedAt:
    """Return where a deck's faces may be looked at.

    That is the face clear of seals, then for the head what is clear of seals with the chambers' roofs, and
    on a deck that is full of seals the whole face. A seal dents the face beside it, as wide as the grid's
    cells and not as it is; a roof says where the head is between two bores, where all else is dented.

    Parameters
    ----------
    plan : DeckPlan
        The sealing plane.
    lines : iterable of SealLine
        The seals' lines.
    """
    face = outline_polygon(plan).difference(union(feature_polygon(one) for one in plan.openings))
    dented = union(shapely.LinearRing(line.points) for line in lines).buffer(_DENTED_MM)
    with_roofs = union([face, *(feature_polygon(bore) for bore in plan.bores)])
    clear = face.difference(dented)
    return LookedAt((clear, with_roofs.difference(dented), face), (clear, face))


class _Look(NamedTuple):
    """Points of a face within reach of a place.

    Attributes
    ----------
    arms : ndarray, shape (n, 2)
        Where they lie from it [mm].
    weights : ndarray, shape (n,)
        How much each counts [1].
    nodes, parts : ndarray, shape (n, k)
        Nodes about each, and what it takes of their heights [1].
    """

    arms: Floats
    weights: Floats
    nodes: Ints
    parts: Floats


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


def _rise(looks: Sequence[_Look | None], apart: Floats, count: int) -> Floats | None:
    """Return what every node adds to the rise midway between two places [1], None if too little is seen.

    Each of the three places has its height and its slope along the line; the slope across is common to
    all, because midway a seal often leaves only one side of the line.
    """
    along = apart / np.linalg.norm(apart)
    rows, roots, numbers, parts = [], [], [], []
    for k, look in enumerate(looks):
        if look is None:
            return None
        row = np.zeros((len(look.arms), 7))
        row[:, k], row[:, 3 + k] = 1.0, look.arms @ along
        row[:, 6] = look.arms @ np.array([-along[1], along[0]])
        rows.append(row)
        roots.append(np.sqrt(look.weights))
        numbers.append(look.nodes)
        parts.append(look.parts)
    root = np.concatenate(roots)
    fit = np.linalg.pinv(root[:, None] * np.concatenate(rows), rcond=1e-6) * root
    points = (fit[1] - 0.5 * (fit[0] + fit[2]))[:, None] * np.concatenate(parts)
    nodes = np.concatenate(numbers)
    out = np.zeros(count)
    np.add.at(out, nodes[nodes >= 0], points[nodes >= 0])
    return out


def _seen(shares: _Shares, areas: Sequence[BaseGeometry], place: Floats) -> _Look | None:
    """Return the points of the face within reach of a place, None where they are too few.

    The points lie evenly and by the place, not by the grid: whatever grid looks at the same piece of the
    face. The nearer a point, the more it counts.
    """
    steps = np.arange(-_REACH_MM, _REACH_MM + 0.5 * _LOOK_STEP_MM, _LOOK_STEP_MM)
    arms = np.stack(np.meshgrid(steps, steps, indexing="ij"), axis=-1).reshape(-1, 2)
    weights = np.maximum(1.0 - (arms**2).sum(axis=1) / _REACH_MM**2, 0.0) ** 2
    fewest = max(_FEWEST, _LEAST_SEEN * (weights > 0.0).sum())
    for area in areas:
        seen = np.flatnonzero((weights > 0.0) & shapely.contains_xy(area, *(place + arms).T))
        if len(seen) < fewest:
            continue
        numbers, parts = shares(place + arms[seen])
        # A body has no material at some of them, or no node is near: what is left must do.
        known = np.abs(parts.sum(axis=1) - 1.0) < 1e-6
        if known.sum() >= fewest:
            used = seen[known]
            return _Look(arms[used], weights[used], numbers[known], parts[known])
    return None
