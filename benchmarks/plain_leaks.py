"""The plain reading's leak heights: the field that paths are sought in, and what doubts their heights."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage
from scipy.spatial import cKDTree

from benchmarks.plain_given import PITCH_MM, Curve, Floats, Given, Map
from benchmarks.plain_loads import Loads
from benchmarks.plain_map import BELOW, MARKS, PlainMap
from benchmarks.plain_strips import Strip, Sums
from benchmarks.plain_union_find import plain_saddles

__all__ = ["Leaks", "find_leaks"]

#: Length of the average along seals, and that of a stretch that speaks for a hidden one [mm].
LENGTH_MM, LONGER_MM = 2.0, 8.0
#: Smoothing across [mm]; film's spreading as a share of its thickness; doubt of its correction [1].
ACROSS_MM, SPREADING, SPREAD_DOUBT = 0.1, 0.55, 0.6
#: Helpings of noise, rows of the field of noise, from the second helping's change to the first's.
HELPINGS, NOISE_ROWS, REPEAT = 24, 4096, 1.7
#: Half of the crown whose bend is measured [mm]; largest product of bend and variance believed.
CROWN_MM, MOST_LOST = 0.2, 0.6


@dataclass(frozen=True)
class Leaks:
    """Leak heights [MPa].

    `heights` as found, of all pairs of media; of the upper triangle's pairs what the film felt, freed of
    noise and blur, and the ends of the interval in the joint, freed of the film's spreading too.
    """

    heights: Floats
    felt: Floats
    low: Floats
    high: Floats


@dataclass(frozen=True)
class _Crowns:
    """Crowns of a seal every 1 mm: place [mm], doubt, lift of the least, loss to blur and spreading [MPa]."""

    points: Floats
    sd: Floats
    lift: Floats
    blur: Floats
    spread: Floats


def find_leaks(pressed: PlainMap, loads: list[Loads], given: Given) -> Leaks:
    """Seek the height of every pair of media and judge it."""
    field, media = _field(pressed, [one.strip for one in loads], given)
    heights, cells = plain_saddles(field, media)
    crowns = [_crowns(one, pressed, given) for one in loads]
    place = {
        name: np.concatenate([vars(one)[name] for one in crowns])
        for name in ("points", "sd", "lift", "blur", "spread")
    }
    upper = np.triu_indices(len(heights), 1)
    height, points = heights[upper], pressed.deck.points(cells[upper])
    apart, near = cKDTree(place["points"]).query(points)
    reach = np.repeat([one.strip.band.width / 2 + 1.0 for one in loads], [len(one.sd) for one in crowns])
    sd, lift, blur, spread = (place[name][near] for name in ("sd", "lift", "blur", "spread"))
    felt = height + lift + blur
    felt_sd = np.sqrt(sd**2 + (lift / 2) ** 2 + (blur / 2) ** 2)
    doubt = np.hypot(felt_sd, SPREAD_DOUBT * spread)
    low = np.minimum(felt - 1.96 * felt_sd, felt + spread - 1.96 * doubt).clip(0)
    high = np.where(height + 2 * sd >= given.curve.stated[1], np.inf, felt + spread + 1.96 * doubt)
    on_land = (apart > reach[near]) | (height <= 0)
    low, high = np.where(on_land, 0, low), np.where(on_land, np.maximum(height, given.curve.lowest), high)
    return Leaks(heights, np.where(on_land, height, felt), low, high)


def _field(pressed: PlainMap, strips: list[Strip], given: Given) -> tuple[Map, NDArray[np.int32]]:
    """Return contact pressure averaged along seals [MPa], and the media, the outside last."""
    deck = pressed.deck
    nothing = (pressed.flags & (MARKS | BELOW)) > 0
    field = np.where(nothing | np.isnan(pressed.value), np.float32(0), pressed.value)
    _lay_down(field, strips, given.curve)
    media = deck.labels(given.wet)
    media[~deck.inside(given.outline)] = len(given.wet) + 1
    field[(media > 0) | (deck.labels(given.dry) > 0)] = 0
    return field, media


def _lay_down(field: Map, strips: list[Strip], curve: Curve) -> None:
    """Replace the cells that samples of bands fall into by the samples' mean."""
    flat, value = [], []
    for strip in strips:
        along = _along(strip, curve)
        kept = ~np.isnan(along)
        flat.append(strip.cell[0][kept].astype(np.int64) * field.shape[1] + strip.cell[1][kept])
        value.append(along[kept])
    cells = np.concatenate(flat)
    count = np.bincount(cells, minlength=field.size)
    total = np.bincount(cells, np.concatenate(value), field.size)
    laid = np.flatnonzero(count)
    field.ravel()[laid] = total[laid] / count[laid]


