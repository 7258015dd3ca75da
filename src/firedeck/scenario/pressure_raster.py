"""Drawing a joint's pressure on a fine raster: lands, seals, and how the film spreads both."""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import shapely

from firedeck.definition.deck import DeckPlan
from firedeck.definition.shape import opening_polygon, outline_polygon
from firedeck.scenario.compiled import FloatArray, MapArray, compiled
from firedeck.scenario.rasters import FAR, Raster, Rings, fill_rings, nearest_on_line, rings_of, spread_rows

__all__ = ["PressedLine", "deck_extent", "draw_pressure", "gasket_shape", "spread_weights"]

_MARGIN_MM = 2.0
_STRIP_ROWS = 128
_THREADS = 2


@dataclass(frozen=True)
class PressedLine:
    """A seal as it is drawn.

    Attributes
    ----------
    points : ndarray, shape (n, 2)
        Closed line, anticlockwise [mm].
    load : ndarray of float32, shape (n,)
        Line load [N/mm].
    crown : ndarray of float32, shape (n,)
        How far the crown lies outside the line [mm].
    table : ndarray of float32
        Pressure of 1 N/mm [MPa] at even steps from -reach to reach of the crown.
    reach : float
        Distance from the crown beyond which nothing presses [mm].
    """

    points: FloatArray
    load: MapArray
    crown: MapArray
    table: MapArray
    reach: float


def spread_weights(thickness: float, pitch: float) -> MapArray:
    """Return weights, summing to one, by which a film of `thickness` [mm] spreads a pressure on cells.

    A bell of standard deviation half the thickness, 1.2 thicknesses wide at half height: about what a
    point load shows at a depth of one thickness in an elastic half-space, 1.13 (Boussinesq's solution,
    from memory, not checked).
    """
    sigma = thickness / 2 / pitch
    radius = max(1, int(np.ceil(4 * sigma)))
    weights = np.exp(-0.5 * (np.arange(-radius, radius + 1) / max(sigma, 1e-6)) ** 2)
    return np.asarray(weights / weights.sum(), np.float32)


@compiled
def _add_line(
    across: MapArray, along: MapArray, load: MapArray, crown: MapArray, table: MapArray, reach: float,
    out: MapArray,
) -> None:  # fmt: skip
    """Add a seal's pressure; `across`, `crown` and `reach` are in cells."""
    rows, cols = across.shape
    count, steps = len(load), len(table) - 1
    per_cell = steps / (2.0 * reach)
    for i in range(rows):
        for j in range(cols):
            if across[i, j] >= FAR:
                continue
            k = min(int(along[i, j]), count - 1)
            part = along[i, j] - k
            after = k + 1 if k + 1 < count else 0
            off = across[i, j] - (crown[k] + part * (crown[after] - crown[k]))
            place = (off + reach) * per_cell
            if place < 0.0 or place >= steps:
                continue
            t = int(place)
            height = table[t] + (place - t) * (table[t + 1] - table[t])
            out[i, j] += (load[k] + part * (load[after] - load[k])) * height


@compiled
def _add_land(
    land: MapArray, ratio: float, shift: float, row0: int, mask: npt.NDArray[np.uint8], out: MapArray
) -> None:
    """Add the coarse land; fine cell i lies at coarse row ``i * ratio + shift``, and so for columns."""
    rows, cols = out.shape
    high, wide = land.shape
    for i in range(rows):
        y = (row0 + i) * ratio + shift
        r = min(max(int(y), 0), high - 2)
        down = np.float32(min(max(y - r, 0.0), 1.0))
        for j in range(cols):
            if mask[i, j] == 0:
                continue
            x = j * ratio + shift
            c = min(max(int(x), 0), wide - 2)
            right = np.float32(min(max(x - c, 0.0), 1.0))
            upper = land[r, c] + right * (land[r, c + 1] - land[r, c])
            lower = land[r + 1, c] + right * (land[r + 1, c + 1] - land[r + 1, c])
            out[i, j] += upper + down * (lower - upper)


