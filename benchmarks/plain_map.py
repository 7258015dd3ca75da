"""The plain reading's map: light on the deck grid, referred to blank film, turned into pressure, flagged."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from PIL import Image, ImageDraw
from scipy import ndimage
from skimage.transform import AffineTransform, warp

from benchmarks.plain_given import PITCH_MM, Bools, Curve, Floats, Given, Ints, Map
from benchmarks.plain_pose import Pose, apply
from benchmarks.plain_sheet import Picture, Sheet, ink_places

__all__ = ["BELOW", "DUST", "MARKS", "PEN", "RIM", "SATURATED", "UNDER", "Deck", "PlainMap", "make_map"]

BELOW, UNDER, SATURATED, NO_FILM, RIM, DUST, PEN = 1, 2, 4, 8, 64, 128, 256
#: Marks on the film that are no pressure.
MARKS = RIM | DUST | PEN
#: Rim of a cut [mm], and how far contact may reach beyond the outline [mm].
RIM_MM, BEYOND_MM = 0.6, 1.0
#: Side of a tile of the blank surface and of faint film [cells]; every n-th cell of it is looked at.
TILE, THINNED = 20, 2
#: Highest power of the blank surface, expected size of its terms, weight of a darker tile of land.
ORDER, TERM_SD, DARKER_WEIGHT = 4, 0.02, 0.03
#: Blur of the scanner's optics [mm]; entries of the tables; most that is put back for blur [1].
OPTICS_MM, ENTRIES, MOST_RESTORED = 0.04, 8192, 0.3


@dataclass(frozen=True)
class Deck:
    """The grid of the deck: corner [mm] and shape."""

    low: Floats
    shape: tuple[int, int]

    @classmethod
    def around(cls, outline: shapely.Polygon, margin: float = 10.0) -> Deck:
        """Return the grid that covers an outline with a margin [mm]."""
        x_low, y_low, x_high, y_high = outline.bounds
        low = np.floor((np.array([x_low, y_low]) - margin) / PITCH_MM) * PITCH_MM
        cols, rows = np.ceil((np.array([x_high, y_high]) + margin - low) / PITCH_MM).astype(int)
        return cls(low, (int(rows), int(cols)))

    def cells(self, points: Floats) -> Floats:
        """Return fractional row and column of points, as two arrays stacked in front."""
        place = (points - self.low) / PITCH_MM - 0.5
        return np.stack([place[..., 1], place[..., 0]])

    def points(self, cells: Ints) -> Floats:
        """Return the points in the middle of cells, given as row and column [mm]."""
        return np.asarray((cells[..., ::-1] + 0.5) * PITCH_MM + self.low)

    def labels(self, shapes: Iterable[shapely.Geometry]) -> NDArray[np.int32]:
        """Return the number of the last shape that holds each cell, counted from 1; 0 where there is none.

        Pillow does it many times faster than scikit-image where corners are many.
        """
        image = Image.new("I", self.shape[::-1])
        draw = ImageDraw.Draw(image)
        for number, shape in enumerate(shapes, start=1):
            for part in getattr(shape, "geoms", [shape]):
                for ring, fill in ((part.exterior, number), *((hole, 0) for hole in part.interiors)):
                    rows, cols = self.cells(np.asarray(ring.coords))
                    draw.polygon(list(zip(cols.tolist(), rows.tolist(), strict=True)), fill=fill)
        return np.array(image)

    def inside(self, shape: shapely.Geometry) -> Bools:
        """Return which cells lie inside a shape."""
        return self.labels([shape]) > 0


@dataclass(frozen=True)
class PlainMap:
    """Signal [1], pressure and its noise [MPa] and flags on the deck grid.

    `blank_sd` is the doubt of the blank level [1], `blur` the variance of blur along each axis of a
    band that is read between cells [mm^2].
    """

    deck: Deck
    signal: Map
    value: Map
    noise: Map
    flags: NDArray[np.uint16]
    blank_sd: float
    blur: float


def make_map(picture: Picture, sheet: Sheet, pose: Pose, given: Given) -> PlainMap:
    """Lay one sheet onto the deck and read its pressure."""
    deck = Deck.around(given.outline)
    light = warp(picture.fine, _mapping(pose, deck, picture.fine_mm), output_shape=deck.shape, order=1)
    inward = ndimage.distance_transform_cdt(sheet.film, "chessboard").astype(np.float32)
    depth = warp(inward, _mapping(pose, deck, picture.coarse_mm), output_shape=deck.shape, order=1)
    depth *= np.float32(picture.coarse_mm.mean())
    edge = picture.coarse_mm.mean() / 2  # a film pixel beside one without film has its middle so far within
    present, clear = depth > edge, depth > edge + RIM_MM
    factors, blank_sd = _blank(light, clear, deck, given)
    py, px = (_powers(np.linspace(-1, 1, n)).astype(np.float32) for n in deck.shape)
    signal = 1 - light * np.exp(-(py @ factors.astype(np.float32) @ px.T))
    signal[~present] = np.nan
    flags = np.where(present, np.where(clear, 0, RIM), NO_FILM).astype(np.uint16)
    value, noise = _convert(signal, flags, picture, given)
    _flag_marks(signal, flags, ink_places(picture, sheet), picture, pose, deck)
    blur = _cell_blur(picture) + PITCH_MM**2 / 6
    return PlainMap(deck, signal, value, noise, flags, blank_sd, blur)


def _mapping(pose: Pose, deck: Deck, pixel: Floats) -> AffineTransform:
    """Return the map from deck cells to pixels of a picture of some pixel size [mm]."""
    to_picture = np.linalg.inv(np.vstack([pose.matrix, [0, 0, 1]]))
    corner = deck.low + PITCH_MM / 2
    to_mm = np.array([[PITCH_MM, 0, corner[0]], [0, PITCH_MM, corner[1]], [0, 0, 1]])
    to_pixel = np.array([[1 / pixel[0], 0, -0.5], [0, 1 / pixel[1], -0.5], [0, 0, 1]])
    return AffineTransform(to_pixel @ to_picture @ to_mm)


def _powers(scaled: Floats) -> Floats:
    return np.asarray(scaled[:, None] ** np.arange(ORDER + 1))


def _blank(light: Map, clear: Bools, deck: Deck, given: Given) -> tuple[Floats, float]:
    """Fit ln(light) of unexposed film by a smooth surface; return its factors and its doubt [1].

    Beyond the outline film is blank; land off the seals may be tinted, and so counts less where it
    is darker than the surface.
    """
    bands = [shapely.LinearRing(band.points[::5]).buffer(band.width / 2 + 0.3) for band in given.bands]
    border = clear & ~deck.inside(given.outline.buffer(BEYOND_MM))
    land = clear & deck.inside(given.outline) & ~deck.inside(shapely.union_all(bands))
    parts = [_tile_medians(light, usable) for usable in (border, land)]
    tiles = np.vstack([tile for tile, _ in parts])
    logs = np.log(np.concatenate([medians for _, medians in parts]))
    is_land = np.arange(len(logs)) >= len(parts[0][1])
    y, x = np.clip(2 * (tiles + 0.5).T * TILE / np.array(deck.shape)[:, None] - 1, -1, 1)
    rows = (_powers(y)[:, :, None] * _powers(x)[:, None, :]).reshape(len(logs), -1)
    factors, spread = _fit_surface(rows, logs, is_land)
    least = 0.003 if (~is_land).sum() > 50 else 0.012
    return factors.reshape(ORDER + 1, -1), float(np.hypot(least, spread / 2))


def _tile_medians(light: Map, usable: Bools) -> tuple[Ints, Floats]:
    """Return row and column of the tiles that hold enough usable cells, and their medians."""
    thin = np.where(usable[::THINNED, ::THINNED], light[::THINNED, ::THINNED], np.nan)
    side = TILE // THINNED
    high, wide = (n // side for n in thin.shape)
    parted = thin[: high * side, : wide * side].reshape(high, side, wide, side)
    tiles = parted.swapaxes(1, 2).reshape(high, wide, side**2)
    count = np.isfinite(tiles).sum(axis=2)
    kept = count >= 2 * side // THINNED
    ordered = np.sort(tiles[kept], axis=1)  # what is not a number comes last
    place = np.arange(len(ordered))
    medians = (ordered[place, (count[kept] - 1) // 2] + ordered[place, count[kept] // 2]) / 2
    return np.argwhere(kept), medians.astype(float)


def _fit_surface(rows: Floats, logs: Floats, is_land: Bools) -> tuple[Floats, float]:
    degree = np.add.outer(np.arange(ORDER + 1), np.arange(ORDER + 1)).ravel()
    penalty = np.where(degree == 0, 1e-8, (np.maximum(degree, 2) / 2) ** 4 / TERM_SD**2)
    penalty = np.diag(np.where(degree > ORDER, 1e12, penalty))
    weights, spread = np.ones(len(logs)), 0.01
    for _ in range(25):
        weighted = rows * (weights / spread**2)[:, None]
        factors = np.linalg.solve(weighted.T @ rows + penalty, weighted.T @ logs)
        misfit = logs - rows @ factors
        spread = max(1.4826 * float(np.median(np.abs(misfit[weights > 0.5]))), 5e-4)
        weights = 1 / np.maximum(1, np.abs(misfit) / (2.5 * spread)) ** 2
        weights[is_land & (misfit < -2 * spread)] *= DARKER_WEIGHT
    return np.asarray(factors, dtype=float), spread


def _cell_blur(picture: Picture) -> float:
    """Return the variance of optics, pixel and reading between pixels along each axis [mm^2]."""
    pixel = float(picture.fine_mm.mean())
    return OPTICS_MM**2 + pixel**2 / 12 + pixel**2 / 6


def _tables(curve: Curve, picture: Picture) -> tuple[Map, Map, Map, Map]:
    """Return pressure, mean-preserving under grain, its noise, half its bend, and the grain's variance."""
    signal = np.linspace(0, 1, ENTRIES)
    pressure = curve.to_pressure(signal)
    grain = np.interp(signal, curve.signal, curve.grain) / PITCH_MM
    step = np.maximum(grain, 2 / ENTRIES)
    within = _grain_left(picture) * grain**2
    above = curve.to_pressure(np.minimum(signal + step, curve.signal[-1]))
    below = curve.to_pressure(np.maximum(signal - step, 0))
    bend = (above - 2 * pressure + below) / step**2
    toe = curve.to_signal(curve.lowest)
    inside = (signal > toe + step) & (signal < curve.signal[-1] - step)
    corrected = np.where(inside, pressure - bend / 2 * within, pressure)
    noise, half_bend = (above - below) / (2 * step) * grain, curve.bend(signal) / 2
    found = np.stack([corrected, noise, half_bend, within]).astype(np.float32)
    return found[0], found[1], found[2], found[3]


