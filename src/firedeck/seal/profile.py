"""What a seal carries along its length: line load, peak, width, each with its doubt.

The signal is averaged along the seal first, at every distance across it, and only then turned into
pressure: averages of the signal are exact and the grain of the film is gone before the curve's
bend can turn it into a bias. The *line load* is the integral of the contact pressure across the
pressed line, the part of the band that stands out from the land beside it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from firedeck.definition.deck import DeckPlan, SealKind
from firedeck.evidence import FLAG_DTYPE, flag_bit
from firedeck.kernel.across import curve_shifts, line_sums, line_tails, unseen_lines
from firedeck.kernel.windows import RunningSums, running_sums
from firedeck.pressure_map import FloatArray, PressureMap
from firedeck.seal.strip import Strip, unroll_seals
from firedeck.seal.window import Windows, average_windows

__all__ = ["LoadTable", "SealProfile", "load_table", "profile_seals", "sector_length"]

BoolArray = npt.NDArray[np.bool_]

_SECTOR_DEGREES = 5.0
_SECTOR_MM = 5.0
_SLIDING_STEP_MM = 1.0
_FINE_WINDOW_MM = 2.0

#: Relative uncertainty of a line load from sampling, registration and the band's limits
#: (estimated from generated prints without noise; see the truth tables).
_GEOMETRY_ERROR = 0.008

#: Length over which a flank's slope is taken at the edge of what is read [mm], and area of its foot
#: over height times run: between a flank that drops ever steeper (1/3) and a straight one (1/2).
_EDGE_MM = 0.1
_FOOT_SHAPE = 0.42

#: A window with a smaller usable share of its seal's footprint has no line load.
_LEAST_USABLE = 0.5

#: A place across the seal is seen where this share of the window shows it; a line may be unseen over
#: this share of its width, and at its very edge only where it presses with less than this share of
#: its crown [1].
_SEEN_SHARE = 0.2
_MOST_UNSEEN = 0.1
_FLANK_SHARE = 0.3
_NARROW_SHARE = 0.7

#: A crown counts as saturated when this many standard uncertainties reach the top of the film's range:
#: a saturated crown taken for a reading would turn "at least" into "at most", so the margin is wide.
_SATURATED_SDS = 3.0


@dataclass(frozen=True)
class LoadTable:
    """Line load in windows along one seal.

    Attributes
    ----------
    window : float
        Length of every window along the seal [mm].
    at : ndarray, shape (k,)
        Arc length of the windows' middles [mm].
    angle : ndarray, shape (k,)
        Angle of the middles about what the seal encloses [degree].
    line_load : ndarray, shape (k,)
        Line load [N/mm]; NaN where the print does not show it.
    noise : ndarray, shape (k,)
        Its standard uncertainty that is independent from window to window [N/mm].
    by_mode : ndarray, shape (j, k)
        Its shift for one standard deviation of every calibration mode [N/mm], signed.
    by_zero : ndarray, shape (k,)
        Its shift for one standard deviation of the blank level [N/mm].
    low, high : ndarray, shape (k,)
        Ends of the 95 % interval [N/mm]; `high` is infinite where the crown is saturated.
    peak : ndarray, shape (k,)
        Highest pressure across the seal [MPa].
    peak_sd : ndarray, shape (k,)
        Standard uncertainty of the peak [MPa].
    peak_grain : ndarray, shape (k,)
        Part of it that is grain, independent from window to window [MPa].
    width : ndarray, shape (k,)
        Width of the pressed line [mm].
    inferred : ndarray, shape (k,)
        Share of the line load that is inferred and not read [1].
    flags : ndarray of uint16, shape (k,)
        Bits of `firedeck.evidence.FLAGS`.
    """

    window: float
    at: FloatArray
    angle: FloatArray
    line_load: FloatArray
    noise: FloatArray
    by_mode: FloatArray
    by_zero: FloatArray
    low: FloatArray
    high: FloatArray
    peak: FloatArray
    peak_sd: FloatArray
    peak_grain: FloatArray
    width: FloatArray
    inferred: FloatArray
    flags: npt.NDArray[np.uint16]

    @property
    def common(self) -> FloatArray:
        """Standard uncertainty common to the whole print: calibration and blank level [N/mm]."""
        return np.asarray(np.sqrt(np.sum(self.by_mode**2, axis=0) + self.by_zero**2))

    def has(self, flag: str) -> BoolArray:
        """Return which windows carry a flag."""
        return np.asarray((self.flags & np.uint16(flag_bit(flag))) != 0)


@dataclass(frozen=True)
class SealProfile:
    """A seal's line load in three tables, and the strip they were read from.

    Attributes
    ----------
    name : str
        Name of the seal.
    kind : SealKind
        Its kind.
    length : float
        Length of its line [mm].
    strip : Strip
        The unrolled band.
    sectors : LoadTable
        Sectors side by side: about 5 degrees on a round bore seal, 5 mm elsewhere.
    sliding : LoadTable
        Windows of a sector's length, 1 mm apart.
    fine : LoadTable
        Windows of 2 mm, 1 mm apart, for gaps.
    """

    name: str
    kind: SealKind
    length: float
    strip: Strip
    sectors: LoadTable
    sliding: LoadTable
    fine: LoadTable


def sector_length(strip: Strip) -> float:
    """Return the length of one sector [mm]: whole sectors close the line."""
    wanted = strip.line.length * _SECTOR_DEGREES / 360 if strip.line.is_round else _SECTOR_MM
    if strip.line.is_round and wanted < 1.0:
        wanted = min(_SECTOR_MM, strip.line.length / 12)
    return strip.line.length / max(1, round(strip.line.length / wanted))


def profile_seals(
    plan: DeckPlan, pressure_map: PressureMap, strips: Sequence[Strip] | None = None
) -> list[SealProfile]:
    """Profile every seal of a plan.

    Parameters
    ----------
    plan : DeckPlan
        Plan with its seals.
    pressure_map : PressureMap
        Measured or predicted map.
    strips : sequence of Strip, optional
        Its seals, if they are unrolled already.

    Returns
    -------
    list of SealProfile
        In the plan's order.
    """
    # One after the other: many short steps, which threads would only take from each other.
    return [_profile(strip, pressure_map) for strip in strips or unroll_seals(plan, pressure_map)]


def _profile(strip: Strip, pressure_map: PressureMap) -> SealProfile:
    sector = sector_length(strip)
    length, step = strip.line.length, strip.line.step
    count = round(length / sector)
    middles = ((np.arange(count) + 0.5) * sector / step - 0.5).round().astype(np.int64)
    sliding = np.arange(0, len(strip.signal), max(1, round(_SLIDING_STEP_MM / step)), dtype=np.int64)
    fine = min(_FINE_WINDOW_MM, sector)
    sums = running_sums(strip.signal, strip.noise, strip.usable)
    return SealProfile(
        name=strip.seal.name,
        kind=strip.seal.kind,
        length=length,
        strip=strip,
        sectors=load_table(strip, pressure_map, np.minimum(middles, len(strip.signal) - 1), sector, sums),
        sliding=load_table(strip, pressure_map, sliding, sector, sums),
        fine=load_table(strip, pressure_map, sliding, fine, sums),
    )


def load_table(
    strip: Strip,
    pressure_map: PressureMap,
    centres: npt.NDArray[np.int64],
    window: float,
    sums: RunningSums | None = None,
) -> LoadTable:
    """Read line load in windows along a strip.

    Parameters
    ----------
    strip : Strip
        Unrolled seal.
    pressure_map : PressureMap
        Map it was unrolled from.
    centres : ndarray of int, shape (k,)
        Rising middle rows of the windows.
    window : float
        Length of the windows [mm].
    sums : tuple of ndarray, optional
        `running_sums` of the strip's signal and noise, if they are at hand.

    Returns
    -------
    LoadTable
        One row a window.
    """
    half = min(max(1, round((window / strip.line.step - 1) / 2)), (len(strip.signal) - 1) // 2)
    sums = running_sums(strip.signal, strip.noise, strip.usable) if sums is None else sums
    parts = average_windows(strip, pressure_map, sums, centres, half)
    step, length = strip.step_across, (2 * half + 1) * strip.line.step
    total, squares, peak, crown, highest = line_sums(parts.pressure, parts.noise, parts.extent)
    tails = _tails(parts, step)
    load = total * step + tails
    noise = np.sqrt(squares * pressure_map.grid.pitch**2 * step / length)
    by_mode, by_zero = _common(parts, pressure_map, step)
    common = np.sqrt(np.sum(by_mode**2, axis=0) + by_zero**2)
    independent = np.hypot(noise, 0.5 * tails)
    hidden = _hidden(parts) | _half_seen(parts, strip.across)
    load = np.where(hidden, np.nan, load)
    flags = _flags(parts, highest, strip, pressure_map, centres, half)
    saturated = (flags & np.uint16(flag_bit("saturated"))) != 0
    sd = np.sqrt(independent**2 + common**2 + (_GEOMETRY_ERROR * np.nan_to_num(load)) ** 2)
    # Where nothing stands out the line may still press with less than the film answers to.
    unanswered = np.where(parts.places > 0, 0.0, pressure_map.lowest * strip.seal.band / 2)
    return LoadTable(
        window=length,
        at=np.asarray(centres * strip.line.step, dtype=np.float64),
        angle=strip.line.angles[centres],
        line_load=load,
        noise=independent,
        by_mode=by_mode,
        by_zero=by_zero,
        low=load - 1.96 * sd,
        high=np.where(saturated, np.inf, load + 1.96 * sd + unanswered),
        peak=np.where(hidden, np.nan, peak),
        peak_sd=_peak_sd(parts, pressure_map, crown, length),
        peak_grain=_peak_grain(parts, pressure_map, crown, length),
        width=np.asarray(parts.places * step, dtype=np.float64),
        inferred=np.where(load > 0, tails / np.maximum(load, 1e-9), 0.0),
        flags=flags,
    )


def _tails(parts: Windows, step: float) -> FloatArray:
    """Return the load under the flanks' feet below the threshold, drawn straight on from the edges."""
    reach = max(2, round(_EDGE_MM / step))
    return np.asarray(_FOOT_SHAPE * line_tails(parts.pressure, parts.extent, step, reach))


