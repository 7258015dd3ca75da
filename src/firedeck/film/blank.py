"""What the sheet would look like unexposed: fog, lamp and curl, as one smooth surface.

Three things change the light of unexposed film from place to place and none of them is pressure:
the sheet's own fog, the fall of the lamp to its ends, and the film's distance from the glass. They
are slow. The border beyond the deck's outline is certainly blank; the land between the seals is
blank or faintly tinted, so it may only pull the surface towards *more* light.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from firedeck.kernel.cells import refer_to_blank, weighted_normal
from firedeck.kernel.medians import tile_medians
from firedeck.kernel.threads import for_each, row_bands
from firedeck.pressure_map import FloatArray, Grid, MapArray

__all__ = ["BlankSurface", "fit_blank", "signal_from_light"]

BoolArray = npt.NDArray[np.bool_]

_TILE_MM = 2.0

#: Rows of the map, and of tiles, that one thread takes at a time.
_BAND_ROWS, _TILES_TO_A_BAND = 256, 12
_ORDER = 4

#: The fit stands still when ln(blank) changes nowhere by more than this from round to round; rounds at most.
_STILL, _MOST_ROUNDS = 1e-8, 25

#: Standard deviation that higher terms of ln(blank) are expected to have: curl of a few millimetres.
_TERM_SD = 0.02

#: Weight of a land tile that is darker than the surface by more than its scatter.
_DARKER_WEIGHT = 0.03

#: Smallest standard uncertainty of ln(blank) anywhere: what a tile's own scatter cannot show
#: (estimated from generated prints with lamp and curl; see the truth tables).
_LEAST_SD = 0.003


@dataclass(frozen=True)
class BlankSurface:
    """ln(reflectance) of the unexposed sheet over the deck.

    Attributes
    ----------
    grid : Grid
        Grid whose corners scale the coordinates.
    factors : ndarray, shape (5, 5)
        Factors of the products of powers of scaled y and x.
    sd : float
        Standard uncertainty of ln(blank) [1].
    border_tiles, land_tiles : int
        How many tiles of certainly blank border, and of land, carry it.
    """

    grid: Grid
    factors: FloatArray
    sd: float
    border_tiles: int
    land_tiles: int


def _powers(count: int) -> FloatArray:
    return np.asarray(np.linspace(-1.0, 1.0, count)[:, None] ** np.arange(_ORDER + 1))


def fit_blank(light: MapArray, grid: Grid, border: BoolArray, land: BoolArray) -> BlankSurface:
    """Fit the blank surface of one sheet.

    Parameters
    ----------
    light : ndarray of float32, shape (rows, cols)
        Light of every cell of the deck grid [1]; NaN is left out.
    grid : Grid
        The grid.
    border : ndarray of bool
        Film beyond the deck's outline, where nothing presses.
    land : ndarray of bool
        Film inside the outline and off every seal's band: blank or faintly tinted.

    Returns
    -------
    BlankSurface
        The surface with its uncertainty; it may rest on land alone where no border was left.
    """
    side = max(4, round(_TILE_MM / grid.pitch))
    certain, tinted = (_tile_medians(light, usable, side) for usable in (border, land))
    y, x = (np.arange(n) * side + side / 2 for n in certain.shape)
    py, px = (
        np.clip(2 * at / n - 1, -1, 1)[:, None] ** np.arange(_ORDER + 1)
        for at, n in zip((y, x), grid.shape, strict=True)
    )
    known = [(certain, False), (tinted, True)]
    rows, logs, one_sided = [], [], []
    for medians, is_land in known:
        i, j = np.nonzero(np.isfinite(medians) & (medians > 0))
        rows.append((py[i][:, :, None] * px[j][:, None, :]).reshape(len(i), (_ORDER + 1) ** 2))
        logs.append(np.log(medians[i, j].astype(float)))
        one_sided.append(np.full(len(i), is_land))
    return _solve(grid, np.vstack(rows), np.concatenate(logs), np.concatenate(one_sided))


def _tile_medians(light: MapArray, usable: BoolArray, side: int) -> MapArray:
    """Return the median light of every tile, several rows of tiles at a time."""

    def medians(band: slice) -> MapArray:
        return tile_medians(light[band], usable[band], side, 2 * side)

    return np.concatenate(for_each(medians, row_bands(len(light), side * _TILES_TO_A_BAND)))


def _term_penalty(start: float) -> FloatArray:
    """Return the expected inverse variance of every factor: none for the mean, firm for high orders."""
    a, b = np.meshgrid(np.arange(_ORDER + 1), np.arange(_ORDER + 1), indexing="ij")
    degree = (a + b).astype(float)
    penalty = np.where(degree == 0, 1e-8, (np.maximum(degree, 2.0) / 2.0) ** 4 / _TERM_SD**2)
    return np.asarray(np.where(degree > _ORDER, 1e12, penalty * start).ravel())


def _solve(grid: Grid, rows: FloatArray, logs: FloatArray, one_sided: BoolArray) -> BlankSurface:
    weights = np.ones(len(logs))
    factors: FloatArray = np.zeros(rows.shape[1])
    spread, before = 0.01, np.zeros(len(logs))
    penalty = np.diag(_term_penalty(1.0))
    for _ in range(_MOST_ROUNDS):
        normal, right = weighted_normal(rows, logs, weights / spread**2)
        factors = np.asarray(np.linalg.solve(normal + penalty, right), dtype=float)
        fitted = rows @ factors
        misfit = logs - fitted
        spread = max(1.4826 * float(np.median(np.abs(misfit[weights > 0.5]))), 5e-4)
        weights = 1.0 / np.maximum(1.0, np.abs(misfit) / (2.5 * spread)) ** 2
        weights[one_sided & (misfit < -2.0 * spread)] *= _DARKER_WEIGHT
        if np.max(np.abs(fitted - before)) < _STILL:
            break
        before = fitted
    border = int(np.sum(~one_sided))
    # Without a border the surface rests on land that may be tinted all over.
    sd = float(np.hypot(_LEAST_SD if border > 50 else 4 * _LEAST_SD, 0.5 * spread))
    return BlankSurface(grid, factors.reshape(_ORDER + 1, -1), sd, border, len(logs) - border)


def signal_from_light(light: MapArray, surface: BlankSurface) -> MapArray:
    """Turn light into the signal 1 - I / I_blank, in place.

    Parameters
    ----------
    light : ndarray of float32, shape (rows, cols)
        Light of every cell [1]; it is overwritten.
    surface : BlankSurface
        The sheet's blank surface.

    Returns
    -------
    ndarray of float32
        The signal; NaN where the light is.
    """
    rows, cols = light.shape
    py, px = _powers(rows), _powers(cols)

    def refer(band: slice) -> None:
        refer_to_blank(light[band], py[band], px, surface.factors)

    for_each(refer, row_bands(rows, _BAND_ROWS))
    return light