def _grain_left(picture: Picture) -> float:
    """Return the variance of grain read between pixels over that of its average over a cell [1]."""
    pixel = float(picture.fine_mm.mean())
    frequency = np.linspace(0, 20 / PITCH_MM, 4001)
    box = np.sinc(frequency * pixel) ** 2
    optics = np.exp(-((2 * np.pi * OPTICS_MM * frequency) ** 2))
    seen = (np.sum(box * optics) / np.sum(box)) ** 2 * (PITCH_MM / pixel) ** 2
    return float(seen * (2 / 3) ** 2)  # mean of the squared weights of reading straight between pixels


def _convert(signal: Map, flags: NDArray[np.uint16], picture: Picture, given: Given) -> tuple[Map, Map]:
    """Return pressure and noise [MPa], and flag what is out of range."""
    curve = given.curve
    pressure, noise, half_bend, within = _tables(curve, picture)
    filled = np.nan_to_num(signal)
    entry = (np.clip(filled, 0, 1) * (ENTRIES - 1)).astype(np.uint16)
    value = pressure[entry]
    # Beside missing film the mean is too low; such places are rims, and flagged.
    around = ndimage.uniform_filter(filled, 5)
    low, top = curve.to_signal(curve.lowest), curve.to_signal(curve.stated[1])
    grain = float(np.interp(low, curve.signal, curve.grain))
    seen = max(low, 4 * grain / (5 * PITCH_MM))
    lit = np.nonzero((around >= seen) & (around < top))
    _restore_blur(
        value, filled, lit, half_bend[entry[lit]] * _cell_blur(picture) / PITCH_MM**2, within[entry[lit]]
    )
    film = (flags & NO_FILM) == 0
    flags[film & (around < seen)] |= BELOW
    flags[film & (around >= seen) & (around < given.range_low)] |= UNDER
    flags[film & (around >= top)] |= SATURATED
    _settle_faint(value, filled, (flags & BELOW) != 0, curve.lowest / low)
    value[~film] = np.nan
    return value, np.where(film, noise[entry], np.float32(np.nan))


