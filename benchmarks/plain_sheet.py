"""The plain reading's scan: decoded whole, pooled, and the sheet, its holes and ink found in it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import tifffile
from numpy.typing import NDArray
from scipy import ndimage
from skimage.filters import threshold_multiotsu
from skimage.measure import CircleModel, find_contours, regionprops

from benchmarks.plain_given import Bools, Floats, Given, Map

__all__ = ["COARSE", "Picture", "Sheet", "find_sheet", "ink_places", "read_picture"]

#: Scan pixels are pooled up to this size [mm]; so many of these fine pixels go to a coarse one each way.
FINE_MM, COARSE = 0.09, 4
#: Holes are looked at from this area on [mm^2], and when at least so round [1].
LEAST_AREA, LEAST_ROUNDNESS = 4.5, 0.45
#: Ink takes more than this share of red light.
INK_RED_LOSS = 0.25


@dataclass(frozen=True)
class Picture:
    """Reflectance: fine in the green channel, coarse in all three; pixel sizes as width and height [mm]."""

    fine: Map
    coarse: list[Map]
    fine_mm: Floats
    coarse_mm: Floats


@dataclass(frozen=True)
class Sheet:
    """Where the coarse picture shows film, and the holes as x, y and radius in the picture [mm]."""

    film: Bools
    holes: Floats


def read_picture(given: Given) -> Picture:
    """Decode and pool a scan; the channels that are not measured are thinned instead."""
    codes = tifffile.imread(given.scan)
    pooled = max(1, int(FINE_MM / max(given.pixel_mm) + 1e-6))
    group = pooled * COARSE
    rows, cols = (n // group * group for n in codes.shape[:2])
    fine = _pooled(given.linear.take(codes[:rows, :cols, 1], mode="clip"), pooled)
    middle = slice(group // 2, None, group)
    thin = codes[:rows, :cols][middle, middle]
    coarse = [given.linear[thin[..., 0]], _pooled(fine, COARSE), given.linear[thin[..., 2]]]
    pixel = np.asarray(given.pixel_mm)
    return Picture(fine, coarse, pixel * pooled, pixel * group)


def _pooled(values: Map, side: int) -> Map:
    """Return means of squares; adding strided parts is several times quicker than a mean over two axes."""
    parts = [values[i::side, j::side] for i in range(side) for j in range(side)]
    total = parts[0].copy()
    for part in parts[1:]:
        total += part
    return total / np.float32(side**2)


def find_sheet(picture: Picture) -> Sheet:
    """Tell the sheet from the white lid behind it, and find its holes."""
    red, green, blue = picture.coarse
    darkest = np.minimum(np.minimum(red, green), blue)
    lid = threshold_multiotsu(darkest, classes=3)[1]
    labels, _ = ndimage.label(darkest < lid)
    sizes = np.bincount(labels.ravel())
    sizes[0] = 0
    return Sheet(labels == np.argmax(sizes), _holes(darkest, lid, picture.coarse_mm))


def _holes(light: Map, lid: float, pixel: Floats) -> Floats:
    """Fit circles to closed round openings; x, y and radius [mm]."""
    labels, _ = ndimage.label(light >= lid)
    edges = (labels[0], labels[-1], labels[:, 0], labels[:, -1])
    outer = np.unique(np.concatenate(edges))
    holes = []
    for part in regionprops(labels):
        if part.area * pixel.prod() < LEAST_AREA or part.label in outer:
            continue
        if 4 * np.pi * part.area / part.perimeter**2 >= LEAST_ROUNDNESS:
            low = np.maximum(np.array(part.bbox[:2]) - 2, 0)
            window = light[low[0] : part.bbox[2] + 2, low[1] : part.bbox[3] + 2]
            edge = max(find_contours(window, lid), key=len) + low
            radius = float(np.sqrt(part.area * pixel.prod() / np.pi))
            holes.append([*_circle_centre((edge[:, ::-1] + 0.5) * pixel), radius])
    return np.array(holes).reshape(-1, 3)


def _circle_centre(edge: Floats) -> Floats:
    """Fit a circle to an edge, and again without what strays: nicks and tears."""
    circle = CircleModel.from_estimate(edge)
    misses = np.abs(circle.residuals(edge))
    circle = CircleModel.from_estimate(edge[misses <= max(3 * float(np.median(misses)), 0.02)])
    return np.asarray(circle.center, dtype=float)


def ink_places(picture: Picture, sheet: Sheet) -> NDArray[np.int64]:
    """Return row and column of coarse pixels whose film has lost red light, as ink does and dye does not."""
    inside = ndimage.binary_erosion(sheet.film, iterations=3)
    red = picture.coarse[0]
    ink = inside & (red < (1 - INK_RED_LOSS) * np.median(red[inside]))
    ink = ndimage.binary_opening(ink, np.ones((2, 2), bool))
    labels, _ = ndimage.label(ndimage.binary_dilation(ink, iterations=2))
    return np.argwhere(labels > 0)
