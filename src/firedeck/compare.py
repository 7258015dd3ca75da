"""Two prints side by side: differences measured in their own uncertainty."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from firedeck.errors import FiredeckError
from firedeck.evidence import Estimate, flag_bit
from firedeck.pressure_map import FloatArray, Grid, MapArray, PressureMap
from firedeck.seal.profile import LoadTable, SealProfile

__all__ = ["ONE_ASSEMBLY_EACH", "MapDifference", "SealDifference", "compare_seals", "difference_map"]

BoolArray = npt.NDArray[np.bool_]

#: What two single assemblies can and cannot say.
ONE_ASSEMBLY_EACH = (
    "One assembly of each gasket: the intervals hold for these two prints. How much the next assembly "
    "would differ (friction, seating, tightening) is not in them, and is often as large as what is seen here."
)


@dataclass(frozen=True)
class MapDifference:
    """Second map minus first.

    Attributes
    ----------
    grid : Grid
        Common grid.
    value : ndarray of float32
        Difference of pressure [MPa]; NaN where either map shows nothing.
    bound : ndarray of bool
        Cells where either map is saturated or below range: the difference is a bound only.
    """

    grid: Grid
    value: MapArray
    bound: BoolArray


@dataclass(frozen=True)
class SealDifference:
    """One seal's line load, second minus first, sector by sector.

    Attributes
    ----------
    name : str
        Name of the seal in both.
    at, angle : ndarray
        Middles of the sectors: arc length [mm] and angle [degree].
    difference, low, high : ndarray
        Difference and its 95 % interval [N/mm]; NaN where either print shows nothing.
    shown : ndarray of bool
        Sectors whose interval does not contain zero.
    mean : Estimate
        Difference of the means [N/mm].
    weakest : Estimate
        Difference of the least line loads [N/mm].
    smallest : float
        Smallest mean difference that these two prints could have shown [N/mm].
    """

    name: str
    at: FloatArray
    angle: FloatArray
    difference: FloatArray
    low: FloatArray
    high: FloatArray
    shown: BoolArray
    mean: Estimate
    weakest: Estimate
    smallest: float


def difference_map(first: PressureMap, second: PressureMap) -> MapDifference:
    """Subtract the first map from the second.

    Raises
    ------
    FiredeckError
        If the maps do not share their grid.
    """
    if first.grid != second.grid:
        raise FiredeckError(
            "the two maps do not share one grid",
            remedy="read both prints on the same deck plan with the same pitch",
        )
    doubtful = np.uint16(flag_bit("saturated") | flag_bit("below-range"))
    bound = ((first.flags | second.flags) & doubtful) != 0
    return MapDifference(first.grid, second.value - first.value, np.asarray(bound))


def compare_seals(
    first: Sequence[SealProfile], second: Sequence[SealProfile], *, one_calibration: bool
) -> list[SealDifference]:
    """Compare every seal that both prints have, by name.

    Parameters
    ----------
    first, second : sequence of SealProfile
        Profiles of the two prints.
    one_calibration : bool
        Whether one response curve reads both: its error then largely cancels.

    Returns
    -------
    list of SealDifference
        In the first print's order.
    """
    others = {profile.name: profile for profile in second}
    return [
        _compare(profile, others[profile.name], one_calibration)
        for profile in first
        if profile.name in others
    ]


@dataclass(frozen=True)
class _Aligned:
    """The second print's line load at the first one's sectors."""

    load: FloatArray
    noise: FloatArray
    by_mode: FloatArray
    by_zero: FloatArray
    saturated: BoolArray


def _aligned(table: LoadTable, at: FloatArray, ratio: float) -> _Aligned:
    """Take a table's windows nearest to the given places, scaled to its own line's length."""
    gap = np.abs(table.at[None, :] - (at * ratio)[:, None])
    span = float(table.at[-1] + (table.at[1] - table.at[0])) if len(table.at) > 1 else 1.0
    nearest = np.argmin(np.minimum(gap, np.abs(span - gap)), axis=1)
    return _Aligned(
        table.line_load[nearest],
        table.noise[nearest],
        table.by_mode[:, nearest],
        table.by_zero[nearest],
        table.has("saturated")[nearest],
    )


def _compare(first: SealProfile, second: SealProfile, one_calibration: bool) -> SealDifference:
    table = first.sectors
    same_line = np.array_equal(table.at, second.sectors.at)
    windows = second.sectors if same_line else second.sliding
    other = _aligned(windows, table.at, second.length / first.length)
    difference = other.load - table.line_load
    common = _common_sd(table, other, one_calibration)
    sd = np.sqrt(table.noise**2 + other.noise**2 + common**2)
    low, high = difference - 1.96 * sd, difference + 1.96 * sd
    # A saturated crown may carry any amount more.
    low = np.where(table.has("saturated"), -np.inf, low)
    high = np.where(other.saturated, np.inf, high)
    seen = np.isfinite(difference)
    mean, smallest = _mean_difference(table, other, one_calibration)
    with np.errstate(invalid="ignore"):
        shown = seen & ((low > 0) | (high < 0))
    return SealDifference(
        first.name,
        table.at,
        table.angle,
        difference,
        low,
        high,
        shown,
        mean,
        _weakest(first, second),
        smallest,
    )


def _common_sd(table: LoadTable, other: _Aligned, one_calibration: bool) -> FloatArray:
    zero = table.by_zero**2 + other.by_zero**2
    if one_calibration:
        modes = np.sum((other.by_mode - table.by_mode) ** 2, axis=0)
    else:
        modes = np.sum(table.by_mode**2, axis=0) + np.sum(other.by_mode**2, axis=0)
    return np.asarray(np.sqrt(modes + zero))


def _mean_difference(table: LoadTable, other: _Aligned, one_calibration: bool) -> tuple[Estimate, float]:
    difference = other.load - table.line_load
    seen = np.isfinite(difference)
    if not seen.any():
        return Estimate(float("nan"), float("-inf"), float("inf")), float("inf")
    value = float(difference[seen].mean())
    noise = float(np.sqrt(np.sum(table.noise[seen] ** 2 + other.noise[seen] ** 2))) / int(seen.sum())
    zero = np.hypot(table.by_zero[seen].mean(), other.by_zero[seen].mean())
    first, second = table.by_mode[:, seen].mean(axis=1), other.by_mode[:, seen].mean(axis=1)
    modes = np.sum((second - first) ** 2) if one_calibration else np.sum(first**2) + np.sum(second**2)
    sd = float(np.sqrt(noise**2 + zero**2 + modes))
    low = float("-inf") if table.has("saturated")[seen].any() else value - 1.96 * sd
    high = float("inf") if other.saturated[seen].any() else value + 1.96 * sd
    return Estimate(value, low, high), 1.96 * sd


def _weakest(first: SealProfile, second: SealProfile) -> Estimate:
    places = []
    for profile in (first, second):
        table = profile.sliding
        if not np.isfinite(table.line_load).any():
            return Estimate(float("nan"), float("-inf"), float("inf"))
        place = int(np.nanargmin(table.line_load))
        places.append((table.line_load[place], table.low[place], table.high[place]))
    (a, a_low, a_high), (b, b_low, b_high) = places
    half_low = np.hypot(b - b_low, a_high - a)
    half_high = np.hypot(b_high - b, a - a_low)
    return Estimate(float(b - a), float(b - a - half_low), float(b - a + half_high))
