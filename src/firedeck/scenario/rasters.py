"""Rasters in deck coordinates, and the loops that fill outlines and follow lines."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import shapely

from firedeck.scenario.compiled import FloatArray, MapArray, MaskArray, compiled

__all__ = ["FAR", "Raster", "Rings", "fill_rings", "nearest_on_line", "rings_of", "spread_rows"]

#: Distance [cells] that stands for "nowhere near".
FAR = 1e9


@dataclass(frozen=True)
class Raster:
    """Values on square cells in deck coordinates, row 0 lowest in y.

    Attributes
    ----------
    x0, y0 : float
        Corner of cell (0, 0) with the lowest x and y [mm].
    pitch : float
        Side of a cell [mm].
    values : ndarray of float32, shape (rows, cols)
        What the raster holds, in the unit of the quantity.
    """

    x0: float
    y0: float
    pitch: float
    values: MapArray

    @property
    def total(self) -> float:
        """Integral over the area [unit of the values times mm^2]."""
        return float(self.values.sum(dtype=np.float64)) * self.pitch**2

    def cells(self, points: npt.ArrayLike) -> FloatArray:
        """Return fractional column, row of points [mm], cell centres at whole numbers, shape (n, 2)."""
        return (np.asarray(points, dtype=float) - (self.x0, self.y0)) / self.pitch - 0.5

    def sample(self, points: npt.ArrayLike) -> FloatArray:
        """Interpolate the values linearly at points [mm], shape (n, 2); 0 beyond the raster."""
        places = np.ascontiguousarray(self.cells(points))
        return _between_cells(np.ascontiguousarray(self.values), places)


@dataclass(frozen=True)
class Rings:
    """Closed rings of points, one after the other; `starts` has one more entry than there are rings."""

    points: FloatArray
    starts: npt.NDArray[np.int64]

    def mapped(self, points: FloatArray) -> Rings:
        """Return the same rings with other coordinates."""
        return Rings(np.ascontiguousarray(points), self.starts)

    def each(self) -> list[FloatArray]:
        """Return the points of every ring."""
        return [self.points[a:b] for a, b in zip(self.starts[:-1], self.starts[1:], strict=True)]

    @classmethod
    def joined(cls, rings: Sequence[FloatArray]) -> Rings:
        """Put rings one after the other."""
        starts = np.concatenate([[0], np.cumsum([len(ring) for ring in rings])]).astype(np.int64)
        return cls(np.vstack(rings) if rings else np.zeros((0, 2)), starts)


def rings_of(shape: shapely.Geometry) -> Rings:
    """Return the rings of polygons: exteriors anticlockwise, holes clockwise, end point not repeated."""
    oriented = shapely.orient_polygons(shape)
    polygons = [part for part in shapely.get_parts(oriented) if isinstance(part, shapely.Polygon)]
    lines = [line for polygon in polygons for line in (polygon.exterior, *polygon.interiors)]
    return Rings.joined([np.asarray(line.coords)[:-1] for line in lines])


@compiled
def _between_cells(values: MapArray, places: FloatArray) -> FloatArray:
    """Interpolate linearly at fractional columns and rows; 0 beyond the cells."""
    high, wide = values.shape
    result = np.zeros(len(places))
    for k in range(len(places)):
        left, low = int(np.floor(places[k, 0])), int(np.floor(places[k, 1]))
        for down in range(2):
            for right in range(2):
                col, row = left + right, low + down
                if 0 <= col < wide and 0 <= row < high:
                    across = abs(1 - right - (places[k, 0] - left))
                    result[k] += across * abs(1 - down - (places[k, 1] - low)) * values[row, col]
    return result


@compiled
def fill_rings(points: FloatArray, starts: npt.NDArray[np.int64], row0: int, out: MaskArray) -> None:
    """Set `out` to 1 where a cell's centre lies inside an odd number of rings.

    Parameters
    ----------
    points : ndarray, shape (n, 2)
        Corners as column, row [cells], centres at whole numbers.
    starts : ndarray of int64
        First corner of every ring, and one past the last.
    row0 : int
        Row of the raster that `out` begins with.
    out : ndarray of uint8, shape (rows, cols)
        Changed in place.
    """
    rows, cols = out.shape
    crossings = np.empty(len(points) + 1)
    for i in range(rows):
        y = float(row0 + i)
        count = 0
        for ring in range(len(starts) - 1):
            before = starts[ring + 1] - 1
            for k in range(starts[ring], starts[ring + 1]):
                y0, y1 = points[before, 1], points[k, 1]
                if (y0 <= y) != (y1 <= y):
                    slope = (points[k, 0] - points[before, 0]) / (y1 - y0)
                    crossings[count] = points[before, 0] + (y - y0) * slope
                    count += 1
                before = k
        ordered = np.sort(crossings[:count])
        for pair in range(0, count - 1, 2):
            first = max(0, int(np.ceil(ordered[pair])))
            last = min(cols - 1, int(np.floor(ordered[pair + 1])))
            for j in range(first, last + 1):
                out[i, j] = 1


@compiled
def nearest_on_line(
    points: FloatArray, closed: bool, limit: float, row0: int, col0: int, across: MapArray, along: MapArray,
    first: float,
) -> None:  # fmt: skip
    """Find, for the cells near a line, how far across and along they lie.

    Parameters
    ----------
    points : ndarray, shape (n, 2)
        Points of the line as column, row [cells].
    closed : bool
        Whether the last point joins the first.
    limit : float
        Cells farther than this from the line are left as they are [cells].
    row0, col0 : int
        Row and column of the raster that the arrays begin with.
    across : ndarray of float32, shape (rows, cols)
        Distance [cells], positive to the right of the direction of travel; only smaller ones replace.
    along : ndarray of float32, shape (rows, cols)
        Number of points from the line's first, with its fraction, plus `first`.
    first : float
        See `along`.
    """
    rows, cols = across.shape
    count = len(points)
    for k in range(count if closed else count - 1):
        ax, ay = points[k, 0] - col0, points[k, 1] - row0
        after = k + 1 if k + 1 < count else 0
        tx, ty = points[after, 0] - col0 - ax, points[after, 1] - row0 - ay
        squared = tx * tx + ty * ty
        if squared == 0.0:
            continue
        length = np.sqrt(squared)
        top = max(0, int(np.ceil(min(ay, ay + ty) - limit)))
        bottom = min(rows - 1, int(np.floor(max(ay, ay + ty) + limit)))
        left = max(0, int(np.ceil(min(ax, ax + tx) - limit)))
        right = min(cols - 1, int(np.floor(max(ax, ax + tx) + limit)))
        for i in range(top, bottom + 1):
            dy = i - ay
            for j in range(left, right + 1):
                dx = j - ax
                t = min(1.0, max(0.0, (dx * tx + dy * ty) / squared))
                ox, oy = dx - t * tx, dy - t * ty
                distance = np.sqrt(ox * ox + oy * oy)
                if distance < limit and distance < abs(across[i, j]):
                    side = (dx * ty - dy * tx) / length
                    across[i, j] = distance if side >= 0 else -distance
                    along[i, j] = first + k + t


@compiled
def spread_rows(field: MapArray, weights: MapArray) -> MapArray:
    """Convolve with ``weights x weights``; rows within the kernel's radius of top and bottom are lost.

    Columns beyond the field count as zero.
    """
    rows, cols = field.shape
    radius = len(weights) // 2
    result = np.zeros((rows - 2 * radius, cols), np.float32)
    padded = np.zeros(cols + 2 * radius, np.float32)
    for i in range(rows - 2 * radius):
        middle, line = padded[radius : radius + cols], result[i]
        middle[:] = 0.0
        for k in range(len(weights)):
            for j in range(cols):
                middle[j] += weights[k] * field[i + k, j]
        for k in range(len(weights)):
            shifted = padded[k : k + cols]
            for j in range(cols):
                line[j] += weights[k] * shifted[j]
    return result
