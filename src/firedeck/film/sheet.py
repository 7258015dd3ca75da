"""Finding the film sheet and its holes in a scan."""

from __future__ import annotations

from dataclasses import dataclass
from functools import reduce
from typing import Literal

import contourpy
import numpy as np
import numpy.typing as npt
import shapely
from scipy import ndimage

from firedeck.film.picture import ScanPicture
from firedeck.kernel.circle import fit_circle

__all__ = ["Hole", "SheetFinding", "find_sheet"]

FloatArray = npt.NDArray[np.float64]
MapArray = npt.NDArray[np.float32]
BoolArray = npt.NDArray[np.bool_]

#: Smallest hole that is looked at [mm^2]: a port of 2.4 mm.
_LEAST_AREA = 4.5

#: Holes whose outline is more ragged than this are tears or gaps, not cut openings.
_LEAST_ROUNDNESS = 0.45

_HISTOGRAM_BINS = 400

#: Points of an edge, and steps, that a circle is fitted with.
_CIRCLE_POINTS, _CIRCLE_STEPS = 160, 6

#: Least share of the picture that a white lid shows in [1].
_LEAST_SHARE = 0.01


@dataclass(frozen=True)
class Hole:
    """A closed hole in the sheet.

    Attributes
    ----------
    centre : tuple of float
        x and y in the picture, from its upper left corner, y down [mm].
    radius : float
        Radius of the circle of the same area [mm].
    area : float
        Area [mm^2].
    roundness : float
        4 pi area / perimeter^2: 1 for a circle [1].
    edge_residual : float
        Root mean square distance of the edge from the fitted circle [mm].
    """

    centre: tuple[float, float]
    radius: float
    area: float
    roundness: float
    edge_residual: float


@dataclass(frozen=True)
class SheetFinding:
    """What a scan shows of the sheet.

    Attributes
    ----------
    backing : str
        ``white`` or ``black``: what lies behind the sheet; ``none`` where no backing is seen.
    threshold : float
        Reflectance between film and backing [1].
    film : ndarray of bool, shape of the coarse picture
        Where there is film.
    outline : ndarray, shape (n, 2)
        Edge of the sheet in the picture [mm], y down; the picture's own edge where film reaches it.
    holes : tuple of Hole
        Closed holes, largest first. Holes torn open, or cut by the picture's edge, are not among them.
    reaches_edge : bool
        Whether the sheet runs out of the picture.
    """

    backing: Literal["white", "black", "none"]
    threshold: float
    film: BoolArray
    outline: FloatArray
    holes: tuple[Hole, ...]
    reaches_edge: bool

    @property
    def polygon(self) -> shapely.Geometry:
        """The sheet without its holes, in the picture [mm]."""
        return shapely.make_valid(shapely.Polygon(self.outline))


def find_sheet(picture: ScanPicture) -> SheetFinding:
    """Find the sheet, what lies behind it, and its holes.

    Film dye colours one channel more than the others, and a lid is brighter than film in all of
    them: black backing is told in the brightest channel, white backing in the darkest.

    Parameters
    ----------
    picture : ScanPicture
        The scan.

    Returns
    -------
    SheetFinding
        Sheet and holes; without any backing in sight, the whole picture is taken to be film.
    """
    planes = list(np.moveaxis(picture.coarse, 2, 0))
    brightest, darkest = reduce(np.maximum, planes), reduce(np.minimum, planes)
    readings: list[SheetFinding] = []
    black, white = _black_level(brightest, len(planes)), _white_level(darkest)
    if black is not None:
        readings.append(_read_backing(picture, "black", brightest, black))
    if white is not None:
        readings.append(_read_backing(picture, "white", -darkest, -white))
    if not readings:
        return _bare_sheet(picture)
    return max(readings, key=_plausibility)


def _plausibility(finding: SheetFinding) -> float:
    """Round holes speak for a reading of the backing, large ones and many of them louder."""
    return float(sum(hole.roundness**4 * np.sqrt(hole.radius) for hole in finding.holes))


def _bare_sheet(picture: ScanPicture) -> SheetFinding:
    rows, cols = picture.coarse.shape[:2]
    wide, high = cols * picture.coarse_mm[0], rows * picture.coarse_mm[1]
    frame = np.array([[0, 0], [wide, 0], [wide, high], [0, high]])
    return SheetFinding("none", 0.0, np.ones((rows, cols), bool), frame, (), True)


def _smooth_histogram(values: MapArray, low: float, high: float) -> FloatArray:
    counts, _ = np.histogram(values, _HISTOGRAM_BINS, (low, high))
    return np.asarray(ndimage.gaussian_filter1d(counts / values.size, 2.0))


def _black_level(light: MapArray, channels: int) -> float | None:
    """Return the level between black card and film, if both are there."""
    film = float(np.quantile(light[::2, ::2], 0.9))
    dark = light[light < 0.3 * film]
    if dark.size < 0.0005 * light.size:
        return None
    card = max(float(np.median(dark)), 1e-3 * film)
    # In grey, dye is nearly as dark as card: only a level close to the card's parts the two.
    lean = 0.5 if channels > 1 else 0.25
    return float(card ** (1 - lean) * film**lean)


