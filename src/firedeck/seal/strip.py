"""A seal's band unrolled: arc length along it, distance across it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import ndimage
from scipy.spatial import cKDTree

from firedeck.definition.deck import DeckPlan, Seal
from firedeck.definition.shape import SealLine, seal_line
from firedeck.evidence import flag_bit
from firedeck.kernel.raster import sample_bilinear
from firedeck.kernel.windows import closed_window_sums
from firedeck.pressure_map import FloatArray, MapArray, PressureMap
from firedeck.seal.each import for_each

__all__ = ["Strip", "unroll_seals", "window_means"]

BoolArray = npt.NDArray[np.bool_]

#: A sample this many deviations from its neighbours along the seal is a foreign body, not the seal.
_OUTLIER_SIGMAS = 5.0

#: ... and at least this far, as a share of the highest signal of the curve.
_OUTLIER_FLOOR = 0.06

#: A seal may wander this far across within the neighbourhood without being taken for one [mm].
_WANDER_MM = 0.1

#: A place lighter than its neighbours is a speck of dust up to this size, and a gap beyond it [mm].
_SPECK_MM = 0.6

#: Neighbourhood along the seal that a sample is compared with, half length [mm].
_NEIGHBOURHOOD_MM = 2.5

_MASKED = ("crease", "dust", "pen", "rub", "masked")


@dataclass(frozen=True)
class Strip:
    """A seal's band sampled along and across.

    Attributes
    ----------
    seal : Seal
        The seal.
    line : SealLine
        Its line, one point a row of the strip.
    across : ndarray, shape (m,)
        Distance from the line, positive away from what it encloses [mm].
    signal : ndarray of float32, shape (n, m)
        Signal; NaN where there is no film or the place belongs to another seal.
    noise : ndarray of float32, shape (n, m)
        Independent noise of a map cell there [MPa].
    usable : ndarray of bool, shape (n, m)
        Samples that count: film, this seal's own, no foreign body.
    foreign : ndarray of bool, shape (n, m)
        Samples left out as dust, crease or mark.
    crown_signal : ndarray of float32, shape (n,)
        Highest signal across the seal, averaged over 1 mm along it [1].
    """

    seal: Seal
    line: SealLine
    across: FloatArray
    signal: MapArray
    noise: MapArray
    usable: BoolArray
    foreign: BoolArray
    crown_signal: MapArray

    @property
    def step_across(self) -> float:
        """Distance between samples across [mm]."""
        return float(self.across[1] - self.across[0])

    def places(self) -> FloatArray:
        """Return the deck position of every sample [mm], shape (n, m, 2)."""
        return _places(self.line, self.across)


def _places(line: SealLine, across: FloatArray) -> FloatArray:
    return np.asarray(line.points[:, None, :] + across[None, :, None] * line.normals[:, None, :])


def unroll_seals(plan: DeckPlan, pressure_map: PressureMap) -> list[Strip]:
    """Unroll every seal of a plan from a map.

    Parameters
    ----------
    plan : DeckPlan
        Plan with its seals.
    pressure_map : PressureMap
        Measured or predicted map.

    Returns
    -------
    list of Strip
        One strip a seal, in the plan's order.
    """
    pitch = pressure_map.grid.pitch
    lines = [seal_line(plan, seal, step=pitch) for seal in plan.seals]
    barred = (pressure_map.flags & np.uint16(sum(flag_bit(name) for name in _MASKED))) != 0
    rim = (pressure_map.flags & np.uint16(flag_bit("cut-rim"))) != 0

    def unroll(index: int) -> Strip:
        others = lines[:index] + lines[index + 1 :]
        return _unroll(plan.seals[index], lines[index], pressure_map, (barred, rim), others)

    return for_each(unroll, range(len(lines)))


def _unroll(
    seal: Seal,
    line: SealLine,
    pressure_map: PressureMap,
    barred: tuple[BoolArray, BoolArray],
    others: list[SealLine],
) -> Strip:
    pitch = pressure_map.grid.pitch
    half = max(2, round(seal.band / pitch))
    across = np.linspace(-seal.band / 2, seal.band / 2, 2 * half + 1)
    places = _places(line, across)
    index = pressure_map.grid.index_of(places)
    rows, cols = index[..., 0].ravel(), index[..., 1].ravel()
    shape = index.shape[:2]
    signal = sample_bilinear(pressure_map.signal, rows, cols).reshape(shape)
    noise = sample_bilinear(pressure_map.noise, rows, cols).reshape(shape)
    near_row = np.clip(np.rint(rows).astype(int), 0, pressure_map.grid.rows - 1)
    near_col = np.clip(np.rint(cols).astype(int), 0, pressure_map.grid.cols - 1)
    marked, rim = (mask[near_row, near_col].reshape(shape) for mask in barred)
    own = _owned(line, across, places, others, seal.band)
    signal[~own] = np.nan
    usable = np.isfinite(signal) & ~marked & ~rim
    steps = line.step, float(across[1] - across[0])
    foreign = _foreign(signal, noise, usable, pressure_map, steps) | (marked & own)
    usable &= ~foreign
    short, _ = window_means(signal, usable, np.arange(len(signal)), max(1, round(0.5 / line.step)))
    crown_signal = np.nan_to_num(short).max(axis=1).astype(np.float32)
    return Strip(seal, line, across, signal, noise, usable, foreign, crown_signal)


def _owned(
    line: SealLine, across: FloatArray, places: FloatArray, others: list[SealLine], band: float
) -> BoolArray:
    """Return which samples lie nearer to this line than to any other seal's."""
    own = np.ones(places.shape[:2], bool)
    if not others:
        return own
    points = np.vstack([other.points for other in others])
    low, high = line.points.min(axis=0) - band, line.points.max(axis=0) + band
    close = points[np.all((points >= low) & (points <= high), axis=1)]
    if not len(close):
        return own
    tree = cKDTree(close)
    crowded = np.flatnonzero(tree.query(line.points, distance_upper_bound=band)[0] < band)
    if not crowded.size:
        return own
    distance = tree.query(places[crowded].reshape(-1, 2), distance_upper_bound=band)[0]
    own[crowded] = distance.reshape(len(crowded), -1) > np.abs(across)[None, :]
    return own


