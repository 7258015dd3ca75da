"""How far a head stands up between its fasteners."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import shapely
from scipy.spatial import Delaunay, QhullError
from shapely.geometry.base import BaseGeometry

from firedeck.contact.answers import Faces, faces
from firedeck.contact.joint import Joint
from firedeck.contact.state import JointState
from firedeck.contact.weights import node_weights
from firedeck.definition.shape import outline_polygon

__all__ = ["Bow", "bows"]

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

#: How far beside a seal's line its own dent shows [mm].
_DENTED = 6.0
#: Distance of the points at which a face is looked at [mm].
_LOOK_STEP = 1.5
#: Fewest of them from which a height is told [1].
_FEWEST = 4
#: Least share of them that must lie on a known face for its height to be told [1].
_LEAST_KNOWN = 0.2


@dataclass(frozen=True)
class Bow:
    """How far the head stands up midway between two neighbouring fasteners.

    Attributes
    ----------
    fasteners : tuple of str
        The two fasteners [text].
    head : float
        Head's face midway, against its height beside the two fasteners [mm], up positive.
    opening : float
        The same for the gap between the faces [mm].
    """

    fasteners: tuple[str, str]
    head: float
    opening: float


def bows(state: JointState, *, reach: float = 15.0) -> tuple[Bow, ...]:
    """Return the bow between every two neighbouring fasteners, the largest gap first.

    Heights are those of planes through the face within reach, what is near counting most. Pairs are left
    out where too little of the face is known.

    Parameters
    ----------
    state : JointState
        The state.
    reach : float
        How far from the wanted place the face is looked at [mm].
    """
    both, looked_at = faces(state), _looked_at(state.joint)
    seats = state.joint.seats
    places = np.array([seat.place for seat in seats])
    found = []
    for a, b in _neighbours(places):
        rise = _rise(state.joint, both, looked_at, (places[a], places[b]), reach)
        if rise is not None:
            found.append(Bow((seats[a].name, seats[b].name), float(rise[0]), float(rise[1])))
    return tuple(sorted(found, key=lambda bow: -bow.opening))


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
    joint: Joint,
    both: Faces,
    looked_at: tuple[BaseGeometry, BaseGeometry],
    ends: tuple[Floats, Floats],
    reach: float,
) -> Floats | None:
    """Return how far head and gap stand up midway between two places [mm], None where too little is known.

    Each of the three places has its height and its slope along the line; the slope across is common to
    all, because midway a seal often leaves only one side of the line.
    """
    along = (ends[1] - ends[0]) / np.linalg.norm(ends[1] - ends[0])
    rows, sides, roots = [], [], []
    for k, place in enumerate((ends[0], 0.5 * (ends[0] + ends[1]), ends[1])):
        seen = _seen(joint, looked_at, place, reach)
        if seen is None:
            return None
        arms, weights, numbers, shares = seen
        row = np.zeros((len(arms), 7))
        row[:, k], row[:, 3 + k] = 1.0, arms @ along
        row[:, 6] = arms @ np.array([-along[1], along[0]])
        rows.append(row)
        roots.append(np.sqrt(weights))
        sides.append(
            np.column_stack([(shares * side[numbers]).sum(axis=1) for side in (both.head, both.opening)])
        )
    root = np.concatenate(roots)[:, None]
    fit, *_ = np.linalg.lstsq(root * np.concatenate(rows), root * np.concatenate(sides), rcond=1e-6)
    return np.asarray(fit[1] - 0.5 * (fit[0] + fit[2]))


def _seen(
    joint: Joint, looked_at: tuple[BaseGeometry, BaseGeometry], place: Floats, reach: float
) -> tuple[Floats, Floats, Ints, Floats] | None:
    """Return the points of the face within reach: arms [mm], weights, nodes and their shares [1].

    The points lie evenly and by the place, not by the grid: whatever grid looks at the same piece of the
    face. The nearer a point, the more it counts.
    """
    steps = np.arange(-reach, reach + 0.5 * _LOOK_STEP, _LOOK_STEP)
    arms = np.stack(np.meshgrid(steps, steps, indexing="ij"), axis=-1).reshape(-1, 2)
    weights = np.maximum(1.0 - (arms**2).sum(axis=1) / reach**2, 0.0) ** 2
    for area in looked_at:
        seen = np.flatnonzero((weights > 0.0) & shapely.contains_xy(area, *(place + arms).T))
        numbers, shares = node_weights(place + arms[seen], (joint.grid, joint.kept))
        known = np.abs(shares.sum(axis=1) - 1.0) < 1e-6
        if known.sum() >= max(_FEWEST, _LEAST_KNOWN * (weights > 0.0).sum()):
            used = seen[known]
            return arms[used], weights[used], numbers[known], shares[known]
    return None


def _looked_at(joint: Joint) -> tuple[BaseGeometry, BaseGeometry]:
    """Return where a face is looked at: clear of fasteners' holes and seals, and where that is too little.

    A seal dents the face beside it, as wide as the grid's cells and not as it is.
    """
    holes = [shapely.Point(hole.centre).buffer(0.5 * hole.diameter) for hole in joint.plan.fastener_holes]
    face = outline_polygon(joint.plan).difference(shapely.union_all(holes))
    lines = [shapely.LinearRing(line.points) for line in joint.model.lines(joint.plan, 2.0)]
    clear = face.difference(shapely.union_all(lines).buffer(_DENTED))
    return clear, face
