"""A seal's band unrolled: arc length along it, distance across it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.spatial import cKDTree

from firedeck.definition.deck import DeckPlan, Seal
from firedeck.definition.shape import SealLine, seal_line
from firedeck.evidence import flag_bit
from firedeck.kernel.band import LIGHTER, drop_wide_parts, grow_marks, own_samples, sample_band, stand_out
from firedeck.kernel.threads import for_each
from firedeck.kernel.windows import closed_window_sums, highest_means
from firedeck.pressure_map import FloatArray, Grid, MapArray, PressureMap

__all__ = ["SealBand", "Strip", "seal_bands", "unroll_seals", "window_means"]

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

#: Length along the seal over which its crown's signal is averaged [mm].
_CROWN_MM = 1.0

_MARKED_BITS = sum(flag_bit(name) for name in ("crease", "dust", "pen", "rub", "masked"))
_RIM_BIT = flag_bit("cut-rim")


@dataclass(frozen=True)
class SealBand:
    """Where a seal's band lies on the deck, whatever is printed there.

    Attributes
    ----------
    seal : Seal
        The seal.
    line : SealLine
        Its line, one point a row of the band.
    across : ndarray, shape (m,)
        Distance from the line, positive away from what it encloses [mm].
    own : ndarray of bool, shape (n, m)
        Samples that lie nearer to this line than to any other seal's.
    """

    seal: Seal
    line: SealLine
    across: FloatArray
    own: BoolArray


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
    cell : tuple of ndarray of int32, shape (n, m)
        Row and column of the map's cell that each sample falls into; -1 off the map.
    """

    seal: Seal
    line: SealLine
    across: FloatArray
    signal: MapArray
    noise: MapArray
    usable: BoolArray
    foreign: BoolArray
    crown_signal: MapArray
    cell: tuple[npt.NDArray[np.int32], npt.NDArray[np.int32]]

    @property
    def step_across(self) -> float:
        """Distance between samples across [mm]."""
        return float(self.across[1] - self.across[0])


def seal_bands(plan: DeckPlan, grid: Grid) -> list[SealBand]:
    """Lay out the bands of every seal of a plan, sampled as finely as a map on the grid.

    Parameters
    ----------
    plan : DeckPlan
        Plan with its seals.
    grid : Grid
        Grid of the map.

    Returns
    -------
    list of SealBand
        One band a seal, in the plan's order.
    """
    lines = [seal_line(plan, seal, step=grid.pitch) for seal in plan.seals]
    bands = []
    for index, (seal, line) in enumerate(zip(plan.seals, lines, strict=True)):
        half = max(2, round(seal.band / grid.pitch))
        across = np.linspace(-seal.band / 2, seal.band / 2, 2 * half + 1)
        own = _owned(line, across, lines[:index] + lines[index + 1 :], seal.band)
        bands.append(SealBand(seal, line, across, own))
    return bands


def unroll_seals(
    plan: DeckPlan, pressure_map: PressureMap, bands: Sequence[SealBand] | None = None
) -> list[Strip]:
    """Unroll every seal of a plan from a map.

    Parameters
    ----------
    plan : DeckPlan
        Plan with its seals.
    pressure_map : PressureMap
        Measured or predicted map.
    bands : sequence of SealBand, optional
        From `seal_bands`, if they are laid out on the map's grid already.

    Returns
    -------
    list of Strip
        One strip a seal, in the plan's order.
    """
    laid_out = seal_bands(plan, pressure_map.grid) if bands is None else bands
    return for_each(lambda band: _unroll(band, pressure_map), laid_out, size=lambda band: band.own.size)


def _unroll(band: SealBand, pressure_map: PressureMap) -> Strip:
    line, across, own = band.line, band.across, band.own
    grid = pressure_map.grid
    place = (grid.x0, grid.y0, grid.pitch)
    signal, noise, *cell = sample_band(
        line.points, line.normals, across, place, pressure_map.signal, pressure_map.noise
    )
    usable, marked = own_samples(
        signal, own, (cell[0], cell[1]), pressure_map.flags, (_MARKED_BITS, _RIM_BIT)
    )
    foreign = _foreign(signal, noise, usable, pressure_map, (line.step, float(across[1] - across[0])))
    foreign |= marked
    usable &= ~foreign
    half = min(max(1, round(_CROWN_MM / 2 / line.step)), (len(signal) - 1) // 2)
    crown_signal = highest_means(signal, usable, half)
    return Strip(band.seal, line, across, signal, noise, usable, foreign, crown_signal, (cell[0], cell[1]))


def _owned(line: SealLine, across: FloatArray, others: list[SealLine], band: float) -> BoolArray:
    """Return which samples lie nearer to this line than to any other seal's."""
    own = np.ones((len(line.points), len(across)), bool)
    low, high = line.points.min(axis=0) - band, line.points.max(axis=0) + band
    near = [_within(other.points, low, high) for other in others]
    close = np.vstack(near) if near else np.zeros((0, 2))
    if not len(close):
        return own
    # Most places are never asked about: a tree that is built quickly answers soonest.
    tree = cKDTree(close, balanced_tree=False, compact_nodes=False)
    gap = tree.query(line.points, distance_upper_bound=band)[0]
    # A sample nearer to its own line than half the gap between the two can belong to no other.
    beside = np.flatnonzero(2.0 * np.abs(across).max() >= gap)
    row, col = np.nonzero(2.0 * np.abs(across)[None, :] >= gap[beside, None])
    row = beside[row]
    places = line.points[row] + across[col, None] * line.normals[row]
    own[row, col] = tree.query(places, distance_upper_bound=band)[0] > np.abs(across)[col]
    return own


def _within(points: FloatArray, low: FloatArray, high: FloatArray) -> FloatArray:
    x, y = points.T
    return np.asarray(points[(x >= low[0]) & (x <= high[0]) & (y >= low[1]) & (y <= high[1])])


def _foreign(
    signal: MapArray,
    noise: MapArray,
    usable: BoolArray,
    pressure_map: PressureMap,
    steps: tuple[float, float],
) -> BoolArray:
    """Find samples that stand out from their neighbours along the seal by more than grain can."""
    conversion = pressure_map.conversion
    half = min(max(2, round(_NEIGHBOURHOOD_MM / steps[0])), (len(signal) - 1) // 2)
    limits = _OUTLIER_SIGMAS, _OUTLIER_FLOOR * float(conversion.signal[-1]), _WANDER_MM / steps[1]
    # A gap in the seal must never be taken for dust: what is lighter and large stays.
    speck = tuple(int(_SPECK_MM / step + 1e-9) for step in steps)
    codes = np.zeros(signal.shape, np.int8)
    for _ in range(2):
        codes = stand_out(signal, noise, usable, conversion.curve, codes, half, limits)
        drop_wide_parts(codes, LIGHTER, (speck[0], speck[1]))
        if not codes.any():
            break  # with nothing left out of the means a second look would see what the first saw
    return grow_marks(codes, (1, 2))


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
        Rising middle rows of the windows.
    half : int
        Rows to either side of the middle; windows run on over the seam.

    Returns
    -------
    mean : ndarray, shape (k, m)
        Averages; NaN where nothing is usable.
    count : ndarray of int, shape (k, m)
        Usable rows.
    """
    sums, count = closed_window_sums(values, usable, centres, min(half, (len(values) - 1) // 2))
    mean = np.divide(sums, count, out=np.full(sums.shape, np.nan), where=count > 0)
    return mean, count
