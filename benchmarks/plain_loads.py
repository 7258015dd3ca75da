"""The plain reading's line loads: three tables of windows along every seal, each with its doubt."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from benchmarks.plain_given import PITCH_MM, Bools, Curve, Floats, Given, Ints
from benchmarks.plain_map import BELOW, DUST, SATURATED, UNDER, PlainMap
from benchmarks.plain_strips import Strip, Sums

__all__ = ["Loads", "Summary", "Table", "profile", "summarise"]

#: Distance of sliding windows, length of the fine ones, length of a flank's edge [mm].
SLIDING_MM, FINE_MM, EDGE_MM = 1.0, 2.0, 0.1
#: Land beside the line [mm] and as a share of the band; area of a flank's foot; error of sampling [1].
LAND_MM, LAND_SHARE, FOOT, GEOMETRY = 0.5, 0.15, 0.42, 0.008


@dataclass(frozen=True)
class Table:
    """Line load in windows along one seal.

    Middle rows and length [mm] of the windows; load, its independent noise, its shift by every mode
    of the calibration and by the blank level [N/mm]; ends of the 95 % interval [N/mm]; crown and its
    doubt [MPa]; width [mm]; share inferred [1]; flags.
    """

    centres: Ints
    length: float
    load: Floats
    noise: Floats
    by_mode: Floats
    by_zero: Floats
    low: Floats
    high: Floats
    peak: Floats
    peak_sd: Floats
    width: Floats
    inferred: Floats
    flags: NDArray[np.uint16]


@dataclass(frozen=True)
class Loads:
    """One seal: its strip and three tables."""

    strip: Strip
    sectors: Table
    sliding: Table
    fine: Table


@dataclass(frozen=True)
class Summary:
    """A seal in short: mean load and its doubt, weakest load [N/mm], its row, the fastener nearest to it."""

    mean: float
    mean_sd: float
    weakest: float
    weakest_row: int
    fastener: int
    shares: dict[int, float]


@dataclass(frozen=True)
class _Windows:
    """Averages across the seal in every window, and the part of them that is the seal's own line."""

    signal: Floats
    pressure: Floats
    noise: Floats
    footprint: Bools
    usable: Floats


def profile(strip: Strip, pressed: PlainMap, curve: Curve) -> Loads:
    """Tabulate a seal in sectors side by side, in the same sliding, and in short sliding windows."""
    band, count = strip.band, len(strip.signal)
    sector = band.sector
    number = round(band.length / sector)
    middles = ((np.arange(number) + 0.5) * sector / band.step - 0.5).round().astype(np.int64)
    sliding = np.arange(0, count, max(1, round(SLIDING_MM / band.step)), dtype=np.int64)
    tabulate = _tabulator(strip, pressed, curve, sector)
    return Loads(
        strip,
        tabulate(np.minimum(middles, count - 1), sector),
        tabulate(sliding, sector),
        tabulate(sliding, min(FINE_MM, sector)),
    )