def _restore_blur(value: Map, signal: Map, lit: tuple[Ints, ...], per_variance: Map, grain: Map) -> None:
    """Put back what blur took from the cells `lit`: half the bend times the variance within the blur."""
    row, col = (np.clip(at, 1, n - 2) for at, n in zip(lit, signal.shape, strict=True))
    down = (signal[row + 1, col] - signal[row - 1, col]) / 2
    right = (signal[row, col + 1] - signal[row, col - 1]) / 2
    most = np.float32(MOST_RESTORED) * value[lit]
    value[lit] += np.clip(per_variance * (down**2 + right**2 - grain), -most, most)


def _settle_faint(value: Map, signal: Map, faint: Bools, per_signal: float) -> None:
    """Give faint cells the pressure of their tile's mean signal."""
    edges = [np.arange(0, n, TILE) for n in signal.shape]
    sums = [
        np.add.reduceat(np.add.reduceat(part, edges[0], axis=0), edges[1], axis=1)
        for part in (np.where(faint, signal, 0), faint.astype(np.float32))
    ]
    mean = (sums[0] / np.maximum(sums[1], 1)).clip(0) * np.float32(per_signal)
    spread = mean.repeat(TILE, axis=0).repeat(TILE, axis=1)[: value.shape[0], : value.shape[1]]
    np.copyto(value, spread, where=faint)


def _flag_marks(
    signal: Map, flags: NDArray[np.uint16], ink: Ints, picture: Picture, pose: Pose, deck: Deck
) -> None:
    """Flag dust, which is lighter than blank film, and ink."""
    with np.errstate(invalid="ignore"):
        lighter = signal < -0.06
    flags[ndimage.binary_dilation(lighter)] |= DUST
    places = apply(pose.matrix, (ink[:, ::-1] + 0.5) * picture.coarse_mm)
    reach = int(np.ceil(picture.coarse_mm[0] / PITCH_MM / 2)) + 1
    about = np.mgrid[-reach : reach + 1, -reach : reach + 1].reshape(2, 1, -1)
    row, col = np.rint(deck.cells(places)).astype(int)[:, :, None] + about
    on = (row >= 0) & (col >= 0) & (row < deck.shape[0]) & (col < deck.shape[1])
    flags[row[on], col[on]] |= PEN