def _along(strip: Strip, curve: Curve) -> Floats:
    """Average a strip along the seal; infinite where a mark hides what a longer stretch hides too."""
    most = (len(strip.signal) - 1) // 2
    half, long = (min(max(1, round((mm / strip.band.step - 1) / 2)), most) for mm in (LENGTH_MM, LONGER_MM))
    sums = Sums(strip.usable, long), Sums(np.where(strip.usable, strip.signal, 0), long)
    rows = np.arange(len(strip.signal))
    count, total = (one.over(rows, half) for one in sums)
    thin = 2 * count <= half
    if thin.any():
        more, longer = (one.over(rows, long) for one in sums)
        count, total = np.where(thin, more, count), np.where(thin, longer, total)
    mean = total / np.maximum(count, 1)
    smooth = ndimage.gaussian_filter1d(
        curve.to_pressure(mean), ACROSS_MM / strip.step, axis=1, mode="nearest"
    )
    value = np.where(smooth >= curve.lowest, smooth, 0)
    value[~strip.foreign & np.isnan(strip.signal)] = np.nan
    unseen = 2 * count <= half
    value[unseen] = np.where(strip.foreign[unseen], np.inf, np.nan)
    return value


def _crowns(loads: Loads, pressed: PlainMap, given: Given) -> _Crowns:
    """Tell what noise, blur and spreading do to the crowns of a seal."""
    strip, curve = loads.strip, given.curve
    centres = loads.fine.centres
    half = max(1, round((LENGTH_MM / strip.band.step - 1) / 2))
    usable, signal, grain = (
        Sums(values, half).over(centres, half)
        for values in (
            strip.usable,
            np.where(strip.usable, strip.signal, 0),
            np.where(strip.usable, strip.noise, 0),
        )
    )
    noise = grain / np.maximum(usable, 1) * np.sqrt(PITCH_MM / ((2 * half + 1) * strip.band.step))
    pressure = ndimage.gaussian_filter1d(
        curve.to_pressure(signal / np.maximum(usable, 1)), ACROSS_MM / strip.step, axis=1, mode="nearest"
    )
    crown = pressure.max(axis=1)
    bend = _bend(pressure, strip.step) / np.maximum(crown, 1e-9)
    blur, spread = pressed.blur + ACROSS_MM**2, (SPREADING * given.thickness) ** 2
    lost = crown * (1 / np.sqrt(1 - np.minimum((blur + spread) * bend, MOST_LOST)) - 1) / (blur + spread)
    lift = np.full(len(crown), _lift(pressure, noise, curve, strip.step))
    return _Crowns(strip.band.points[centres], loads.fine.peak_sd, lift, lost * blur, lost * spread)


def _bend(pressure: Floats, step: float) -> Floats:
    """Return minus the second derivative at the crown [MPa/mm^2], of a parabola through its places."""
    half = max(2, round(CROWN_MM / step))
    offset = np.arange(-half, half + 1) * step
    crown = np.clip(np.argmax(pressure, axis=1), half, pressure.shape[1] - 1 - half)
    window = np.take_along_axis(pressure, crown[:, None] + np.arange(-half, half + 1), axis=1)
    return np.asarray(np.maximum(-2 * np.polyfit(offset, window.T, 2)[0], 0))


def _lift(pressure: Floats, noise: Floats, curve: Curve, step: float) -> float:
    """Tell by how much the least of noisy crowns lies too low, from what more noise of the kind does."""
    least = float(pressure.max(axis=1).min())
    if len(pressure) < 8 or not curve.lowest <= least < curve.stated[1]:
        return 0.0
    unit = _unit_noise(pressure.shape[1], max(1, round(PITCH_MM / step)), round(ACROSS_MM / step, 1))
    starts = np.linspace(0, NOISE_ROWS, HELPINGS, endpoint=False).astype(int)
    rows = np.arange(len(pressure))
    reached = [
        float((pressure + noise * unit[(start + rows) % NOISE_ROWS]).max(axis=1).min()) for start in starts
    ]
    return REPEAT * (least - float(np.mean(reached)))


@lru_cache(maxsize=8)
def _unit_noise(samples: int, between: int, across: float) -> Floats:
    """Return noise as crowns have it: independent cell by cell, averaged along, smoothed across."""
    cells = np.random.default_rng(20).standard_normal((NOISE_ROWS, -(-samples // between)))
    averaged = (cells + np.roll(cells, 1, axis=0)) / np.sqrt(2)
    white = averaged.repeat(between, axis=1)[:, :samples]
    return np.asarray(ndimage.gaussian_filter1d(white, across, axis=1, mode="nearest"))