def _foreign(
    signal: MapArray,
    noise: MapArray,
    usable: BoolArray,
    pressure_map: PressureMap,
    steps: tuple[float, float],
) -> BoolArray:
    """Find samples that stand out from their neighbours along the seal by more than grain can."""
    floor = _OUTLIER_FLOOR * float(pressure_map.conversion.signal[-1])
    slope = np.maximum(pressure_map.conversion.slope(np.nan_to_num(signal)), 1e-6)
    deviation = np.maximum(_OUTLIER_SIGMAS * np.nan_to_num(noise) / slope, floor)
    half = max(2, round(_NEIGHBOURHOOD_MM / steps[0]))
    darker = np.zeros(signal.shape, bool)
    lighter = np.zeros(signal.shape, bool)
    for _ in range(2):
        mean, count = window_means(signal, usable & ~darker & ~lighter, np.arange(len(signal)), half)
        wander = _WANDER_MM * np.abs(np.gradient(np.nan_to_num(mean), steps[1], axis=1))
        with np.errstate(invalid="ignore"):
            excess = np.where(usable & (count > half / 2), signal - mean, 0.0)
        darker = ndimage.binary_opening(excess > deviation + wander, np.ones((2, 2), bool))
        lighter = ndimage.binary_opening(excess < -deviation - wander, np.ones((2, 2), bool))
        lighter = _specks(lighter, steps)
    grown: BoolArray = ndimage.binary_dilation(darker | lighter, np.ones((3, 5), bool))
    return grown


def _specks(mask: BoolArray, steps: tuple[float, float]) -> BoolArray:
    """Keep only parts too small to be a gap in the seal: a gap must never be taken for dust."""
    labels, _ = ndimage.label(mask, np.ones((3, 3), bool))
    kept = np.zeros_like(mask)
    for number, place in enumerate(ndimage.find_objects(labels), start=1):
        along, across = ((part.stop - part.start) * step for part, step in zip(place, steps, strict=True))
        if max(along, across) <= _SPECK_MM:
            kept[place] |= labels[place] == number
    return kept


def window_means(
    values: MapArray, usable: BoolArray, centres: npt.NDArray[np.int64], half: int
) -> tuple[FloatArray, npt.NDArray[np.int64]]:
    """Average the usable rows of a closed strip over windows along it.

    Parameters
    ----------
    values : ndarray, shape (n, m)
        Strip.
    usable : ndarray of bool, shape (n, m)
        Samples that count.
    centres : ndarray of int, shape (k,)
        Middle row of every window.
    half : int
        Rows to either side of the middle; windows run on over the seam.

    Returns
    -------
    mean : ndarray, shape (k, m)
        Averages; NaN where nothing is usable.
    count : ndarray of int, shape (k, m)
        Usable rows.
    """
    half = min(half, (len(values) - 1) // 2)
    if np.all(centres[1:] >= centres[:-1]):
        sums, count = closed_window_sums(values, usable, centres, half)
    else:
        order = np.argsort(centres, kind="stable")
        back = np.argsort(order, kind="stable")
        sums, count = closed_window_sums(values, usable, centres[order], half)
        sums, count = sums[back], count[back]
    mean = np.divide(sums, count, out=np.full(sums.shape, np.nan), where=count > 0)
    return mean, count
