"""Zones of a deck plan as masks on a regular grid of cells."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import shapely

from firedeck.definition.deck import DeckPlan
from firedeck.definition.shape import opening_polygon, outline_polygon, seal_line

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
    for part in parts:
        rings = [np.asarray(part.exterior.coords), *(np.asarray(ring.coords) for ring in part.interiors)]
        _fill_rings(mask, rings, (x[0], step_x), (y[0], step_y))
    return mask


def _fill_rings(
    mask: BoolArray,
    rings: list[npt.NDArray[np.float64]],
    x_axis: tuple[float, float],
    y_axis: tuple[float, float],
) -> None:
    starts = np.vstack([ring[:-1] for ring in rings])
    ends = np.vstack([ring[1:] for ring in rings])
    low, high = starts[:, 1].min(initial=np.inf), starts[:, 1].max(initial=-np.inf)
    first = max(0, int(np.ceil((low - y_axis[0]) / y_axis[1])))
    last = min(mask.shape[0] - 1, int(np.floor((high - y_axis[0]) / y_axis[1])))
    for row in range(first, last + 1):
        at = y_axis[0] + row * y_axis[1]
        crossing = (starts[:, 1] <= at) != (ends[:, 1] <= at)
        a, b = starts[crossing], ends[crossing]
        cuts = np.sort(a[:, 0] + (at - a[:, 1]) * (b[:, 0] - a[:, 0]) / (b[:, 1] - a[:, 1]))
        places = np.ceil((cuts - x_axis[0]) / x_axis[1]).astype(int).clip(0, mask.shape[1])
        for begin, end in zip(places[::2], places[1::2], strict=True):
            mask[row, begin:end] ^= True


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
    labels = np.zeros((len(y), len(x)), np.int32)
    labels[~outline_zone(plan, x, y)] = len(plan.media)
    for number, name in enumerate(plan.media[:-1], start=1):
        labels[polygon_zone(opening_polygon(plan, name), x, y)] = number
    wet = set(plan.media)
    dry = [opening_polygon(plan, feature.name) for feature in plan.openings if feature.name not in wet]
    holes = polygon_zone(shapely.union_all(dry), x, y) if dry else np.zeros(labels.shape, bool)
    return labels, holes
