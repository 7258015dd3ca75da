"""A print read the plain way: tifffile, NumPy, SciPy and scikit-image, whole arrays, step by step.

What a competent user of these libraries would write for one print, without being slow on purpose.
It does less than firedeck, so that a comparison errs against firedeck. Handed to it, and not timed:

- the definitions, read and checked; the reflectance of every code value; the response curve;
- the registration, as the matrix that firedeck found;
- the openings as polygons and the seals as sampled lines with normals.

Left out altogether: finding and fitting holes, uncertainties of any kind, flags and notes, marks and
dust, foreign bodies in the bands, corrections for blur and for the film's spreading, the balance
with the preload, hashes of the files, and the verdict. Pressures are averaged, not the signal. The
leak heights come from a sorted union-find that is compiled, which these libraries do not have: the
sweep of thresholds that they offer gives steps in place of heights.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import tifffile
from numpy.typing import NDArray
from PIL import Image, ImageDraw
from scipy import ndimage
from skimage.filters import threshold_multiotsu
from skimage.transform import AffineTransform, downscale_local_mean, resize, warp

from benchmarks.plain_union_find import plain_saddles

__all__ = ["Given", "PlainReading", "prepare", "read_plainly"]

Floats = NDArray[np.float64]
Map = NDArray[np.float32]
Bools = NDArray[np.bool_]

PITCH_MM = 0.1
#: Scan pixels to one pixel before the picture is laid onto the deck: about 0.085 mm at 600 dpi.
POOLED = 2
#: The sheet is sought in every n-th pixel.
THINNED = 8
#: Cells to one of the reduced picture that the blank level is taken from, and side of its median.
REDUCED, MEDIAN = 10, 31
#: Length of a sector and of the average along seals for leak paths [mm].
SECTOR_MM, LEAK_MM = 5.0, 2.0


@dataclass(frozen=True)
class Band:
    """A seal's line on the deck [mm], its unit normals, and the width of its band [mm]."""

    name: str
    points: Floats
    normals: Floats
    step: float
    width: float


@dataclass(frozen=True)
class Given:
    """What the plain reading is handed.

    Attributes
    ----------
    scan : Path
        The scan.
    linear : ndarray of float32
        Reflectance of every code value [1].
    pixel_mm : tuple of float
        Width and height of a scan pixel [mm].
    to_deck : ndarray, shape (2, 3)
        From the picture, y down, to the deck [mm].
    outline : ndarray, shape (n, 2)
        The deck's outline [mm].
    openings : list of ndarray
        Bores and ports, in the order of the media [mm].
    dry : list of ndarray
        Fastener and dowel holes [mm].
    bands : list of Band
        The seals.
    density, pressure : ndarray
        The response curve: net density [1] and pressure [MPa].
    """

    scan: Path
    linear: Map
    pixel_mm: tuple[float, float]
    to_deck: Floats
    outline: Floats
    openings: list[Floats]
    dry: list[Floats]
    bands: list[Band]
    density: Floats
    pressure: Floats


@dataclass(frozen=True)
class PlainReading:
    """Line load of every seal by sectors [N/mm], crown [MPa], width [mm]; leak height of all pairs [MPa]."""

    loads: dict[str, Floats]
    peaks: dict[str, Floats]
    widths: dict[str, Floats]
    heights: Floats