def _half(strip: Strip, length: float) -> int:
    return min(max(1, round((length / strip.band.step - 1) / 2)), (len(strip.signal) - 1) // 2)


def _tabulator(
    strip: Strip, pressed: PlainMap, curve: Curve, longest: float
) -> Callable[[Ints, float], Table]:
    """Return what makes a table; running sums along the strip serve all three."""
    most = _half(strip, longest)
    short = max(1, round(0.5 / strip.band.step))
    near = Sums(strip.usable, short), Sums(np.where(strip.usable, strip.signal, 0), short)
    rows = np.arange(len(strip.signal))
    with np.errstate(invalid="ignore"):
        crown = np.nan_to_num(near[1].over(rows, short) / near[0].over(rows, short)).max(axis=1)
    top = crown >= curve.to_signal(curve.stated[1])
    sums = [
        Sums(values, most)
        for values in (
            strip.usable,
            np.where(strip.usable, strip.signal, 0),
            np.where(strip.usable, strip.noise, 0),
            np.column_stack([strip.foreign.any(axis=1), top]),
        )
    ]

    def tabulate(centres: Ints, length: float) -> Table:
        half = _half(strip, length)
        count, signal, noise, marks = (one.over(centres, half) for one in sums)
        rows = 2 * half + 1
        with np.errstate(invalid="ignore"):
            means = signal / count, noise / count
        parts = _windows(strip, pressed, curve, (*means, count / rows), rows)
        return _table(strip, pressed, curve, parts, (centres, rows * strip.band.step, marks > 0.5))

    return tabulate


def _windows(
    strip: Strip, pressed: PlainMap, curve: Curve, means: tuple[Floats, Floats, Floats], rows: int
) -> _Windows:
    signal, noise, share = means
    noise = np.nan_to_num(noise)
    known = share >= 0.2
    filled = _filled(np.where(known, signal, np.nan), known)
    pressure = curve.to_pressure(filled)
    limit = 0.3 * pressure
    variance = np.gradient(filled, strip.step, axis=1) ** 2 * pressed.blur
    pressure = pressure + np.clip(curve.bend(filled) / 2 * variance, -limit, limit)
    cells = PITCH_MM / np.sqrt(rows * strip.band.step * strip.step)
    spread = noise / np.maximum(curve.slope(filled), 1e-9) * cells
    threshold = np.maximum(curve.to_signal(curve.lowest), _land(filled, known, strip) + 3 * spread)
    return _Windows(filled, pressure, noise, _footprint((filled > threshold) & (share > 0.5)), share)


def _filled(signal: Floats, known: Bools) -> Floats:
    """Fill unknown places from their neighbours across, straight between and level beyond."""
    place = np.broadcast_to(np.arange(signal.shape[1]), signal.shape)
    last = signal.shape[1] - 1
    before = np.maximum.accumulate(np.where(known, place, -1), axis=1)
    after = np.minimum.accumulate(np.where(known, place, last + 1)[:, ::-1], axis=1)[:, ::-1]
    begin = np.where(before < 0, np.minimum(after, last), before)
    end = np.where(after > last, begin, after)
    share = (place - begin) / np.maximum(end - begin, 1)
    left, right = (np.take_along_axis(signal, at, axis=1) for at in (begin, end))
    return np.asarray(np.nan_to_num(left + np.clip(share, 0, 1) * (right - left)))


def _land(signal: Floats, known: Bools, strip: Strip) -> Floats:
    """Return the land's signal under the seal, drawn from the outer parts of the band."""
    half = strip.band.width / 2
    width = min(LAND_MM, LAND_SHARE * strip.band.width)
    sides = []
    for sign in (-1, 1):
        outer = (sign * strip.across > half - width) & known
        with np.errstate(invalid="ignore"):
            sides.append(np.where(outer, signal, 0).sum(axis=1) / outer.sum(axis=1))
    lowest = np.where(known, signal, np.inf).min(axis=1)
    lowest = np.where(np.isfinite(lowest), lowest, 0)
    left, right = (np.where(np.isnan(one), other, one) for one, other in (sides, sides[::-1]))
    left, right = (np.where(np.isnan(side), lowest, side) for side in (left, right))
    place = (strip.across / half + 1) / 2
    return np.asarray(left[:, None] * (1 - place) + right[:, None] * place)


def _footprint(above: Bools) -> Bools:
    """Return everything from the first to the last place, two in a row, above the threshold."""
    firm = above & (ndimage.uniform_filter1d(above.astype(np.int8) * 3, 3, axis=1, mode="nearest") >= 2)
    firm[:, [0, -1]] = above[:, [0, -1]]
    begun = np.logical_or.accumulate(firm, axis=1)
    return np.asarray(begun & np.logical_or.accumulate(firm[:, ::-1], axis=1)[:, ::-1])


def _table(
    strip: Strip, pressed: PlainMap, curve: Curve, parts: _Windows, windows: tuple[Ints, float, Bools]
) -> Table:
    centres, length, marks = windows
    line = np.where(parts.footprint, parts.pressure, 0)
    first, last = _edges(parts.footprint)
    tails = _tails(line, first, last, strip.step)
    load = line.sum(axis=1) * strip.step + tails
    grain = np.where(parts.footprint, parts.noise, 0)
    noise = np.sqrt((grain**2).sum(axis=1) * PITCH_MM**2 * strip.step / length)
    noise = np.hypot(noise, tails / 2)
    by_mode, by_zero = _common(parts, pressed, curve, strip.step)
    load[_hidden(parts, line, first, last, strip)] = np.nan
    flags = _flags(parts, pressed, curve, length, marks)
    sd = np.sqrt(noise**2 + (by_mode**2).sum(axis=0) + by_zero**2 + (GEOMETRY * np.nan_to_num(load)) ** 2)
    crown = np.argmax(np.where(parts.footprint, parts.pressure, -1), axis=1)
    unanswered = np.where(parts.footprint.any(axis=1), 0, curve.lowest * strip.band.width / 2)
    high = np.where(flags & SATURATED, np.inf, load + 1.96 * sd + unanswered)
    return Table(
        centres, length, load, noise, by_mode, by_zero, load - 1.96 * sd, high,
        np.where(np.isnan(load), np.nan, line.max(axis=1)), _peak_sd(parts, pressed, curve, crown, length),
        parts.footprint.sum(axis=1) * strip.step, tails / np.maximum(load, 1e-9), flags,
    )  # fmt: skip


def _edges(footprint: Bools) -> tuple[Ints, Ints]:
    last = footprint.shape[1] - 1
    return np.argmax(footprint, axis=1), last - np.argmax(footprint[:, ::-1], axis=1)


def _tails(line: Floats, first: Ints, last: Ints, step: float) -> Floats:
    """Return the load under the flanks' feet below the threshold, drawn straight on from the edges."""
    rows, end = np.arange(len(line)), line.shape[1] - 1
    reach = max(2, round(EDGE_MM / step))
    total = np.zeros(len(line))
    for edge, inward, room in ((first, 1, first), (last, -1, end - last)):
        height = line[rows, edge]
        inner = line[rows, np.clip(edge + inward * reach, 0, end)]
        slope = np.maximum((inner - height) / (reach * step), 1.0)
        total += FOOT * height * np.minimum(height / slope, room * step)
    return total


def _zero_shift(signal: Floats, pressed: PlainMap, curve: Curve) -> Floats:
    """Return the shift of pressure for one standard deviation of the blank level [MPa]."""
    return np.asarray(curve.slope(signal) * (1 - np.clip(signal, 0, 1)) * pressed.blank_sd)


def _common(parts: _Windows, pressed: PlainMap, curve: Curve, step: float) -> tuple[Floats, Floats]:
    """Return the shifts of load by every mode, and by the blank level [N/mm]."""
    row, col = np.nonzero(parts.footprint)
    signal, count = parts.signal[row, col], len(parts.signal)
    shifts = [np.bincount(row, np.interp(signal, curve.signal, mode), count) for mode in curve.modes]
    zero = np.bincount(row, _zero_shift(signal, pressed, curve), count)
    return np.asarray(shifts, dtype=float) * step, np.asarray(zero, dtype=float) * step


def _peak_sd(parts: _Windows, pressed: PlainMap, curve: Curve, crown: Ints, length: float) -> Floats:
    rows = np.arange(len(crown))
    signal = parts.signal[rows, crown]
    shifts = [np.interp(signal, curve.signal, mode) for mode in curve.modes]
    grain = parts.noise[rows, crown] * np.sqrt(PITCH_MM / length)
    zero = _zero_shift(signal, pressed, curve)
    return np.asarray(np.sqrt(np.sum(np.square(shifts), axis=0) + zero**2 + grain**2))


def _hidden(parts: _Windows, line: Floats, first: Ints, last: Ints, strip: Strip) -> Bools:
    """Return which windows do not show their line: too little of it, not its crown, a foot or a flank."""
    width = parts.footprint.sum(axis=1)
    seen = np.where(parts.footprint, parts.usable, 0).sum(axis=1)
    unseen = (parts.footprint & (parts.usable < 0.2)).sum(axis=1)
    rows, end = np.arange(len(line)), line.shape[1] - 1
    limit = 0.3 * line.max(axis=1)
    thin = (seen < 0.5 * width) | (unseen > 0.1 * width)
    for edge, beyond in ((first, first - 1), (last, last + 1)):
        blind = (beyond < 0) | (beyond > end) | (parts.usable[rows, np.clip(beyond, 0, end)] <= 0.5)
        thin |= blind & (parts.pressure[rows, edge] > limit)
    hidden = np.where(width > 0, thin, parts.usable.mean(axis=1) < 0.5)
    if width.any():
        usual = float(np.median(width[width > 0]))
        near = np.abs(strip.across) <= usual * strip.step / 2 + EDGE_MM
        hidden |= (parts.usable[:, near] <= 0.5).any(axis=1) & (width > 0) & (width < 0.7 * usual)
    return np.asarray(hidden)


def _flags(
    parts: _Windows, pressed: PlainMap, curve: Curve, length: float, marks: Bools
) -> NDArray[np.uint16]:
    crown = np.argmax(parts.pressure, axis=1)
    peak = parts.pressure[np.arange(len(crown)), crown]
    doubt = 3 * _peak_sd(parts, pressed, curve, crown, length)
    low, top = curve.stated
    flags = np.where(marks[:, 1] | (peak + doubt >= top), SATURATED, 0)
    flags |= np.where(peak < low, UNDER, 0) | np.where(parts.footprint.any(axis=1), 0, BELOW)
    return np.asarray(flags | np.where(marks[:, 0], DUST, 0), dtype=np.uint16)


def summarise(loads: Loads, given: Given) -> Summary:
    """Sum a seal up: noise of sectors averages out, what is common to the print does not."""
    table, sliding = loads.sectors, loads.sliding
    seen = np.isfinite(table.load)
    noise = np.sqrt((table.noise[seen] ** 2).sum()) / seen.sum()
    common = np.append(table.by_mode[:, seen].mean(axis=1), table.by_zero[seen].mean())
    place = int(np.nanargmin(sliding.load))
    row = int(sliding.centres[place])
    apart = np.hypot(*(given.fasteners - loads.strip.band.points[row]).T)
    shares = {bit: float(np.mean((table.flags[seen] & bit) > 0)) for bit in (BELOW, UNDER, SATURATED)}
    return Summary(
        float(table.load[seen].mean()), float(np.sqrt(noise**2 + (common**2).sum())),
        float(sliding.load[place]), row, int(np.argmin(apart)), shares,
    )  # fmt: skip
