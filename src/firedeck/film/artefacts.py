"""Marks on the film that are not pressure: found, named, masked, and always reversible."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
import shapely
from scipy import ndimage

from firedeck.definition.film_test import Mask
from firedeck.definition.zones import polygon_zone
from firedeck.evidence import flag_bit
from firedeck.film.picture import ScanPicture
from firedeck.kernel.cells import flag_lighter
from firedeck.kernel.raster import erode_diamond
from firedeck.kernel.threads import for_each, row_bands
from firedeck.pressure_map import FloatArray, Grid, PressureMap

__all__ = ["InkPlaces", "ink_places", "mask_artefacts"]

BoolArray = npt.NDArray[np.bool_]

#: Dye takes little red light; ink takes more than this share of it.
_INK_RED_LOSS = 0.25

#: Pixels of the coarse picture this near to the film's edge are not looked at, and ink grows by this many.
_INK_FROM_EDGE, _INK_GROWN = 3, 2

#: A cell lighter than blank film by more than this is dust or a scratch, never pressure.
_LIGHTER_THAN_BLANK = 0.06

#: Rows of the map that one thread takes at a time.
_BAND_ROWS = 256


@dataclass(frozen=True)
class InkPlaces:
    """Where a scan shows ink.

    Attributes
    ----------
    centres : ndarray, shape (n, 2)
        Centres of the inked pixels, x, y in the picture from its upper left corner, y down [mm].
    reach : float
        Half the width of such a pixel [mm].
    count : int
        How many separate places they are.
    """

    centres: FloatArray
    reach: float
    count: int


def mask_artefacts(
    pressure_map: PressureMap,
    masks: Sequence[Mask],
    inks: Sequence[tuple[InkPlaces, FloatArray]],
) -> PressureMap:
    """Flag ink, dust and the user's own masks on a map. No value is changed.

    Parameters
    ----------
    pressure_map : PressureMap
        The map.
    masks : sequence of Mask
        Areas named in the test record.
    inks : sequence
        For every scan: its ink, from `ink_places`, and matrix from picture to deck [mm].

    Returns
    -------
    PressureMap
        The same map with more flags, and a note for every kind found.
    """
    flags, notes = _with_dust(pressure_map), []
    for mask in masks:
        zone = polygon_zone(shapely.Polygon(mask.path), pressure_map.grid.x, pressure_map.grid.y)
        flags[zone] |= np.uint16(flag_bit("masked"))
        notes.append(f"Masked by hand: {mask.reason}.")
    inked = 0
    for ink, matrix in inks:
        inked += ink.count
        _flag_ink(ink, matrix, pressure_map.grid, flags)
    if inked:
        notes.append(f"Ink was found on the film and masked ({inked} places).")
    return replace(pressure_map, flags=flags, notes=(*pressure_map.notes, *notes))


def ink_places(picture: ScanPicture, film: BoolArray) -> InkPlaces:
    """Find film that has lost red light, as ink does and dye does not.

    Parameters
    ----------
    picture : ScanPicture
        The scan; a grey one shows no ink.
    film : ndarray of bool, shape of the coarse picture
        Where there is film.

    Returns
    -------
    InkPlaces
        The inked pixels.
    """
    reach = picture.coarse_mm[0] / 2
    if picture.coarse.shape[-1] < 3:
        return InkPlaces(np.zeros((0, 2)), reach, 0)
    inside = erode_diamond(film, _INK_FROM_EDGE)
    red = picture.coarse[..., 0]
    blank = np.median(red[inside]) if inside.any() else 1.0
    rows, cols, count = _dark_parts(inside & (red < (1 - _INK_RED_LOSS) * blank))
    centres = np.stack([cols + 0.5, rows + 0.5], axis=-1) * np.array(picture.coarse_mm)
    return InkPlaces(centres, reach, count)


def _with_dust(pressure_map: PressureMap) -> npt.NDArray[np.uint16]:
    """Return the flags and those of cells lighter than blank film and their neighbours; in threads."""
    flags, bit = np.empty_like(pressure_map.flags), flag_bit("dust")

    def flag(band: slice) -> None:
        flags[band] = pressure_map.flags[band]
        flag_lighter(pressure_map.signal, (band.start, band.stop), -_LIGHTER_THAN_BLANK, bit, flags)

    for_each(flag, row_bands(len(flags), _BAND_ROWS))
    return flags


def _flag_ink(ink: InkPlaces, matrix: FloatArray, grid: Grid, flags: npt.NDArray[np.uint16]) -> None:
    """Flag the cells that inked pixels cover."""
    if ink.count == 0:
        return
    index = np.rint(grid.index_of(ink.centres @ matrix[:, :2].T + matrix[:, 2])).astype(int)
    reach = int(np.ceil(ink.reach / grid.pitch)) + 1
    bit = np.uint16(flag_bit("pen"))
    for dr in range(-reach, reach + 1):
        for dc in range(-reach, reach + 1):
            r, c = index[:, 0] + dr, index[:, 1] + dc
            ok = (r >= 0) & (c >= 0) & (r < grid.rows) & (c < grid.cols)
            flags[r[ok], c[ok]] |= bit


def _dark_parts(dark: BoolArray) -> tuple[npt.NDArray[np.int64], npt.NDArray[np.int64], int]:
    """Return rows and columns of dark parts, single pixels left out and the rest grown, and how many."""
    around = np.flatnonzero(dark.any(axis=1)), np.flatnonzero(dark.any(axis=0))
    if not len(around[0]):
        return around[0], around[0], 0
    # Nothing grows out of this part of the picture, so nothing else needs to be looked at.
    top, left = (max(int(found[0]) - _INK_GROWN, 0) for found in around)
    bottom, right = (int(found[-1]) + _INK_GROWN + 1 for found in around)
    firm = ndimage.binary_opening(dark[top:bottom, left:right], np.ones((2, 2), bool))
    labels, count = ndimage.label(ndimage.binary_dilation(firm, iterations=_INK_GROWN))
    rows, cols = np.nonzero(labels)
    return rows + top, cols + left, int(count)