def _common(parts: Windows, pressure_map: PressureMap, step: float) -> tuple[FloatArray, FloatArray]:
    conversion = pressure_map.conversion
    modes = np.ascontiguousarray(conversion.modes.T)
    by_mode, by_zero = curve_shifts(
        parts.signal, parts.extent, conversion.curve, modes, pressure_map.background
    )
    return by_mode * step, by_zero * step


def _peak_grain(
    parts: Windows, pressure_map: PressureMap, crown: npt.NDArray[np.int64], length: float
) -> FloatArray:
    grain = parts.noise[np.arange(len(crown)), crown]
    return np.asarray(grain * np.sqrt(pressure_map.grid.pitch / length))


def _peak_sd(
    parts: Windows, pressure_map: PressureMap, crown: npt.NDArray[np.int64], length: float
) -> FloatArray:
    signal = parts.signal[np.arange(len(crown)), crown]
    shifts = pressure_map.conversion.mode_shifts(signal)
    zero = pressure_map.conversion.slope(signal) * (1 - np.clip(signal, 0, 1)) * pressure_map.background
    grain = _peak_grain(parts, pressure_map, crown, length)
    return np.asarray(np.sqrt(np.sum(shifts**2, axis=0) + zero**2 + grain**2))


def _hidden(parts: Windows) -> BoolArray:
    """Return which windows do not show their line: too little of it, not its crown, or not a flank."""
    limits = _LEAST_USABLE, _SEEN_SHARE, _MOST_UNSEEN, _FLANK_SHARE
    return unseen_lines(parts.pressure, parts.usable, parts.extent, limits)


