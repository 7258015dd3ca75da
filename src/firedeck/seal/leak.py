"""Leak paths: which way a fluid would go, and what contact pressure stands in it.

A path leaks when the fluid pressure exceeds what the highest contact pressure along it can hold;
the path that leaks first is the one whose highest contact pressure is lowest. The grain of the
film makes a cell-by-cell search find gaps that are not there, so the map is first averaged *along*
every seal over a stated length, and smoothed across it by no more than a cell; what that takes
from a narrow crown is put back.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from firedeck.definition.deck import DeckPlan
from firedeck.definition.zones import opening_labels
from firedeck.evidence import Estimate, flag_bit
from firedeck.kernel.band_field import band_pressure, gaussian_taps, lay_band
from firedeck.kernel.breach import Saddles, saddle_matrix, trace_path
from firedeck.kernel.cells import open_ground
from firedeck.kernel.threads import for_each, row_bands
from firedeck.pressure_map import FloatArray, MapArray, PressureMap
from firedeck.seal.crown import ACROSS_MM, CrownPlace, SealPlaces
from firedeck.seal.profile import SealProfile
from firedeck.seal.strip import Strip

__all__ = [
    "LENGTH_SCALE_MM",
    "LeakField",
    "LeakPath",
    "crossing_leaks",
    "find_leaks",
    "leak_field",
    "trace_leak",
]

#: Length along the seal over which the contact pressure is averaged before paths are sought [mm].
LENGTH_SCALE_MM = 2.0

#: A stretch this many times as long speaks for one that is hidden by a mark.
_LONGER = 4

#: Doubt of the correction for the film's spreading, as a share of it.
_SPREAD_DOUBT = 0.6

#: Rows of the map that one thread fills at a time: sums over them stay in the cache.
_BAND_ROWS = 128

#: Marks on the film that look like pressure must not be taken for a barrier, nor may what is below range.
_NOTHING = sum(
    flag_bit(name) for name in ("crease", "cut-rim", "dust", "pen", "rub", "masked", "below-range")
)


@dataclass(frozen=True)
class LeakField:
    """Contact pressure prepared for the search of leak paths.

    Attributes
    ----------
    pressure : ndarray of float32, shape (rows, cols)
        Contact pressure [MPa]: averaged along seals, zero where nothing presses or nothing shows.
    media : ndarray of int32, shape (rows, cols)
        0, or 1 + the medium's index in the plan.
    length_scale : float
        Length of the average along seals [mm].
    saddles : Saddles
        Height and deciding cell of every pair of media.
    """

    pressure: MapArray
    media: npt.NDArray[np.int32]
    length_scale: float
    saddles: Saddles


@dataclass(frozen=True)
class LeakPath:
    """The way by which two media would meet first.

    Attributes
    ----------
    a, b : str
        The two media.
    felt : Estimate
        Highest contact pressure that the best path meets [MPa], as the film felt it.
    joint : Estimate
        The same in the joint, the film's spreading of narrow crowns corrected [MPa]; its lower end
        holds also where the correction is in doubt.
    seal : str
        Seal that stands in the way at the decisive place; empty where it is land.
    point : tuple of float
        The decisive place on the deck, x, y [mm].
    cell : tuple of int
        Its row and column in the map.
    """

    a: str
    b: str
    felt: Estimate
    joint: Estimate
    seal: str
    point: tuple[float, float]
    cell: tuple[int, int]

    def breach(self, contact_factor: float) -> Estimate:
        """Return the fluid pressure [MPa] at which the path opens: contact pressure over the factor."""
        joint = self.joint
        return Estimate(
            joint.value / contact_factor, joint.low / contact_factor, joint.high / contact_factor, joint.flags
        )


def leak_field(
    plan: DeckPlan,
    pressure_map: PressureMap,
    strips: Sequence[Strip],
    length_scale: float = LENGTH_SCALE_MM,
    openings: tuple[npt.NDArray[np.int32], npt.NDArray[np.bool_]] | None = None,
) -> LeakField:
    """Prepare a map for the search and seek the decisive places.

    Parameters
    ----------
    plan : DeckPlan
        Plan with media and seals.
    pressure_map : PressureMap
        The map.
    strips : sequence of Strip
        Its seals, unrolled.
    length_scale : float
        Length of the average along seals [mm].
    openings : tuple of ndarray, optional
        From `opening_labels`, if they are found on the map's grid already.

    Returns
    -------
    LeakField
        Field, media and saddles.
    """
    grid = pressure_map.grid
    media, holes = opening_labels(plan, grid.x, grid.y) if openings is None else openings
    averages = for_each(
        lambda strip: _averaged(strip, pressure_map, length_scale),
        strips,
        size=lambda strip: strip.signal.size,
    )
    pressure = np.empty_like(pressure_map.value)

    def fill(rows: slice) -> None:
        target = pressure[rows]
        open_ground(pressure_map.value[rows], pressure_map.flags[rows], _NOTHING, target)
        scratch = np.zeros((*target.shape, 2), np.float32)
        for strip, average in zip(strips, averages, strict=True):
            lay_band(average, *strip.cell, rows.start, target, scratch)
        np.copyto(target, 0.0, where=holes[rows] | (media[rows] > 0))

    for_each(fill, row_bands(grid.rows, _BAND_ROWS))
    saddles = saddle_matrix(pressure, media, count=len(plan.media))
    return LeakField(pressure, media, length_scale, saddles)


def _averaged(strip: Strip, pressure_map: PressureMap, length_scale: float) -> MapArray:
    """Return the pressure of a strip averaged along the seal [MPa].

    Where too little of a stretch is seen, a longer one speaks for it; where that shows nothing
    either, no path is let through: what was not seen is reported as hidden, not as a gap.
    """
    half = max(1, round((length_scale / strip.line.step - 1) / 2))
    most = (len(strip.signal) - 1) // 2
    return band_pressure(
        strip.signal,
        strip.usable,
        strip.foreign,
        pressure_map.conversion.curve,
        (min(half, most), min(_LONGER * half, most)),
        pressure_map.lowest,
        gaussian_taps(ACROSS_MM / strip.step_across),
    )


def find_leaks(
    plan: DeckPlan,
    pressure_map: PressureMap,
    profiles: Sequence[SealProfile],
    field: LeakField,
    places: SealPlaces | None = None,
) -> list[LeakPath]:
    """Find the decisive place between every two media, on paths that enter no third one.

    Parameters
    ----------
    plan : DeckPlan
        Plan with media and seals.
    pressure_map : PressureMap
        The map.
    profiles : sequence of SealProfile
        Its seals.
    field : LeakField
        From `leak_field`.
    places : SealPlaces, optional
        Crowns of the seals, averaged over the field's length scale, if they are tabulated already.

    Returns
    -------
    list of LeakPath
        One for every pair of media, lowest contact pressure first.
    """
    saddles, grid = field.saddles, pressure_map.grid
    if places is None:
        places = SealPlaces.of(profiles, pressure_map, field.length_scale)
    media = plan.media
    first, second = np.triu_indices(len(media), 1)
    cells = saddles.direct_cells[first, second]
    points = np.array([grid.x0, grid.y0]) + (cells[:, ::-1] + 0.5) * grid.pitch
    pairs = [(media[i], media[j]) for i, j in zip(first, second, strict=True)]
    heights = saddles.direct_heights[first, second].tolist()
    nearest = places.nearest(points)
    top = pressure_map.stated_range[1]
    paths = [
        _path(*pair, height, (cell[0], cell[1]), (point[0], point[1]), place, pressure_map.lowest, top)
        for pair, height, cell, point, place in zip(
            pairs, heights, cells.tolist(), points.tolist(), nearest, strict=True
        )
    ]
    return sorted(paths, key=lambda path: path.felt.value)


def _path(
    a: str,
    b: str,
    height: float,
    cell: tuple[int, int],
    point: tuple[float, float],
    place: CrownPlace | None,
    lowest: float,
    top: float,
) -> LeakPath:
    if not np.isfinite(height):
        unseen = Estimate(float("nan"), 0.0, float("inf"), ("outside-sheet",))
        return LeakPath(a, b, unseen, unseen, "", point, cell)
    if height <= 0.0 or place is None:
        bound = min(lowest, height) if height > 0 else lowest
        open_way = Estimate(height, 0.0, max(height, bound), ("below-range",))
        return LeakPath(a, b, open_way, open_way, place.seal if place else "", point, cell)
    felt = height + place.lift + place.blur
    sd = float(np.sqrt(place.sd**2 + (0.5 * place.lift) ** 2 + (0.5 * place.blur) ** 2))
    saturated = height + 2.0 * place.sd >= top
    flags = ("saturated",) if saturated else ()
    high = float("inf") if saturated else felt + 1.96 * sd
    doubt = float(np.hypot(sd, _SPREAD_DOUBT * place.spread))
    joint_high = float("inf") if saturated else felt + place.spread + 1.96 * doubt
    joint_low = max(min(felt - 1.96 * sd, felt + place.spread - 1.96 * doubt), 0.0)
    return LeakPath(
        a,
        b,
        Estimate(felt, max(felt - 1.96 * sd, 0.0), high, flags),
        Estimate(felt + place.spread, joint_low, joint_high, flags),
        place.seal,
        point,
        cell,
    )


def crossing_leaks(plan: DeckPlan, leaks: Sequence[LeakPath]) -> list[LeakPath]:
    """Return the leak paths that truly cross the seal they are ascribed to.

    A path between two media that one seal encloses together, or leaves outside together, only
    passes near it.
    """
    enclosed = {seal.name: set(seal.enclosed) for seal in plan.seals}
    return [
        path
        for path in leaks
        if path.seal and (path.a in enclosed[path.seal]) != (path.b in enclosed[path.seal])
    ]


def trace_leak(plan: DeckPlan, pressure_map: PressureMap, field: LeakField, path: LeakPath) -> FloatArray:
    """Trace a leak path over the deck.

    Parameters
    ----------
    plan : DeckPlan
        Plan with the media.
    pressure_map : PressureMap
        The map, for its grid.
    field : LeakField
        From `leak_field`.
    path : LeakPath
        From `find_leaks`.

    Returns
    -------
    ndarray, shape (n, 2)
        Points of the path from medium `a` to medium `b` [mm].
    """
    numbers = {name: index + 1 for index, name in enumerate(plan.media)}
    cells = trace_path(field.pressure, field.media, numbers[path.a], numbers[path.b], path.cell)
    grid = pressure_map.grid
    return np.column_stack(
        [grid.x0 + (cells[:, 1] + 0.5) * grid.pitch, grid.y0 + (cells[:, 0] + 0.5) * grid.pitch]
    )