def deck_extent(plan: DeckPlan) -> tuple[float, float, float, float]:
    """Return the box that rasters of a deck cover: least x and y, greatest x and y [mm]."""
    x0, y0, x1, y1 = outline_polygon(plan).bounds
    return x0 - _MARGIN_MM, y0 - _MARGIN_MM, x1 + _MARGIN_MM, y1 + _MARGIN_MM


def gasket_shape(plan: DeckPlan) -> shapely.Geometry:
    """Return the deck without its openings [mm]."""
    holes = [opening_polygon(plan, feature.name) for feature in plan.openings]
    return outline_polygon(plan).difference(shapely.union_all(holes))


def draw_pressure(
    plan: DeckPlan, lines: Sequence[PressedLine], land: Raster, pitch: float, *, film_thickness: float = 0.0
) -> Raster:
    """Draw pressure on fine cells.

    Parameters
    ----------
    plan : DeckPlan
        The deck; land presses on it except at its openings.
    lines : sequence of PressedLine
        The seals.
    land : Raster
        Pressure of the land [MPa] on a coarse raster that begins where `deck_extent` does.
    pitch : float
        Side of a cell [mm].
    film_thickness : float
        Thickness of a film that spreads the pressure [mm]; 0 for none.

    Returns
    -------
    Raster
        Pressure [MPa].
    """
    x0, y0, x1, y1 = deck_extent(plan)
    rows, cols = int(np.ceil((y1 - y0) / pitch)), int(np.ceil((x1 - x0) / pitch))
    canvas = Raster(x0, y0, pitch, np.zeros((rows, cols), np.float32))
    rings = rings_of(gasket_shape(plan))
    rings = rings.mapped(canvas.cells(rings.points))
    cells = [_in_cells(line, canvas) for line in lines]
    weights = spread_weights(film_thickness, pitch) if film_thickness > 0 else np.ones(1, np.float32)
    radius = len(weights) // 2

    def strip(row0: int) -> None:
        high = min(_STRIP_ROWS, rows - row0)
        drawn = np.zeros((high + 2 * radius, cols), np.float32)
        _draw_strip(cells, land, rings, pitch, row0 - radius, drawn)
        canvas.values[row0 : row0 + high] = spread_rows(drawn, weights) if radius else drawn

    with ThreadPoolExecutor(_THREADS) as pool:
        list(pool.map(strip, range(0, rows, _STRIP_ROWS)))
    return canvas


def _in_cells(line: PressedLine, canvas: Raster) -> PressedLine:
    return PressedLine(
        canvas.cells(line.points),
        line.load,
        line.crown / np.float32(canvas.pitch),
        line.table,
        line.reach / canvas.pitch,
    )


def _draw_strip(
    lines: Sequence[PressedLine], land: Raster, rings: Rings, pitch: float, row0: int, drawn: MapArray
) -> None:
    mask = np.zeros(drawn.shape, np.uint8)
    fill_rings(rings.points, rings.starts, row0, mask)
    ratio = pitch / land.pitch
    _add_land(land.values, ratio, 0.5 * ratio - 0.5, row0, mask, drawn)
    for line in lines:
        _add_seal(line, row0, drawn)


def _add_seal(line: PressedLine, row0: int, drawn: MapArray) -> None:
    limit = line.reach + float(np.abs(line.crown).max()) + 1.0
    left, top = np.floor(line.points.min(axis=0) - limit).astype(int)
    right, bottom = np.ceil(line.points.max(axis=0) + limit).astype(int)
    left, right = max(left, 0), min(right, drawn.shape[1])
    first, last = max(top, row0), min(bottom, row0 + len(drawn))
    if first >= last or left >= right:
        return
    across = np.full((last - first, right - left), FAR, np.float32)
    along = np.zeros_like(across)
    nearest_on_line(line.points, True, limit, first, left, across, along, 0.0)
    part = drawn[first - row0 : last - row0, left:right]
    _add_line(across, along, line.load, line.crown, line.table, line.reach, part)