def _half_seen(parts: Windows, across: FloatArray) -> BoolArray:
    """Return which windows show a much narrower line than the seal has, beside a place they do not see.

    A line that stands on two feet may have lost one of them to a mark.
    """
    width = parts.places
    if not width.any():
        return np.zeros(len(width), bool)
    usual = float(np.median(width[width > 0]))
    near = np.abs(across) <= usual * (across[1] - across[0]) / 2 + _EDGE_MM
    narrow = (width > 0) & (width < _NARROW_SHARE * usual)
    narrow[narrow] = np.any(parts.usable[narrow][:, near] <= 0.5, axis=1)
    return np.asarray(narrow)


def _flags(
    parts: Windows,
    highest: npt.NDArray[np.int64],
    strip: Strip,
    pressure_map: PressureMap,
    centres: npt.NDArray[np.int64],
    half: int,
) -> npt.NDArray[np.uint16]:
    flags = np.zeros(len(centres), FLAG_DTYPE)
    low, top = pressure_map.stated_range
    peak = parts.pressure[np.arange(len(centres)), highest]
    doubt = _SATURATED_SDS * _peak_sd(parts, pressure_map, highest, (2 * half + 1) * strip.line.step)
    flags[_locally_saturated(strip, pressure_map, centres, half) | (peak + doubt >= top)] |= flag_bit(
        "saturated"
    )
    flags[peak < low] |= flag_bit("under-stated-range")
    flags[parts.places == 0] |= flag_bit("below-range")
    flags[_rows_within(np.any(strip.foreign, axis=1), centres, half) > 0] |= flag_bit("dust")
    return flags


def _rows_within(wanted: BoolArray, centres: npt.NDArray[np.int64], half: int) -> npt.NDArray[np.int64]:
    """Return how many of the wanted rows of a closed strip lie within `half` of every centre."""
    rows = len(wanted)
    counted = np.concatenate([[0], np.cumsum(np.take(wanted, np.arange(-half, rows + half), mode="wrap"))])
    return np.asarray(counted[centres + 2 * half + 1] - counted[centres])


def _locally_saturated(
    strip: Strip, pressure_map: PressureMap, centres: npt.NDArray[np.int64], half: int
) -> BoolArray:
    """Return which windows hold a stretch of 1 mm whose crown reaches the top of the range."""
    top = float(pressure_map.conversion.to_signal(pressure_map.stated_range[1]))
    return np.asarray(_rows_within(strip.crown_signal >= top, centres, half) > 0)
