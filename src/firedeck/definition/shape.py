"""Geometry of a deck plan: openings as polygons, seals as lines with arc length and normals."""

from __future__ import annotations

import functools
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt
import shapely

from firedeck.definition.deck import OUTSIDE, Bore, DeckPlan, Dowel, FastenerHole, Port, Seal
from firedeck.errors import FiredeckError

__all__ = ["SealLine", "feature_polygon", "opening_polygon", "outline_polygon", "seal_line"]

FloatArray = npt.NDArray[np.float64]

#: Segments to a quarter circle wherever an arc becomes a polygon: 0.005 mm off at a radius of 45 mm.
_QUARTER_SEGMENTS = 64


@dataclass(frozen=True)
class SealLine:
    """A seal's closed line, sampled at equal steps of arc length, anticlockwise.

    Attributes
    ----------
    points : ndarray, shape (n, 2)
        Points on the line [mm].
    normals : ndarray, shape (n, 2)
        Unit normals pointing away from what the line encloses.
    length : float
        Length of the closed line [mm].
    centre : tuple of float
        Centre of what it encloses [mm]; angles are counted about it.
    is_round : bool
        Whether the line is a circle.
    """

    points: FloatArray
    normals: FloatArray
    length: float
    centre: tuple[float, float]
    is_round: bool

    @property
    def step(self) -> float:
        """Arc length between neighbouring points [mm]."""
        return self.length / len(self.points)

    @cached_property
    def angles(self) -> FloatArray:
        """Angle of every point about the centre [degree], 0 at +x, anticlockwise, in [0, 360)."""
        offset = self.points - np.asarray(self.centre)
        return np.asarray(np.degrees(np.arctan2(offset[:, 1], offset[:, 0])) % 360.0)


def outline_polygon(plan: DeckPlan) -> shapely.Polygon:
    """Return the deck's outline as a polygon [mm]."""
    return shapely.Polygon(plan.outline)


def feature_polygon(feature: Bore | Port | FastenerHole | Dowel) -> shapely.Polygon:
    """Return the polygon [mm] of a bore, port, fastener hole or dowel."""
    if feature.centre is not None and feature.diameter is not None:
        return _disc(feature.centre, feature.diameter)
    return shapely.Polygon(feature.path)


@functools.lru_cache(maxsize=1024)
def _disc(centre: tuple[float, float], diameter: float) -> shapely.Polygon:
    """Return a round opening; remembered, as a plan is asked for its openings over and over."""
    return shapely.Point(centre).buffer(diameter / 2, quad_segs=_QUARTER_SEGMENTS)


def opening_polygon(plan: DeckPlan, name: str) -> shapely.Polygon:
    """Return the polygon [mm] of the bore, port, fastener hole or dowel called `name`.

    Raises
    ------
    FiredeckError
        If the plan has no such opening.
    """
    for feature in plan.openings:
        if feature.name == name:
            return feature_polygon(feature)
    raise FiredeckError(
        f"the deck plan {plan.name!r} has no opening called {name!r}", remedy="check the spelling"
    )


def seal_line(plan: DeckPlan, seal: Seal, *, step: float = 0.1) -> SealLine:
    """Sample a seal's line at equal steps of arc length.

    Parameters
    ----------
    plan : DeckPlan
        Plan that the seal's `around` refers to.
    seal : Seal
        The seal.
    step : float
        Wanted arc length between points [mm]; the nearest that closes the line is taken.

    Returns
    -------
    SealLine
        The sampled line.

    Raises
    ------
    FiredeckError
        If `around` names nothing in the plan, or the offset leaves no line.
    """
    circle = _as_circle(plan, seal)
    if circle is not None:
        return _round_line(*circle, step)
    ring = _ring_points(plan, seal)
    return _sampled_line(ring, step)


def _as_circle(plan: DeckPlan, seal: Seal) -> tuple[tuple[float, float], float] | None:
    for feature in plan.openings:
        if feature.name == seal.around and feature.centre is not None and feature.diameter is not None:
            radius = feature.diameter / 2 + seal.offset
            if radius <= 0:
                raise FiredeckError(
                    f"the offset of seal {seal.name!r} leaves no line", remedy="use a larger offset"
                )
            return feature.centre, radius
    return None


def _round_line(centre: tuple[float, float], radius: float, step: float) -> SealLine:
    length = 2 * np.pi * radius
    count = max(24, round(length / step))
    angle = 2 * np.pi * np.arange(count) / count
    normals = np.column_stack([np.cos(angle), np.sin(angle)])
    return SealLine(np.asarray(centre) + radius * normals, normals, float(length), centre, True)


def _ring_points(plan: DeckPlan, seal: Seal) -> FloatArray:
    if seal.path:
        polygon = shapely.Polygon(seal.path)
    elif seal.around == OUTSIDE or seal.around == "outline":
        polygon = outline_polygon(plan).buffer(-seal.offset, quad_segs=_QUARTER_SEGMENTS)
    else:
        polygon = opening_polygon(plan, seal.around).buffer(seal.offset, quad_segs=_QUARTER_SEGMENTS)
    if polygon.is_empty or not isinstance(polygon, shapely.Polygon):
        raise FiredeckError(
            f"the offset of seal {seal.name!r} leaves no single line", remedy="use a smaller offset"
        )
    return np.asarray(shapely.orient_polygons(polygon).exterior.coords)[:-1]


def _sampled_line(corners: FloatArray, step: float) -> SealLine:
    closed = np.vstack([corners, corners[:1]])
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(closed, axis=0).T))])
    length = float(along[-1])
    count = max(24, round(length / step))
    at = np.arange(count) * length / count
    points = np.column_stack([np.interp(at, along, closed[:, axis]) for axis in (0, 1)])
    tangent = np.roll(points, -1, axis=0) - np.roll(points, 1, axis=0)
    tangent /= np.hypot(*tangent.T)[:, None]
    normals = np.column_stack([tangent[:, 1], -tangent[:, 0]])
    centroid = shapely.Polygon(corners).centroid
    return SealLine(points, normals, length, (centroid.x, centroid.y), False)