def prepare(test_file: Path, to_deck: Sequence[Sequence[float]]) -> Given:
    """Collect what a plain reading of a film test is handed; uses firedeck's definitions."""
    from firedeck.definition.shape import opening_polygon, outline_polygon, seal_line
    from firedeck.files.scan_file import open_scan, require_resolution
    from firedeck.kernel.transfer import Transfer, reflectance_table
    from firedeck.study.reading import load_test

    files = load_test(test_file)
    plan, response = files.plan, files.batch.response
    assert response is not None
    scan = open_scan(files.folder / files.test.scans[0].file)
    per_mm = require_resolution(scan)
    lines = [(seal, seal_line(plan, seal, step=PITCH_MM)) for seal in plan.seals]
    wet = plan.media[:-1]
    dry = [feature.name for feature in plan.openings if feature.name not in wet]
    return Given(
        scan=files.folder / files.test.scans[0].file,
        linear=reflectance_table(Transfer.srgb(), scan.bits).reflectance,
        pixel_mm=(1 / per_mm[0], 1 / per_mm[1]),
        to_deck=np.asarray(to_deck, dtype=float),
        outline=np.asarray(outline_polygon(plan).exterior.coords),
        openings=[np.asarray(opening_polygon(plan, name).exterior.coords) for name in wet],
        dry=[np.asarray(opening_polygon(plan, name).exterior.coords) for name in dry],
        bands=[Band(seal.name, line.points, line.normals, line.step, seal.band) for seal, line in lines],
        density=np.asarray(response.net_density),
        pressure=np.asarray(response.pressure),
    )


@dataclass(frozen=True)
class _Deck:
    """The grid of the deck: corner [mm] and shape."""

    low: Floats
    shape: tuple[int, int]

    @classmethod
    def around(cls, outline: Floats, margin: float = 10.0) -> _Deck:
        low, high = outline.min(axis=0) - margin, outline.max(axis=0) + margin
        cols, rows = np.ceil((high - low) / PITCH_MM).astype(int)
        return cls(low, (int(rows), int(cols)))

    def cells(self, points: Floats) -> Floats:
        """Return fractional row and column of points, as two arrays stacked in front."""
        place = (points - self.low) / PITCH_MM - 0.5
        return np.stack([place[..., 1], place[..., 0]])


def read_plainly(given: Given) -> PlainReading:
    """Read a print from its scan to line loads and leak heights."""
    deck = _Deck.around(given.outline)
    light, film = _on_deck(given, deck)
    signal = 1 - light / _blank(light, film)
    density = -np.log10(np.clip(1 - signal, 1e-4, 1.0))
    curve = np.concatenate([[0.0], given.density]), np.concatenate([[0.0], given.pressure])
    pressure = np.interp(density, *curve).astype(np.float32)
    pressure[~film] = 0
    loads, peaks, widths = {}, {}, {}
    field = np.where(density < given.density[0], np.float32(0), pressure)
    for band in given.bands:
        strip, cells = _strip(pressure, band, deck)
        loads[band.name], peaks[band.name], widths[band.name] = _sectors(strip, band, given.pressure[0])
        _lay_down(strip, band, cells, field)
    media = _media(given, deck, field)
    return PlainReading(loads, peaks, widths, plain_saddles(field, media))


def _on_deck(given: Given, deck: _Deck) -> tuple[Map, Bools]:
    """Return light in the green channel on the deck grid, and where there is film clear of cut edges."""
    codes = tifffile.imread(given.scan)
    film = _film(codes[::THINNED, ::THINNED], given.linear)
    light = downscale_local_mean(given.linear[codes[..., 1]], (POOLED, POOLED))
    on_deck = warp(light, _mapping(given, deck, POOLED, 0.5), output_shape=deck.shape, order=1)
    # A thinned pixel stands for its upper left corner: half a scan pixel in.
    mapping = _mapping(given, deck, THINNED, 0.5 / THINNED)
    covered = warp(film.astype(np.float32), mapping, output_shape=deck.shape, order=1)
    return on_deck, covered > 0.5


def _film(codes: NDArray[np.uint16], linear: Map) -> Bools:
    """Tell the sheet from the white lid behind it, and leave its rim out."""
    darkest = linear[codes.min(axis=2)]
    lid = threshold_multiotsu(darkest, classes=3)[1]
    labels, _ = ndimage.label(darkest < lid)
    sizes = np.bincount(labels.ravel())
    sizes[0] = 0
    return np.asarray(ndimage.binary_erosion(labels == np.argmax(sizes), iterations=2))


