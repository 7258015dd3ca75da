"""The plain reading's seals, unrolled: signal along and across each band, and foreign bodies in it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage
from scipy.spatial import cKDTree

from benchmarks.plain_given import PITCH_MM, Band, Bools, Curve, Floats, Ints, Map
from benchmarks.plain_map import DUST, PEN, RIM, PlainMap

__all__ = ["Strip", "Sums", "unroll"]

#: A foreign body differs by so many deviations of noise, and by this share of the highest signal.
SIGMAS, FLOOR = 5.0, 0.06
#: How far a seal may wander across [mm]; largest speck that is lighter [mm]; half neighbourhood [mm].
WANDER_MM, SPECK_MM, NEIGHBOURS_MM = 0.1, 0.6, 2.5


@dataclass(frozen=True)
class Strip:
    """A band along (rows) and across (columns).

    Signal [1] and noise [MPa], NaN where the place is not this seal's; which samples are usable, and
    which are hidden by a foreign body; row and column of the cell of each; distance across [mm].
    """

    band: Band
    across: Floats
    signal: Map
    noise: Map
    usable: Bools
    foreign: Bools
    cell: tuple[NDArray[np.int32], NDArray[np.int32]]

    @property
    def step(self) -> float:
        """Distance between samples across [mm]."""
        return float(self.across[1] - self.across[0])


class Sums:
    """Sums over windows along a closed band, from running sums made once."""

    def __init__(self, values: Map | Bools, most: int) -> None:
        turned = np.concatenate([values[-most:], values, values[:most]]).astype(np.float64)
        self._sums = np.concatenate([np.zeros((1, values.shape[1])), np.cumsum(turned, axis=0)])
        self._most = most

    def over(self, centres: Ints, half: int) -> Floats:
        """Return the sums over `half` rows to either side of every centre."""
        at = centres + self._most
        return np.asarray(self._sums[at + half + 1] - self._sums[at - half])


def unroll(pressed: PlainMap, band: Band, others: list[Band], curve: Curve) -> Strip:
    """Sample a band and mark what does not belong to the seal."""
    half = max(2, round(band.width / PITCH_MM))
    across = np.linspace(-band.width / 2, band.width / 2, 2 * half + 1)
    places = band.points[:, None, :] + across[None, :, None] * band.normals[:, None, :]
    at = pressed.deck.cells(places)
    signal, noise = (
        ndimage.map_coordinates(field, at, order=1, cval=np.nan) for field in (pressed.signal, pressed.noise)
    )
    row, col = np.rint(at).astype(np.int32)
    flags = pressed.flags[row, col]
    own = _owned(band, across, places, others)
    signal[~own] = np.nan
    usable = np.isfinite(signal) & ((flags & (DUST | PEN | RIM)) == 0)
    steps = band.step, float(across[1] - across[0])
    foreign = _foreign(signal, noise, usable, curve, steps) | (((flags & (DUST | PEN)) != 0) & own)
    return Strip(band, across, signal, noise, usable & ~foreign, foreign, (row, col))


def _owned(band: Band, across: Floats, places: Floats, others: list[Band]) -> Bools:
    """Return which samples lie nearer to this line than to any other seal's."""
    own = np.ones(places.shape[:2], bool)
    points = np.vstack([np.zeros((0, 2)), *(other.points for other in others)])
    low, high = band.points.min(axis=0) - band.width, band.points.max(axis=0) + band.width
    near = points[np.all((points >= low) & (points <= high), axis=1)]
    if len(near):
        tree = cKDTree(near)
        gap = tree.query(band.points, distance_upper_bound=band.width)[0]
        doubtful = 2 * np.abs(across) >= gap[:, None]
        apart = tree.query(places[doubtful], distance_upper_bound=band.width)[0]
        own[doubtful] = apart > np.broadcast_to(np.abs(across), own.shape)[doubtful]
    return own


def _foreign(signal: Map, noise: Map, usable: Bools, curve: Curve, steps: tuple[float, float]) -> Bools:
    """Find samples that differ from their neighbours along the seal by more than grain can."""
    half = min(max(2, round(NEIGHBOURS_MM / steps[0])), (len(signal) - 1) // 2)
    marked = np.zeros(signal.shape, bool)
    filled = np.where(usable, signal, 0)
    for _ in range(2):
        kept = usable & ~marked
        count = ndimage.uniform_filter1d(kept.astype(np.float32), 2 * half + 1, axis=0, mode="wrap")
        total = ndimage.uniform_filter1d(np.where(kept, filled, 0), 2 * half + 1, axis=0, mode="wrap")
        mean = total / np.maximum(count, np.float32(1e-6))
        excess = np.where(usable & (2 * (2 * half + 1) * count > half), filled - mean, 0)
        far = np.nonzero(np.abs(excess) > FLOOR * curve.signal[-1])
        doubt = SIGMAS * np.nan_to_num(noise[far]) / np.maximum(curve.slope(signal[far].astype(float)), 1e-6)
        wander = WANDER_MM / steps[1] * np.abs(np.gradient(mean, axis=1)[far])
        stands = np.zeros(signal.shape, bool)
        stands[far] = np.abs(excess[far]) > np.maximum(doubt, FLOOR * curve.signal[-1]) + wander
        darker, lighter = (_squares(stands & side) for side in (excess > 0, excess < 0))
        marked = darker | _small_parts(lighter, steps)
    return np.asarray(ndimage.binary_dilation(marked, np.ones((3, 5), bool)))


def _squares(mask: Bools) -> Bools:
    """Keep what holds a square of two by two."""
    return np.asarray(ndimage.binary_opening(mask, np.ones((2, 2), bool)))


def _small_parts(mask: Bools, steps: tuple[float, float]) -> Bools:
    """Drop connected parts larger than a speck: a gap in the seal must not be taken for dust."""
    labels, _ = ndimage.label(mask, np.ones((3, 3)))
    most = [int(SPECK_MM / step + 1e-9) for step in steps]
    large = [
        number
        for number, place in enumerate(ndimage.find_objects(labels), start=1)
        if any(side.stop - side.start > limit for side, limit in zip(place, most, strict=True))
    ]
    return mask & ~np.isin(labels, large) if large else mask
