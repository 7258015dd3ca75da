"""Lines of a rectangular grid over the deck, evenly apart or laid on the walls' faces.

A cell that a wall's face crosses ties what lies beside the wall to it: the deck between two walls
seems to span less than it does, by a share of a cell. Lines on the faces of straight walls take that
away at no cost; slanted and round walls cross cells as before. Lines crowd toward these faces, though
not toward the outline, and are as many as they would be evenly: beside a wall a deck bends over few
cells, and a brick's curvature is the same all through it.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import shapely
from shapely.geometry.base import BaseGeometry

from firedeck.contact.section import BodySection
from firedeck.pressure_map import Grid

__all__ = ["Lattice", "fitted_lattice", "lattice"]

Floats = npt.NDArray[np.float64]

#: Least distance between two lines, over the wanted one [1].
_LEAST_STEP = 0.6
#: Area of faces on one line from which it is worth a line, over the square of a cell [1].
_LEAST_FACE = 10.0
#: Width of the cells next to a wall's face, the nearest first, over that of those further off [1].
_CROWDED = (0.6, 0.7, 0.8, 0.9)
#: Fewest cells between two faces that are not all of one width [1].
_FEWEST_CROWDED = 4
#: Finest difference between two lines [mm].
_DIGITS = 2


@dataclass(frozen=True)
class Lattice(Grid):
    """A grid whose lines may lie at different distances; `pitch` is the wanted one.

    Attributes
    ----------
    x_lines, y_lines : tuple of float
        Places of the lines, rising [mm].
    """

    x_lines: tuple[float, ...]
    y_lines: tuple[float, ...]

    @property
    def lines(self) -> tuple[Floats, Floats]:
        """Places of the lines in x and y [mm]."""
        return np.array(self.x_lines), np.array(self.y_lines)

    def indices(self, places: Floats) -> Floats:
        """Return places in cells from the first line, straight on beyond the last, shape (n, 2) [1]."""
        out = np.empty(np.shape(places))
        for axis, lines in enumerate(self.lines):
            cell = np.clip(np.searchsorted(lines, places[..., axis], side="right") - 1, 0, len(lines) - 2)
            out[..., axis] = cell + (places[..., axis] - lines[cell]) / (lines[cell + 1] - lines[cell])
        return out

    def nodes(self, at: npt.NDArray[np.integer]) -> Floats:
        """Return the places of nodes by their indices along x and y, shape (..., 2) [mm]."""
        return np.stack([lines[at[..., axis]] for axis, lines in enumerate(self.lines)], axis=-1)


def lattice(grid: Grid) -> Lattice:
    """Return a grid as one with lines."""
    if isinstance(grid, Lattice):
        return grid
    x, y = (
        tuple((start + grid.pitch * np.arange(count + 1)).tolist())
        for start, count in ((grid.x0, grid.cols), (grid.y0, grid.rows))
    )
    return Lattice(grid.x0, grid.y0, grid.pitch, grid.rows, grid.cols, x, y)


def fitted_lattice(outline: BaseGeometry, pitch: float, sections: Iterable[BodySection]) -> Lattice:
    """Return the grid over an outline with lines on the faces of straight walls.

    Parameters
    ----------
    outline : shapely geometry
        Outline of the deck [mm].
    pitch : float
        Wanted distance of the lines; they are 0.6 to 1.5 times as far apart [mm].
    sections : iterable of BodySection
        Bodies whose walls count.
    """
    low_x, low_y, high_x, high_y = outline.bounds
    faces = _faces(sections)
    x, y = (_lines(ends, faces[axis], pitch) for axis, ends in enumerate(((low_x, high_x), (low_y, high_y))))
    return Lattice(low_x, low_y, pitch, len(y) - 1, len(x) - 1, x, y)


def _faces(sections: Iterable[BodySection]) -> tuple[dict[float, float], dict[float, float]]:
    """Return by place the area of faces across x, and across y [mm^2]."""
    areas: tuple[dict[float, float], dict[float, float]] = defaultdict(float), defaultdict(float)
    for section in sections:
        for layer in section.layers:
            for ring in shapely.get_rings(shapely.get_parts(layer.plan)):
                at = shapely.get_coordinates(ring)
                step = np.diff(at, axis=0)
                for axis in (0, 1):
                    for k in np.flatnonzero(np.abs(step[:, axis]) < 10.0 ** -(_DIGITS + 1)):
                        place = round(float(at[k, axis]), _DIGITS)
                        areas[axis][place] += abs(float(step[k, 1 - axis])) * layer.thickness
    return areas


def _lines(ends: tuple[float, float], faces: dict[float, float], pitch: float) -> tuple[float, ...]:
    """Return lines at the ends, on the largest faces that lie apart, and between these [mm]."""
    chosen = list(ends)
    for place in sorted(faces, key=lambda at: (-faces[at], at)):
        if faces[place] < _LEAST_FACE * pitch**2:
            break
        apart = min(abs(place - other) for other in chosen)
        if ends[0] < place < ends[1] and apart >= _LEAST_STEP * pitch:
            chosen.append(place)
    fixed = np.sort(chosen)
    counts = np.maximum(1, np.round(np.diff(fixed) / pitch)).astype(np.int64)
    walls = np.concatenate([[False], np.ones(len(fixed) - 2, dtype=bool), [False]])
    between = [
        a + (b - a) * _shares_before(n, *beside)
        for a, b, n, *beside in zip(fixed[:-1], fixed[1:], counts, walls[:-1], walls[1:], strict=True)
    ]
    return tuple(np.append(np.concatenate(between), fixed[-1]).tolist())


def _shares_before(count: int, wall_before: bool, wall_behind: bool) -> Floats:
    """Return where cells between two fixed lines begin, as shares of the distance, shape (count,) [1]."""
    widths = np.ones(count)
    if count >= _FEWEST_CROWDED:
        near = np.array(_CROWDED[: (count + 1) // 2])
        if wall_before:
            widths[: len(near)] = near
        if wall_behind:
            widths[count - len(near) :] = near[::-1]
    ends = np.cumsum(widths)
    return np.asarray((ends - widths) / ends[-1])