def _mapping(given: Given, deck: _Deck, pixels: int, middle: float) -> AffineTransform:
    """Return the map from deck cells to pixels of a reduced picture whose first centre is at `middle`."""
    to_picture = np.linalg.inv(np.vstack([given.to_deck, [0, 0, 1]]))
    corner = deck.low + PITCH_MM / 2
    to_mm = np.array([[PITCH_MM, 0, corner[0]], [0, PITCH_MM, corner[1]], [0, 0, 1]])
    width, height = (side * pixels for side in given.pixel_mm)
    to_pixel = np.array([[1 / width, 0, -middle], [0, 1 / height, -middle], [0, 0, 1]])
    return AffineTransform(to_pixel @ to_picture @ to_mm)


def _blank(light: Map, film: Bools) -> Map:
    """Return the light of unexposed film nearby: a wide median of the reduced picture."""
    rows, cols = (n // REDUCED * REDUCED for n in light.shape)
    small = downscale_local_mean(light[:rows, :cols], (REDUCED, REDUCED))
    known = downscale_local_mean(film[:rows, :cols].astype(np.float32), (REDUCED, REDUCED)) > 0.99
    small = np.where(known, small, np.median(small[known])).astype(np.float32)
    return np.asarray(resize(ndimage.median_filter(small, MEDIAN), light.shape, order=1))


def _strip(pressure: Map, band: Band, deck: _Deck) -> tuple[Map, Floats]:
    """Unroll a band: along the line, across it."""
    half = round(band.width / 2 / PITCH_MM)
    across = np.arange(-half, half + 1) * PITCH_MM
    cells = deck.cells(band.points[:, None, :] + across[None, :, None] * band.normals[:, None, :])
    return ndimage.map_coordinates(pressure, cells, order=1), cells


def _sectors(strip: Map, band: Band, lowest: float) -> tuple[Floats, Floats, Floats]:
    """Return line load [N/mm], crown [MPa] and width [mm] of sectors along a strip."""
    count = max(1, round(len(strip) * band.step / SECTOR_MM))
    edges = np.linspace(0, len(strip), count + 1).astype(int)[:-1]
    mean = np.add.reduceat(strip, edges, axis=0) / np.diff(np.append(edges, len(strip)))[:, None]
    pressed = mean >= lowest
    load = np.where(pressed, mean, 0).sum(axis=1) * PITCH_MM
    return load, mean.max(axis=1), pressed.sum(axis=1) * PITCH_MM


def _lay_down(strip: Map, band: Band, cells: Floats, field: Map) -> None:
    """Write a strip, averaged along the seal, over the cells that its samples fall into."""
    length = max(1, round(LEAK_MM / band.step))
    rows, cols = np.rint(cells).astype(int)
    field[rows, cols] = ndimage.uniform_filter1d(strip, length, axis=0, mode="wrap")


def _media(given: Given, deck: _Deck, field: Map) -> NDArray[np.int32]:
    """Label the cells of every medium, the outside last; nothing presses there or in dry holes."""
    media = np.full(deck.shape, len(given.openings) + 1, np.int32)
    media[_inside(given.outline, deck)] = 0
    for number, opening in enumerate(given.openings, start=1):
        media[_inside(opening, deck)] = number
    for hole in given.dry:
        field[_inside(hole, deck)] = 0
    field[media > 0] = 0
    return media


def _inside(corners: Floats, deck: _Deck) -> Bools:
    """Fill a polygon; Pillow does it many times faster than scikit-image where corners are many."""
    rows, cols = deck.cells(corners)
    mask = Image.new("1", deck.shape[::-1])
    ImageDraw.Draw(mask).polygon(list(zip(cols.tolist(), rows.tolist(), strict=True)), fill=1)
    return np.asarray(mask)
