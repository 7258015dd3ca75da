"""Zones of a deck plan as masks on a regular grid of cells."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import shapely

from firedeck.definition.deck import DeckPlan
from firedeck.definition.shape import opening_polygon, outline_polygon, seal_line
from firedeck.kernel.raster import fill_rings

__all__ = ["band_zone", "opening_labels", "outline_zone", "polygon_zone"]

BoolArray = npt.NDArray[np.bool_]


def polygon_zone(
    polygon: shapely.Geometry, x: npt.NDArray[np.float64], y: npt.NDArray[np.float64]
) -> BoolArray:
    """Return which cell centres lie inside a polygon.

    Parameters
    ----------
    polygon : shapely geometry
        Polygon or polygons [mm].
    x, y : ndarray, shape (cols,) and (rows,)
        Rising cell centres at equal steps [mm].

    Returns
    -------
    ndarray of bool, shape (rows, cols)
        Inside or not, by the even-odd rule along every row.
    """
    mask = np.zeros((len(y), len(x)), bool)
    step_x, step_y = x[1] - x[0], y[1] - y[0]
    parts = getattr(polygon, "geoms", [polygon])
    edges = []
    for part in parts:
        for ring in (part.exterior, *part.interiors):
            corners = np.asarray(ring.coords)
            edges.append(np.hstack([corners[:-1], corners[1:]]))
    if edges:
        scale = np.array([step_x, step_y, step_x, step_y])
        placed = (np.vstack(edges) - np.array([x[0], y[0], x[0], y[0]])) / scale
        fill_rings(np.ascontiguousarray(placed[:, :2]), np.ascontiguousarray(placed[:, 2:]), mask)
    return mask


def outline_zone(
    plan: DeckPlan, x: npt.NDArray[np.float64], y: npt.NDArray[np.float64], *, grow: float = 0.0
) -> BoolArray:
    """Return which cell centres lie inside the outline, grown by `grow` [mm]."""
    return polygon_zone(outline_polygon(plan).buffer(grow), x, y)


def band_zone(
    plan: DeckPlan, x: npt.NDArray[np.float64], y: npt.NDArray[np.float64], *, grow: float = 0.0
) -> BoolArray:
    """Return which cell centres lie in the band of any seal, grown by `grow` [mm] each side."""
    bands = [
        shapely.LinearRing(seal_line(plan, seal, step=0.5).points).buffer(seal.band / 2 + grow, quad_segs=8)
        for seal in plan.seals
    ]
    return polygon_zone(shapely.union_all(bands), x, y) if bands else np.zeros((len(y), len(x)), bool)


def opening_labels(
    plan: DeckPlan, x: npt.NDArray[np.float64], y: npt.NDArray[np.float64]
) -> tuple[npt.NDArray[np.int32], BoolArray]:
    """Label the cells of every medium, and mark the dry holes.

    Returns
    -------
    labels : ndarray of int32, shape (rows, cols)
        0, or 1 + the medium's index in ``plan.media``; beyond the outline it is the outside.
    holes : ndarray of bool
        Fastener and dowel holes: nothing presses there, and they are no medium.
    """
    labels = np.where(outline_zone(plan, x, y), np.int32(0), np.int32(len(plan.media)))
    for number, name in enumerate(plan.media[:-1], start=1):
        _mark(labels, opening_polygon(plan, name), x, y, number)
    holes = np.zeros(labels.shape, bool)
    for feature in plan.openings:
        if feature.name not in plan.media:
            _mark(holes, opening_polygon(plan, feature.name), x, y, True)
    return labels, holes


def _mark(
    target: npt.NDArray[np.generic],
    polygon: shapely.Polygon,
    x: npt.NDArray[np.float64],
    y: npt.NDArray[np.float64],
    value: int,
) -> None:
    """Set the cells inside a polygon, looking at no more of the grid than the box about it."""
    x_low, y_low, x_high, y_high = polygon.bounds
    cols, rows = _around(x, x_low, x_high), _around(y, y_low, y_high)
    if cols.stop - cols.start > 1 and rows.stop - rows.start > 1:
        target[rows, cols][polygon_zone(polygon, x[cols], y[rows])] = value


def _around(centres: npt.NDArray[np.float64], low: float, high: float) -> slice:
    """Return the cells whose centres lie between two limits, and one more to either side."""
    first, last = (int(place) for place in np.searchsorted(centres, (low, high)))
    return slice(max(first - 1, 0), min(last + 1, len(centres)))