def _white_level(light: MapArray) -> float | None:
    """Return the level in the valley between film and the brighter lid, if both are there."""
    high = float(np.quantile(light[::2, ::2], 0.9995)) * 1.05
    density = _smooth_histogram(light, 0.0, high)
    above = np.cumsum(density[::-1])[::-1]
    peaks = np.flatnonzero((density[1:-1] >= density[:-2]) & (density[1:-1] > density[2:])) + 1
    # Glare and specks of lint may be brighter than the lid; they are few.
    peaks = peaks[(density[peaks] > 2e-4) & (above[peaks] > 0.5 * _LEAST_SHARE)]
    lid = peaks[-1] if len(peaks) else 0
    for film in peaks[-2::-1]:
        least, lower = density[film : lid + 1].min(), min(density[film], density[lid])
        if least < 0.4 * lower and above[lid] > 0.5 * _LEAST_SHARE:
            floor = np.flatnonzero(density[film : lid + 1] <= max(2 * least, 0.02 * lower))
            return float((film + np.median(floor) + 0.5) * high / _HISTOGRAM_BINS)
        lid = lid if density[lid] > density[film] else film
    return None


def _read_backing(
    picture: ScanPicture, backing: Literal["white", "black"], light: MapArray, level: float
) -> SheetFinding:
    """Trace the sheet and its holes in light that is above the level on film."""
    rows, cols = light.shape
    walled = np.full((rows + 2, cols + 2), np.float32(-1e3), np.float32)
    walled[1:-1, 1:-1] = light
    outlines, openings = _trace(walled, level, picture.coarse_mm)
    if not outlines:
        return _bare_sheet(picture)
    outline = max(outlines, key=_area)
    frame = np.array([cols, rows]) * picture.coarse_mm
    close = np.asarray(picture.coarse_mm) * 0.6
    reaches = bool(np.any(outline < close) or np.any(outline > frame - close))
    holes = _holes(openings, outline, outlines)
    film = _largest_part(light > level)
    if backing == "black" and picture.coarse.shape[2] == 1:
        film = _without_backing(walled > level, holes, picture.coarse_mm)
    return SheetFinding(backing, abs(level), film, outline, holes, reaches)


def _trace(
    walled: MapArray, level: float, pixel: tuple[float, float]
) -> tuple[list[FloatArray], list[FloatArray]]:
    """Return closed lines around bright parts and around dark parts [mm]."""
    lines = contourpy.contour_generator(z=walled, line_type=contourpy.LineType.Separate).lines(level)
    outlines: list[FloatArray] = []
    openings: list[FloatArray] = []
    for line in lines:
        scaled = (np.asarray(line) - 0.5) * pixel
        signed = _signed_area(scaled)
        if abs(signed) >= _LEAST_AREA:
            (outlines if signed > 0 else openings).append(scaled)
    return outlines, openings


def _signed_area(line: FloatArray) -> float:
    x, y = line[:, 0] - line[0, 0], line[:, 1] - line[0, 1]
    return float(0.5 * np.sum(x[:-1] * y[1:] - x[1:] * y[:-1]))


def _area(line: FloatArray) -> float:
    return abs(_signed_area(line))


def _largest_part(film: BoolArray) -> BoolArray:
    labels, count = ndimage.label(film)
    if count < 2:
        return film
    sizes = np.bincount(labels.ravel())
    sizes[0] = 0
    return np.asarray(labels == np.argmax(sizes))


def _without_backing(bright: BoolArray, holes: tuple[Hole, ...], pixel: tuple[float, float]) -> BoolArray:
    """Return all but the surroundings and the holes: in grey, dark parts within the sheet are dye."""
    labels, _ = ndimage.label(~bright)
    behind = {int(labels[0, 0])}
    for hole in holes:
        col, row = (int(at / side + 1) for at, side in zip(hole.centre, pixel, strict=True))
        behind.add(int(labels[row, col]))
    return np.asarray(~np.isin(labels, list(behind - {0})))[1:-1, 1:-1]


def _holes(openings: list[FloatArray], outline: FloatArray, islands: list[FloatArray]) -> tuple[Hole, ...]:
    """Describe openings inside the sheet that hold no film."""
    sheet = shapely.make_valid(shapely.Polygon(outline))
    shapely.prepare(sheet)
    parts = [shapely.Point(island[0]) for island in islands if island is not outline]
    found = []
    for line in openings:
        shape = shapely.Polygon(line)
        if not sheet.contains(shapely.Point(line[0])) or any(shape.contains(part) for part in parts):
            continue
        hole = _describe(line, shape)
        if hole.roundness >= _LEAST_ROUNDNESS:
            found.append(hole)
    return tuple(sorted(found, key=lambda hole: -hole.area))


def _describe(line: FloatArray, shape: shapely.Polygon) -> Hole:
    centroid = np.array([shape.centroid.x, shape.centroid.y])
    roundness = float(4 * np.pi * shape.area / shape.length**2)
    radius = float(np.sqrt(shape.area / np.pi))
    centre, residual = _fit_circle(line[:-1], centroid, radius)
    # A slot has no circle: its centroid is its place.
    place = centre if residual < 0.08 * radius + 0.15 else centroid
    return Hole((float(place[0]), float(place[1])), radius, float(shape.area), roundness, residual)


def _fit_circle(edge: FloatArray, centre: FloatArray, radius: float) -> tuple[FloatArray, float]:
    """Fit a circle to an edge, giving nicks and tears little weight; return centre and residual [mm]."""
    start = float(centre[0]), float(centre[1]), radius
    x, y, residual = fit_circle(edge[:: max(1, len(edge) // _CIRCLE_POINTS)], start, _CIRCLE_STEPS)
    return np.array([x, y]), residual
