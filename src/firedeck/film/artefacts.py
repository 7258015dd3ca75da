"""Marks on the film that are not pressure: found, named, masked, and always reversible."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

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
from firedeck.pressure_map import FloatArray, Grid, PressureMap

__all__ = ["mask_artefacts"]

BoolArray = npt.NDArray[np.bool_]

#: Dye takes little red light; ink takes more than this share of it.
_INK_RED_LOSS = 0.25

#: Pixels of the coarse picture this near to the film's edge are not looked at, and ink grows by this many.
_INK_FROM_EDGE, _INK_GROWN = 3, 2

#: A cell lighter than blank film by more than this is dust or a scratch, never pressure.
_LIGHTER_THAN_BLANK = 0.06


def mask_artefacts(
    pressure_map: PressureMap,
    masks: Sequence[Mask],
    sheets: Sequence[tuple[ScanPicture, BoolArray, FloatArray]],
) -> PressureMap:
    """Flag ink, dust and the user's own masks on a map. No value is changed.

    Parameters
    ----------
    pressure_map : PressureMap
        The map.
    masks : sequence of Mask
        Areas named in the test record.
    sheets : sequence
        For every scan: picture, film mask, and matrix from picture to deck [mm].

    Returns
    -------
    PressureMap
        The same map with more flags, and a note for every kind found.
    """
    flags = pressure_map.flags.copy()
    notes = []
    for mask in masks:
        zone = polygon_zone(shapely.Polygon(mask.path), pressure_map.grid.x, pressure_map.grid.y)
        flags[zone] |= np.uint16(flag_bit("masked"))
        notes.append(f"Masked by hand: {mask.reason}.")
    inked = 0
    for picture, film, matrix in sheets:
        inked += _flag_ink(picture, film, matrix, pressure_map.grid, flags)
    if inked:
        notes.append(f"Ink was found on the film and masked ({inked} places).")
    flag_lighter(pressure_map.signal, -_LIGHTER_THAN_BLANK, flag_bit("dust"), flags)
    return replace(pressure_map, flags=flags, notes=(*pressure_map.notes, *notes))


def _flag_ink(
    picture: ScanPicture, film: BoolArray, matrix: FloatArray, grid: Grid, flags: npt.NDArray[np.uint16]
) -> int:
    """Flag cells whose film has lost red light, as ink does and dye does not."""
    if picture.coarse.shape[-1] < 3:
        return 0
    inside = erode_diamond(film, _INK_FROM_EDGE)
    red = picture.coarse[..., 0]
    blank = np.median(red[inside]) if inside.any() else 1.0
    rows, cols, count = _ink_places(inside & (red < (1 - _INK_RED_LOSS) * blank))
    if count == 0:
        return 0
    corner = np.stack([cols + 0.5, rows + 0.5], axis=-1) * np.array(picture.coarse_mm)
    deck = corner @ matrix[:, :2].T + matrix[:, 2]
    index = np.rint(grid.index_of(deck)).astype(int)
    reach = int(np.ceil(picture.coarse_mm[0] / grid.pitch / 2)) + 1
    bit = np.uint16(flag_bit("pen"))
    for dr in range(-reach, reach + 1):
        for dc in range(-reach, reach + 1):
            r, c = index[:, 0] + dr, index[:, 1] + dc
            ok = (r >= 0) & (c >= 0) & (r < grid.rows) & (c < grid.cols)
            flags[r[ok], c[ok]] |= bit
    return count


def _ink_places(dark: BoolArray) -> tuple[npt.NDArray[np.int64], npt.NDArray[np.int64], int]:
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
